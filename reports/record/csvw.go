package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
)

// The description of a table in the form of W3C CSV on the Web: "Metadata
// Vocabulary for Tabular Data" and "Model for Tabular Data and Metadata on the
// Web" (Recommendations of 17 December 2015), written from memory, for want of a
// copy here. Units are common properties under their full names, for CSVW has no
// property of its own for them.

type csvwTable struct {
	Context     []any      `json:"@context"`
	Type        string     `json:"@type"`
	URL         string     `json:"url"`
	Title       string     `json:"dc:title"`
	Description string     `json:"dc:description"`
	Version     string     `json:"schema:schemaVersion"`
	Dialect     csvwForm   `json:"dialect"`
	Schema      csvwSchema `json:"tableSchema"`
}

// csvwForm says how the CSV is written, defaults too.
type csvwForm struct {
	Encoding         string   `json:"encoding"`
	LineTerminators  []string `json:"lineTerminators"`
	Delimiter        string   `json:"delimiter"`
	QuoteChar        string   `json:"quoteChar"`
	DoubleQuote      bool     `json:"doubleQuote"`
	CommentPrefix    *string  `json:"commentPrefix"`
	Header           bool     `json:"header"`
	HeaderRowCount   int      `json:"headerRowCount"`
	SkipRows         int      `json:"skipRows"`
	SkipColumns      int      `json:"skipColumns"`
	SkipBlankRows    bool     `json:"skipBlankRows"`
	SkipInitialSpace bool     `json:"skipInitialSpace"`
	Trim             bool     `json:"trim"`
}

type csvwSchema struct {
	Null       []string     `json:"null"`
	Columns    []csvwColumn `json:"columns"`
	PrimaryKey []string     `json:"primaryKey,omitempty"`
}

type csvwColumn struct {
	Name        string     `json:"name"`
	Titles      []string   `json:"titles"`
	Description string     `json:"dc:description"`
	Made        string     `json:"schema:measurementTechnique,omitempty"`
	Variable    string     `json:"schema:variableMeasured,omitempty"`
	Datatype    csvwType   `json:"datatype"`
	Required    bool       `json:"required,omitempty"`
	UnitText    string     `json:"schema:unitText,omitempty"`
	Unit        *csvwID    `json:"http://qudt.org/schema/qudt/hasUnit,omitempty"`
	UCUM        *csvwValue `json:"http://qudt.org/schema/qudt/ucumCode,omitempty"`
}

type csvwType struct {
	Base   string `json:"base"`
	Format string `json:"format,omitempty"`
}

type csvwID struct {
	ID string `json:"@id"`
}

type csvwValue struct {
	Value string `json:"@value"`
	Type  string `json:"@type"`
}

var csvwTypes = map[Type]csvwType{
	UTC: {Base: "dateTimeStamp"}, Local: {Base: "dateTimeStamp"}, Number: {Base: "double"}, Whole: {Base: "integer"},
	YesNo: {Base: "boolean", Format: "1|0"}, Text: {Base: "string"},
}

// CSVW describes the table's CSV: what its columns hold, in which units, how it
// is written. It stands beside the CSV as NAME.csv-metadata.json, where programs
// that know CSV on the Web look for it.
func (t *Table) CSVW() ([]byte, error) {
	out := csvwTable{
		Context: []any{"http://www.w3.org/ns/csvw", map[string]string{"@language": "en"}}, Type: "Table",
		URL: t.Name + CSVTail, Title: t.Title, Description: t.describe(), Version: t.Schema,
		Dialect: csvwForm{Encoding: "utf-8", LineTerminators: []string{"\n"}, Delimiter: ",", QuoteChar: `"`, DoubleQuote: true, Header: true, HeaderRowCount: 1},
		Schema:  csvwSchema{Null: []string{""}},
	}
	for _, c := range t.Columns {
		one, err := csvwOf(c)
		if err != nil {
			return nil, err
		}
		out.Schema.Columns = append(out.Schema.Columns, one)
	}
	for _, name := range t.Key {
		out.Schema.PrimaryKey = append(out.Schema.PrimaryKey, columnName(name))
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	err := enc.Encode(out)
	return b.Bytes(), err
}

// describe says what no property of CSVW holds.
func (t *Table) describe() string {
	text := t.About + " Local times are those of " + t.Zone + ". A text that a spreadsheet would run as a formula has a single quote in front."
	if t.StepS > 0 {
		text += fmt.Sprintf(" A cell of the grid is %g s.", t.StepS)
	}
	return text
}

func csvwOf(c Column) (csvwColumn, error) {
	out := csvwColumn{Name: columnName(c.Name), Titles: []string{c.Name}, Description: c.Meaning, Made: c.Made, Variable: c.Quantity,
		Datatype: csvwTypes[c.Type], Required: c.Always}
	if c.Head != "" && c.Head != c.Name {
		out.Titles = append(out.Titles, c.Head)
	}
	if c.Unit == "" {
		return out, nil
	}
	u, ok := units[c.Unit]
	if !ok {
		return out, fmt.Errorf("column %s: unit %q stands in no published vocabulary known here; add it to reports/record/units.go", c.Name, c.Unit)
	}
	out.UnitText = c.Unit
	out.Unit = &csvwID{qudtUnits + u.qudt}
	out.UCUM = &csvwValue{u.ucum, "http://qudt.org/schema/qudt/UCUMcs"}
	return out, nil
}

// columnName is a header as CSVW lets a column be named: what may not stand in
// the name of a variable of a URI template (RFC 6570, 2.3) percent-encoded; a
// dot too, and an underscore in front, which it keeps for itself.
func columnName(header string) string {
	var b strings.Builder
	for i, c := range []byte(header) {
		switch {
		case c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '_' && i > 0:
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "%%%02X", c)
		}
	}
	return b.String()
}
