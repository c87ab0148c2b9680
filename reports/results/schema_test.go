package results

import (
	"bytes"
	"encoding/json"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
)

// hint tells who adds a key what to do.
const hint = "every key that is written stands in reports/results/keys.go (a figure's meaning and unit in figures.go) and in README.md beside it: see \"a key of results.json\" in DEVELOPERS.md"

// compiled is the schema, itself held against the schema of schemas first.
func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	raw, err := JSONSchema()
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource("results.schema.json", doc))
	s, err := c.Compile("results.schema.json")
	require.NoError(t, err)
	require.Equal(t, 2020, s.DraftVersion)
	return s
}

func parsed(t *testing.T, s *season.Season) map[string]any {
	t.Helper()
	b, err := JSON(s)
	require.NoError(t, err)
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	require.NoError(t, err)
	return v.(map[string]any)
}

func TestWhatIsWrittenMeetsTheSchema(t *testing.T) {
	schema := compiled(t)
	for name, s := range map[string]*season.Season{"full": fixture.Season(), "empty": fixture.Empty()} {
		err := schema.Validate(parsed(t, s))
		require.NoError(t, err, "%s: %s", name, hint)
	}
}

// A schema that lets everything pass proves nothing: each of these must be
// refused.
func TestSchemaRefuses(t *testing.T) {
	schema := compiled(t)
	type object = map[string]any
	in := func(v any, path ...any) any { // follows keys and indices
		for _, p := range path {
			switch k := p.(type) {
			case string:
				v = v.(object)[k]
			case int:
				v = v.([]any)[k]
			}
		}
		return v
	}
	set := func(key string, to any, path ...any) func(object) {
		return func(o object) { in(o, path...).(object)[key] = to }
	}
	drop := func(key string, path ...any) func(object) {
		return func(o object) { delete(in(o, path...).(object), key) }
	}
	for name, change := range map[string]func(object){
		"another schema":              set("schema", "yardheat-results/2"),
		"a key too many at the top":   set("claims", object{}),
		"a key too many in an object": set("note", "x", "saving"),
		"a key too many in a list":    set("note", "x", "washes", "list", 0),
		"a key too many in a figure":  set("note", "x", "heat", "loop_kwh"),
		"an unknown headline figure":  set("cop", 1, "budget_by_sensor", 0, "shares"),
		"a figure of no month":        set("money", nil, "months", 0),
		"no period":                   drop("period"),
		"a month without a figure":    drop("loop_kwh", "months", 0),
		"a figure without an end":     drop("low", "heat", "loop_kwh"),
		"a figure without its text":   drop("shown", "heat", "loop_kwh"),
		"null that says no why":       set("value", nil, "heat", "loop_kwh"),
		"null with an empty why":      func(o object) { set("why", "", "heat", "wash_kwh")(o); set("value", nil, "heat", "wash_kwh")(o) },
		"a number as text":            set("value", "1240", "heat", "loop_kwh"),
		"a figure in another unit":    set("unit", "MWh", "heat", "loop_kwh"),
		"an unknown basis":            set("basis", "guessed", "heat", "loop_kwh"),
		"coverage above one":          set("coverage", json.Number("1.2"), "heat", "loop_kwh"),
		"a share below zero":          set("share", json.Number("-0.1"), "budget", 0),
		"a count below zero":          set("washes", json.Number("-1"), "period"),
		"a count of halves":           set("washes", json.Number("1.5"), "period"),
		"a time without a zone":       set("start", "2026-03-27T23:00:00", "period"),
		"a time in another zone":      set("start", "2026-03-28T00:00:00+01:00", "period"),
		"a day that is none":          set("start", "2026-02-30T00:00:00Z", "period"),
		"yes as text":                 set("identified", "yes", "loop"),
		"an unknown model":            set("model", "other", "loop"),
		"an unknown severity":         set("severity", "grave", "problems", 0),
		"an object as a list":         set("washes", []any{}),
		"a bare setting":              set("wash.target_c", "70", "settings"),
		"a setting of no source":      drop("source", "settings", "wash.target_c"),
		"a text list with a number":   set("sensors", []any{json.Number("1")}, "improve", 0),
	} {
		o := parsed(t, fixture.Season())
		change(o)
		require.Error(t, schema.Validate(o), name)
	}
	require.NoError(t, schema.Validate(parsed(t, fixture.Season())), "unchanged it must pass, or the refusals prove nothing")
}

// Every key has a meaning, a figure a unit, and all stand in README.md.
func TestKeysAreDescribed(t *testing.T) {
	doc, err := os.ReadFile("README.md")
	require.NoError(t, err)
	n := 0
	var walk func(path string, keys []Key)
	walk = func(path string, keys []Key) {
		seen := map[string]bool{}
		for _, k := range keys {
			at := strings.TrimPrefix(path+"."+k.Name, ".")
			require.False(t, seen[k.Name], "%s stands twice", at)
			seen[k.Name] = true
			require.NotEmpty(t, k.Meaning, "%s: say in keys.go or figures.go what it means", at)
			require.False(t, k.Kind == Figure && k.Unit == "", "%s: say its unit in figures.go, \"1\" for none", at)
			require.True(t, regexp.MustCompile(`\b`+k.Name+`\b`).Match(doc), "%s is not in README.md", at)
			n++
			walk(at, k.Inner)
		}
	}
	walk("", Keys())
	walk("figure", FigureKeys())
	require.Greater(t, n, 250)
}

// No meaning without a key: what was taken out of the report leaves the table.
func TestMeaningsAreUsed(t *testing.T) {
	used := map[string]bool{}
	var walk func(keys []Key)
	walk = func(keys []Key) {
		for _, k := range keys {
			used[k.Name] = true
			walk(k.Inner)
		}
	}
	walk(Keys())
	for _, m := range meanings {
		require.True(t, used[m.key], m.key)
	}
}

func TestSchemaIsTheSameEachTime(t *testing.T) {
	a, err := JSONSchema()
	require.NoError(t, err)
	b, err := JSONSchema()
	require.NoError(t, err)
	require.Equal(t, string(a), string(b))
}

// Every kind of key says in the schema what can stand there.
func TestEveryKindHasASchema(t *testing.T) {
	for kind := Text; kind <= Named; kind++ {
		m := keySchema(Key{Name: "x", Kind: kind, Meaning: "m", Inner: []Key{text("y", "n")}})
		b, err := json.Marshal(m)
		require.NoError(t, err)
		require.Regexp(t, `"(type|\$ref)":`, string(b), "kind %d", kind)
	}
}
