package results

import (
	"encoding/json"
	"fmt"
	"strings"
)

// JSONSchema is the JSON Schema (2020-12) of results.json, made of Keys. It is
// strict: a key that is not in the table is refused. It has no $id, for there
// is no address at which it stands.
func JSONSchema() ([]byte, error) {
	root := objectSchema(Keys())
	root = append([]member{{"$schema", "https://json-schema.org/draft/2020-12/schema"}, {"title", "Yardheat: results of a season (" + Schema + ")"},
		{"description", "Numbers carry 12 significant digits, times are RFC 3339 UTC, what is not known is null. That low ≤ value ≤ high, and that parts add up, a schema can't say."}}, root...)
	root = append(root, member{"$defs", members{
		{"figure", figureSchema()},
		{"time", members{{"type", "string"}, {"format", "date-time"}, {"pattern", `^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,3})?Z$`}}},
		{"count", members{{"type", "integer"}, {"minimum", 0}}},
	}})
	b, err := json.MarshalIndent(root, "", "  ")
	return append(b, '\n'), err
}

// members are an object whose keys keep their order.
type members []member

type member struct {
	key   string
	value any
}

// MarshalJSON writes the members in their order.
func (m members) MarshalJSON() ([]byte, error) {
	b := []byte{'{'}
	for i, x := range m {
		if i > 0 {
			b = append(b, ',')
		}
		key, err := plainJSON(x.key)
		if err != nil {
			return nil, err
		}
		value, err := plainJSON(x.value)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", x.key, err)
		}
		b = append(append(append(b, key...), ':'), value...)
	}
	return append(b, '}'), nil
}

// plainJSON leaves < > & as they are: the file is no web page.
func plainJSON(v any) ([]byte, error) {
	var out strings.Builder
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	err := enc.Encode(v)
	return []byte(strings.TrimSuffix(out.String(), "\n")), err
}

// objectSchema refuses every key that is not among these and wants each that
// is not optional.
func objectSchema(keys []Key) members {
	must := []string{}
	var properties members
	for _, k := range keys {
		if !k.Optional {
			must = append(must, k.Name)
		}
		properties = append(properties, member{k.Name, keySchema(k)})
	}
	return members{{"type", "object"}, {"properties", properties}, {"required", must}, {"additionalProperties", false}}
}

func keySchema(k Key) members {
	m := members{{"description", k.described()}}
	switch k.Kind {
	case Text:
		m = append(m, member{"type", "string"})
		if k.Values != nil {
			m = append(m, member{"enum", k.Values})
		}
	case Integer:
		m = append(m, ref("count"))
	case Number:
		m = append(m, member{"type", []string{"number", "null"}})
		if k.Share {
			m = append(m, member{"minimum", 0}, member{"maximum", 1})
		}
	case YesNo:
		m = append(m, member{"type", "boolean"})
	case Time:
		m = append(m, ref("time"))
	case Figure:
		m = append(m, ref("figure"))
		if k.Unit != Currency && k.Unit != AnyUnit { // "": the farm has no logs for it
			m = append(m, member{"properties", members{{"unit", members{{"enum", units(k.Unit)}}}}})
		}
	case Object:
		m = append(m, objectSchema(k.Inner)...)
	case List:
		m = append(m, member{"type", "array"}, member{"items", objectSchema(k.Inner)})
	case Texts:
		m = append(m, member{"type", "array"}, member{"items", members{{"type", "string"}}})
	case Whole:
		m = append(m, member{"type", "integer"})
	case Wholes:
		m = append(m, member{"type", "array"}, member{"items", members{{"type", "integer"}}})
	case Named:
		m = append(m, member{"type", "object"}, member{"additionalProperties", objectSchema(k.Inner)})
	}
	return m
}

// units that a figure can bear: its own, or none where the farm has no logs
// for it.
func units(unit string) []string {
	if unit == "" {
		return []string{""}
	}
	return []string{unit, ""}
}

func ref(name string) member { return member{"$ref", "#/$defs/" + name} }

// figureSchema also wants a reason where the value is null.
func figureSchema() members {
	m := objectSchema(FigureKeys())
	isNull := members{{"properties", members{{"value", members{{"type", "null"}}}}}}
	saysWhy := members{{"properties", members{{"why", members{{"minLength", 1}}}}}, {"required", []string{"why"}}}
	return append(m, member{"if", isNull}, member{"then", saysWhy})
}

// described is the meaning with the unit and how it is made.
func (k Key) described() string {
	parts := []string{k.Meaning}
	if k.Unit != "" && k.Unit != "1" {
		parts = append(parts, "Unit: "+k.Unit+".")
	}
	if k.Made != "" {
		parts = append(parts, "Made: "+k.Made+".")
	}
	return strings.Join(parts, " ")
}
