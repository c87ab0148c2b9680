package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/ingest/series"
	"yardheat/reports/internal/fixture"
)

// A reader of its own of CSV on the Web, after "Model for Tabular Data and
// Metadata on the Web", section 8 (parsing a CSV by its dialect) and 6.4 (cells
// by their datatype), and "Metadata Vocabulary for Tabular Data", both W3C
// Recommendations of 17 December 2015; from memory, for want of a copy here. It
// knows what stands in our descriptions and refuses what it does not know.

type described struct {
	doc     map[string]any
	columns []map[string]any
	null    []string
	key     []string
}

// vocabulary are the properties that there are where ours stand; a common
// property has a prefix or is a full URL.
var vocabulary = map[string][]string{
	"table":   {"@context", "@type", "url", "dialect", "tableSchema"},
	"dialect": {"encoding", "lineTerminators", "delimiter", "quoteChar", "doubleQuote", "commentPrefix", "header", "headerRowCount", "skipRows", "skipColumns", "skipBlankRows", "skipInitialSpace", "trim"},
	"schema":  {"null", "columns", "primaryKey"},
	"column":  {"name", "titles", "datatype", "required"},
	"type":    {"base", "format"},
}

func requireKnown(of string, o map[string]any) error {
	for key := range o {
		common := strings.HasPrefix(key, "dc:") || strings.HasPrefix(key, "schema:") || strings.HasPrefix(key, "http://")
		if !common && !slices.Contains(vocabulary[of], key) {
			return fmt.Errorf("%s: %q is no property of the vocabulary", of, key)
		}
	}
	return nil
}

func object(v any) map[string]any { o, _ := v.(map[string]any); return o }

func texts(v any) (out []string) {
	list, _ := v.([]any)
	for _, x := range list {
		s, _ := x.(string)
		out = append(out, s)
	}
	return out
}

// variable is the name of a variable of a URI template (RFC 6570, 2.3).
var variable = regexp.MustCompile(`^([A-Za-z0-9_]|%[0-9A-F]{2})(\.?([A-Za-z0-9_]|%[0-9A-F]{2}))*$`)

func readDescription(b []byte) (*described, error) {
	d := &described{}
	if err := json.Unmarshal(b, &d.doc); err != nil {
		return nil, err
	}
	schema := object(d.doc["tableSchema"])
	d.null, d.key = texts(schema["null"]), texts(schema["primaryKey"])
	context, _ := d.doc["@context"].([]any)
	if len(context) != 2 || context[0] != "http://www.w3.org/ns/csvw" || object(context[1])["@language"] != "en" {
		return nil, fmt.Errorf("context %v", d.doc["@context"])
	}
	for of, o := range map[string]map[string]any{"table": d.doc, "dialect": object(d.doc["dialect"]), "schema": schema} {
		if err := requireKnown(of, o); err != nil {
			return nil, err
		}
	}
	names := map[string]bool{}
	list, _ := schema["columns"].([]any)
	for _, c := range list {
		column := object(c)
		name, _ := column["name"].(string)
		if !variable.MatchString(name) || strings.HasPrefix(name, "_") || names[name] {
			return nil, fmt.Errorf("column name %q", name)
		}
		names[name] = true
		for of, o := range map[string]map[string]any{"column": column, "type": object(column["datatype"])} {
			if err := requireKnown(of, o); err != nil {
				return nil, err
			}
		}
		d.columns = append(d.columns, column)
	}
	return d, nil
}

// parse reads a CSV by the description's dialect, letter by letter.
func (d *described) parse(b []byte) ([][]string, error) {
	dialect := object(d.doc["dialect"])
	if dialect["encoding"] != "utf-8" || !utf8.Valid(b) || bytes.HasPrefix(b, []byte("\xef\xbb\xbf")) {
		return nil, fmt.Errorf("no UTF-8 without a mark")
	}
	end, comma, quote := texts(dialect["lineTerminators"])[0], dialect["delimiter"].(string), dialect["quoteChar"].(string)
	if dialect["doubleQuote"] != true || dialect["commentPrefix"] != nil || dialect["trim"] != false || dialect["skipRows"] != 0.0 {
		return nil, fmt.Errorf("another dialect than this test reads")
	}
	var rows [][]string
	var row []string
	var cell strings.Builder
	quoted := false
	text := string(b)
	for text != "" {
		switch {
		case quoted && strings.HasPrefix(text, quote+quote):
			cell.WriteString(quote)
			text = text[2*len(quote):]
		case strings.HasPrefix(text, quote):
			quoted = !quoted
			text = text[len(quote):]
		case !quoted && strings.HasPrefix(text, comma):
			row = append(row, cell.String())
			cell.Reset()
			text = text[len(comma):]
		case !quoted && strings.HasPrefix(text, end):
			rows, row = append(rows, append(row, cell.String())), nil
			cell.Reset()
			text = text[len(end):]
		default:
			cell.WriteByte(text[0])
			text = text[1:]
		}
	}
	if quoted || cell.Len() > 0 || row != nil {
		return nil, fmt.Errorf("the last row has no end")
	}
	return rows, nil
}

// The lexical forms of XML Schema 1.1 part 2: double 3.3.5, integer 3.4.13,
// dateTimeStamp 3.4.28.
var (
	xsdDouble  = regexp.MustCompile(`^([-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([Ee][-+]?[0-9]+)?|[-+]?INF|NaN)$`)
	xsdInteger = regexp.MustCompile(`^[-+]?[0-9]+$`)
	xsdStamp   = regexp.MustCompile(`^-?([1-9][0-9]{3,}|0[0-9]{3})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]+)?(Z|[+-](0[0-9]|1[0-3]):[0-5][0-9]|[+-]14:00)$`)
)

// meets holds a cell against its column's datatype.
func meets(datatype map[string]any, cell string) bool {
	switch datatype["base"] {
	case "double":
		return xsdDouble.MatchString(cell)
	case "integer":
		return xsdInteger.MatchString(cell)
	case "dateTimeStamp":
		_, err := time.Parse(time.RFC3339, cell)
		return err == nil && xsdStamp.MatchString(cell)
	case "boolean":
		return slices.Contains(strings.Split(datatype["format"].(string), "|"), cell)
	case "string":
		return true
	}
	return false
}

// holds tells where a CSV is not as its description says.
func holds(description, csv []byte) error {
	d, err := readDescription(description)
	if err != nil {
		return err
	}
	rows, err := d.parse(csv)
	if err != nil {
		return err
	}
	if len(rows) == 0 || len(rows[0]) != len(d.columns) {
		return fmt.Errorf("%d columns in the header, %d described", len(rows[0]), len(d.columns))
	}
	for k, head := range rows[0] {
		if !slices.Contains(texts(d.columns[k]["titles"]), head) {
			return fmt.Errorf("header %q, titles %v", head, d.columns[k]["titles"])
		}
	}
	seen := map[string]bool{}
	for i, row := range rows[1:] {
		if len(row) != len(d.columns) {
			return fmt.Errorf("row %d has %d cells", i, len(row))
		}
		var key []string
		for k, cell := range row {
			c := d.columns[k]
			if slices.Contains(d.key, c["name"].(string)) {
				key = append(key, cell)
			}
			if slices.Contains(d.null, cell) {
				if c["required"] == true {
					return fmt.Errorf("row %d: %v is required and empty", i, c["name"])
				}
				continue
			}
			if !meets(object(c["datatype"]), cell) {
				return fmt.Errorf("row %d, %v: %q is no %v", i, c["name"], cell, c["datatype"])
			}
		}
		if d.key != nil && seen[strings.Join(key, "\x00")] {
			return fmt.Errorf("row %d: the key %v stands twice", i, key)
		}
		seen[strings.Join(key, "\x00")] = true
	}
	return nil
}

func TestTheCSVIsAsItsDescriptionSays(t *testing.T) {
	for name, s := range map[string]*season.Season{"plain": fixture.Season(), "hostile": hostile(), "empty": fixture.Empty()} {
		tables, err := Tables(s)
		require.NoError(t, err)
		for _, table := range tables {
			about, err := table.CSVW()
			require.NoError(t, err)
			csv := csvOf(t, s, table.Name)
			require.NoError(t, holds(about, csv), "%s %s", name, table.Name)
			d, err := readDescription(about)
			require.NoError(t, err)
			require.Equal(t, table.Name+".csv", d.doc["url"])
			require.Equal(t, table.Schema, d.doc["schema:schemaVersion"])
			for k, c := range d.columns {
				back, err := url.PathUnescape(c["name"].(string))
				require.NoError(t, err)
				require.Equal(t, table.Columns[k].Name, back, "a name is its header, percent-encoded")
				require.NotEmpty(t, c["dc:description"], back)
				unit := object(c["http://qudt.org/schema/qudt/hasUnit"])["@id"]
				require.Equal(t, table.Columns[k].Unit != "", unit != nil, back)
			}
		}
	}
}

// What the test above rests on sees each of these.
func TestADescriptionThatIsWrongIsSeen(t *testing.T) {
	table := tableNamed(t, fixture.Season(), RecordTable)
	about, err := table.CSVW()
	require.NoError(t, err)
	csv := csvOf(t, fixture.Season(), RecordTable)
	require.NoError(t, holds(about, csv))
	first := strings.SplitN(string(csv), "\n", 3)
	for what, changed := range map[string]string{
		"a column more":      strings.Replace(string(csv), "flags\n", "flags,more\n", 1),
		"a column renamed":   strings.Replace(string(csv), "time_utc", "time", 1),
		"a word as a number": strings.Replace(string(csv), first[1], "2026-03-27T23:00:00Z,2026-03-28T00:00:00+01:00,x,,,,", 1),
		"a decimal comma":    strings.Replace(string(csv), first[1], `2026-03-27T23:00:00Z,2026-03-28T00:00:00+01:00,"1,5",,,,`, 1),
		"a time without day": strings.Replace(string(csv), "2026-03-27T23:00:00Z", "23:00:00Z", 1),
		"no zone":            strings.Replace(string(csv), "2026-03-27T23:00:00Z", "2026-03-27T23:00:00", 1),
		"no time":            strings.Replace(string(csv), "2026-03-27T23:00:00Z", "", 1),
		"a row twice":        string(csv) + first[1] + "\n",
		"a row cut":          string(csv[:len(csv)-1]),
	} {
		require.NotEqual(t, string(csv), changed, what)
		require.Error(t, holds(about, []byte(changed)), what)
	}
	for what, changed := range map[string]string{
		"an unknown property": strings.Replace(string(about), `"titles"`, `"title"`, 1),
		"another type":        strings.Replace(string(about), `"double"`, `"integer"`, 1),
		"a bad name":          strings.Replace(string(about), `"time_utc"`, `"time utc"`, 1),
	} {
		require.NotEqual(t, string(about), changed, what)
		require.Error(t, holds([]byte(changed), csv), what)
	}
}

// Every unit that a column can bear has a name in both vocabularies; one that has
// none stops the report instead of leaving the column bare.
func TestEveryUnitIsPublished(t *testing.T) {
	for word, u := range units {
		require.NotEmpty(t, u.qudt, word)
		require.Regexp(t, `^[A-Za-z0-9-]+(_[A-Z]+)?$`, u.qudt, word)
		require.NotEmpty(t, u.ucum, word)
	}
	// The grid keeps volumes as flows and energies as powers.
	onGrid := map[string]string{"L": "L/min", "kWh": "kW"}
	for _, q := range series.Names() {
		info, ok := series.Lookup(q)
		require.True(t, ok)
		word := info.Class.BaseUnit()
		if rate := onGrid[word]; rate != "" {
			word = rate
		}
		_, err := csvwOf(Column{Name: "x", Unit: word})
		require.NoError(t, err, q)
	}
	_, err := csvwOf(Column{Name: "x", Unit: "furlong"})
	require.ErrorContains(t, err, "furlong")
}

func TestColumnNames(t *testing.T) {
	for header, want := range map[string]string{
		"loop_kwh": "loop_kwh", "bed_temp@north side_degC": "bed_temp%40north%20side_degC", "loop_volume_L/min": "loop_volume_L%2Fmin",
		"_x": "%5Fx", "a.b": "a%2Eb", "tank_level_%": "tank_level_%25", "x@süd": "x%40s%C3%BCd",
	} {
		require.Equal(t, want, columnName(header))
		require.Regexp(t, variable, columnName(header))
	}
}
