package bundle

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"

	"yardheat/analysis/season"
	"yardheat/reports/internal/rows"
	"yardheat/reports/record"
	"yardheat/reports/results"
	"yardheat/reports/workbook"
)

// Entry is one line of the data dictionary: a column, or a key of results.json.
type Entry struct {
	// File of the report; Table in it: a sheet, or the keys above this one.
	File, Table string
	// Name as it stands in the file.
	Name string
	Type string
	// Unit, "" where there is none.
	Unit string
	// Meaning, and how it is Made ("" where the meaning says it).
	Meaning, Made string
}

// Dictionary says of every column and key of a season's report what it is. It
// is made of the tables that the writers use, so it lists what this report
// holds.
func Dictionary(s *season.Season) ([]Entry, error) {
	sheets, err := workbook.Sheets(s)
	if err != nil {
		return nil, err
	}
	out, err := tableEntries(s)
	if err != nil {
		return nil, err
	}
	out = append(out, keyEntries("", results.Keys())...)
	out = append(out, keyEntries("figure (what stands under every key of the type figure)", results.FigureKeys())...)
	return append(out, sheetEntries(s, sheets)...), nil
}

// sheetNames are the headers that a column of the season's tables has in the
// workbook: a time takes two.
func sheetNames[T any](c rows.Column[T]) []string {
	switch {
	case c.Kind == rows.Time:
		return []string{c.Head + " (UTC)", c.Head + " (local)"}
	case c.Unit == "" || c.Unit == "1":
		return []string{c.Head}
	}
	return []string{c.Head + " (" + c.Unit + ")"}
}

// columnEntries describe a sheet made of the columns of rows.
func columnEntries[T any](sheet string, columns []rows.Column[T], about map[string]rows.About) []Entry {
	var out []Entry
	for _, c := range columns {
		for i, name := range sheetNames(c) {
			e := Entry{File: workbookName, Table: sheet, Name: name, Type: kindWords[c.Kind], Unit: c.Unit, Meaning: about[c.Key].Meaning, Made: about[c.Key].Made}
			if c.Kind == rows.Time {
				e.Meaning = strings.TrimSuffix(e.Meaning, ".") + [...]string{", in UTC.", ", by the farm's clocks."}[i]
			}
			out = append(out, e)
		}
	}
	return out
}

var kindWords = map[rows.Kind]string{rows.Number: "number", rows.Text: "text", rows.Time: "time", rows.YesNo: "yes or no"}

var typeWords = map[record.Type]string{record.UTC: "time", record.Local: "time", record.Number: "number", record.Whole: "whole number",
	record.YesNo: "1 or 0, yes or no", record.Text: "text"}

// tableEntries are the columns of the CSV and Parquet files: what those of the
// record are depends on the farm.
func tableEntries(s *season.Season) ([]Entry, error) {
	tables, err := record.Tables(s)
	if err != nil {
		return nil, err
	}
	var out []Entry
	for _, t := range tables {
		for _, c := range t.Columns {
			out = append(out, Entry{File: t.Name + record.CSVTail, Name: c.Name, Type: typeWords[c.Type], Unit: c.Unit, Meaning: c.Meaning, Made: c.Made})
		}
	}
	return out, nil
}

var jsonWords = map[results.Kind]string{
	results.Text: "text", results.Integer: "whole number", results.Number: "number, null = not known", results.YesNo: "true or false",
	results.Time: "time (RFC 3339, UTC)", results.Figure: "figure", results.Object: "object", results.List: "list of objects",
	results.Texts: "list of texts", results.Whole: "whole number", results.Wholes: "list of whole numbers", results.Named: "object, its keys are names",
}

// keyEntries walk down results.json; a list has [] behind its name.
func keyEntries(above string, keys []results.Key) []Entry {
	var out []Entry
	for _, k := range keys {
		e := Entry{File: resultsName, Table: above, Name: k.Name, Type: jsonWords[k.Kind], Meaning: k.Meaning, Made: k.Made}
		if k.Unit != "1" {
			e.Unit = k.Unit
		}
		if k.Values != nil {
			e.Meaning += " One of: \"" + strings.Join(k.Values, "\", \"") + "\"."
		}
		if k.Optional {
			e.Meaning += " Not always there."
		}
		out = append(out, e)
		below := strings.TrimPrefix(above+"."+k.Name, ".")
		switch k.Kind {
		case results.List:
			below += "[]"
		case results.Named:
			below += ".NAME"
		}
		out = append(out, keyEntries(below, k.Inner)...)
	}
	return out
}

var dictionaryHead = []string{"file", "table", "name", "type", "unit", "meaning", "made"}

func (e Entry) cells() []string {
	return []string{e.File, e.Table, e.Name, e.Type, e.Unit, e.Meaning, e.Made}
}

// dictionaryCSV is dictionary.csv: UTF-8, comma, LF; no cell is a formula.
func dictionaryCSV(list []Entry) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	if err := w.Write(dictionaryHead); err != nil {
		return nil, err
	}
	for _, e := range list {
		cells := e.cells()
		for i, c := range cells {
			if c != "" && strings.ContainsRune("=+-@\t\r\x00", rune(c[0])) { // OWASP ASVS 5, 1.2.10
				cells[i] = "'" + c
			}
		}
		if err := w.Write(cells); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// dictionaryMD is dictionary.md, the same for people.
func dictionaryMD(list []Entry) []byte {
	var b bytes.Buffer
	b.WriteString("# Data dictionary\n\nEvery column and key of the report in the folder `report`. The same stands in `dictionary.csv`, for programs.\n")
	for i, e := range list {
		if i == 0 || e.File != list[i-1].File {
			fmt.Fprintf(&b, "\n## %s\n\n%s\n", e.File, fileWords[e.File])
		}
		if i == 0 || e.File != list[i-1].File || e.File == workbookName && e.Table != list[i-1].Table {
			if e.File == workbookName {
				fmt.Fprintf(&b, "\n### Sheet %s\n", plain(e.Table))
			}
			b.WriteString("\n| name | type | unit | meaning | how it is made |\n|---|---|---|---|---|\n")
		}
		name := e.Name
		if e.File == resultsName && e.Table != "" {
			name = e.Table + "." + e.Name
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s |\n", plain(name), plain(e.Type), plain(e.Unit), plain(e.Meaning), plain(e.Made))
	}
	return b.Bytes()
}

const (
	workbookName = "season.xlsx"
	resultsName  = "results.json"
	milkingsName = record.MilkingsTable + record.CSVTail
	recordName   = record.RecordTable + record.CSVTail
	drawsName    = record.DrawsTable + record.CSVTail
	washesName   = record.WashesTable + record.CSVTail
)

const parquetToo = "The same columns and values stand in the `.parquet` of the same name, an empty cell as null."

var fileWords = map[string]string{
	milkingsName: "A row a cycle. UTF-8, comma, decimal point; an empty cell is not known; 12 significant digits. " + parquetToo,
	recordName:   "The cleaned readings on one grid, a row a cell. UTF-8, comma, decimal point; an empty cell is not covered. " + parquetToo,
	drawsName:    "A row a refill through the loop. UTF-8, comma, decimal point; an empty cell is not known; 12 significant digits. " + parquetToo,
	washesName:   "A row a wash. UTF-8, comma, decimal point; an empty cell is not known; 12 significant digits. " + parquetToo,
	resultsName:  "UTF-8 JSON; `results.schema.json` is its JSON Schema. [] stands behind the name of a list.",
	workbookName: "One table a sheet; an empty cell is not known.",
}

// plain keeps a text from being read as markup or as the end of a cell.
func plain(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, text)
	for _, c := range []string{`\`, "|", "`", "*", "_", "[", "]"} {
		text = strings.ReplaceAll(text, c, `\`+c)
	}
	return strings.ReplaceAll(strings.ReplaceAll(text, "&", "&amp;"), "<", "&lt;")
}

// sheetEntries describe the workbook: the tables of rows by their own columns,
// the others by what sheets.go says.
func sheetEntries(s *season.Season, sheets []workbook.Sheet) []Entry {
	listed := map[string][]Entry{
		"Cycles": columnEntries("Cycles", rows.Cycles(), rows.AboutCycles()),
		"Draws":  columnEntries("Draws", rows.Draws(), rows.AboutDraws()),
		"Washes": columnEntries("Washes", rows.Washes(), rows.AboutWashes()),
	}
	figures, more := labelled(s), workbook.Meanings(s)
	var out []Entry
	for _, sheet := range sheets {
		for _, head := range sheet.Heads {
			e := Entry{File: workbookName, Table: sheet.Name, Name: head}
			if i := slices.IndexFunc(listed[sheet.Name], func(e Entry) bool { return e.Name == head }); i >= 0 {
				e = listed[sheet.Name][i]
			} else if x, ok := aboutHead(sheet.Name, head); ok {
				e.Type, e.Unit, e.Meaning = x.kind, x.unit, x.meaning
			} else if text := more[sheet.Name][head]; text != "" {
				e.Type, e.Unit, e.Meaning = "number", unitIn(head), text
			} else {
				e = figureColumn(e, figures)
			}
			out = append(out, e)
		}
	}
	return out
}

// labelled are the figures that a sheet may hold in a column of their own, by
// the label in its header, and by key.
func labelled(s *season.Season) map[string]season.Named {
	out := map[string]season.Named{}
	add := func(list []season.Named) {
		for _, n := range list {
			out[n.Label], out[n.Key] = n, n
		}
	}
	for _, m := range s.Months {
		add(m.Figures)
	}
	for _, x := range s.Seasons {
		add(x.Figures)
	}
	for _, w := range s.Plant.Weeks {
		add(w.Figures)
	}
	add(s.Headline)
	return out
}

// unitIn is what stands in brackets at the end of a header.
func unitIn(head string) string {
	at := strings.LastIndex(head, " (")
	if at <= 0 || !strings.HasSuffix(head, ")") {
		return ""
	}
	return head[at+2 : len(head)-1]
}

// figureColumn describes a column that holds a figure's value or one end of
// it: "Heat from the yard, low end (kWh)"; a bare key is a share of its variance.
func figureColumn(e Entry, figures map[string]season.Named) Entry {
	label := e.Name
	if e.Unit = unitIn(label); e.Unit != "" {
		label = strings.TrimSuffix(label, " ("+e.Unit+")")
	}
	part := ""
	for _, tail := range []struct{ text, means string }{
		{", own low end", "Low end by the scatter of the week's own days: "}, {", own high end", "High end by the scatter of the week's own days: "},
		{", as reported", "As results.json has it: "}, {", low end", "Low end: "}, {", high end", "High end: "},
	} {
		if l, ok := strings.CutSuffix(label, tail.text); ok && part == "" {
			label, part = l, tail.means
		}
	}
	n, ok := figures[label]
	if !ok {
		n, ok = figures[e.Name] // a label that ends in brackets, without a unit
		if ok {
			e.Unit = ""
		}
	}
	k, known := results.FigureKey(n.Key)
	if !ok || !known {
		return e
	}
	if label == n.Key {
		part = "Share of the variance of: "
	}
	e.Type, e.Meaning, e.Made = "number", part+k.Meaning, k.Made
	return e
}
