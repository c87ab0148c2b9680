package table

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// A page as programs write it under the name .xls: a title, two header rows
// with spans, entities, decimal commas, a footer in a table of its own.
const page = `<html><head><meta http-equiv="Content-Type" content="text/html; charset=windows-1252">
<style>td { color: red } /* <table><tr><td>no */</style></head><body>
<table border=1>
<tr><th colspan="4">Farm log of nobody</th></tr>
<tr><th rowspan=2>time</th><th colspan="2">Loop</th><th rowspan=2>Bed&nbsp;mean (&deg;C)</th></tr>
<tr><th>in (°C)</th><th>out<br>(°C)</th></tr>
<tr><td>05.01.2026 10:00<td>1,5<td>2,5<td>48,25
<tr><td>05.01.2026 10:10</td><td><b>1,6</b></td><td>2,6</td><td>48,50</td></tr>
<!-- <tr><td>05.01.2026 10:15</td><td>9</td><td>9</td><td>9</td></tr> -->
<tr><td>25.01.2026 10:20</td><td></td><td>&minus;2,7</td><td>48,75</td></tr>
</table><script>var x = "<table>";</script>
<table><tr><td>printed by hand</td></tr></table></body></html>`

func TestPageWithTable(t *testing.T) {
	narrow, err := charmap.Windows1252.NewEncoder().String(page)
	if err != nil {
		t.Fatal(err)
	}
	wide, err := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String(page)
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string]string{"windows-1252": narrow, "UTF-16": wide, "UTF-8": strings.Replace(page, "windows-1252", "utf-8", 1)} {
		t.Run(name, func(t *testing.T) {
			all := mustRead(t, "log.xls", []byte(data), Options{})
			same(t, "tables", 1, len(all))
			got := all[0]
			same(t, "header", "time | Loop in (°C) | Loop out (°C) | Bed mean (°C)", joined(got.Header))
			same(t, "rows", 3, len(got.Rows))
			same(t, "first", "05.01.2026 10:00 | 1,5 | 2,5 | 48,25", joined(got.Rows[0].Cells))
			same(t, "last", "25.01.2026 10:20 |  | −2,7 | 48,75", joined(got.Rows[2].Cells))
			same(t, "line", 8, got.Rows[1].Line)
			same(t, "decimal", ",", got.Decimal)
			same(t, "problems", "", codesOf(got.Problems))
		})
	}
}

// Several tables on a page are several tables, those within others too; a date
// that spans rows stands in each of them.
func TestPageWithSeveralTables(t *testing.T) {
	table := func(name, day string) string {
		return `<table><tr><th>date</th><th>time</th><th>` + name + `</th></tr><tr><td rowspan=2>` + day + `</td><td>10:00</td><td>1.5</td></tr><tr><td>10:10</td><td>2.5</td></tr></table>`
	}
	all := mustRead(t, "log.xls", []byte(`<!DOCTYPE html><table><tr><td>menu</td><td>`+table("north", "2026-01-05")+table("south", "2026-01-06")+`</td></tr></table>`), Options{})
	same(t, "tables", 2, len(all))
	same(t, "south", "date | time | south", joined(all[1].Header))
	same(t, "second", "2026-01-06 | 10:10 | 2.5", joined(all[1].Rows[1].Cells))
}

func TestPageRefused(t *testing.T) {
	for word, text := range map[string]string{
		"log-in":    `<html><form><table><tr><td>User</td><td><input></td></tr></table></form></html>`,
		"512":       `<table><tr><td colspan="100000">x</td></tr></table>`,
		"1000":      `<table>` + strings.Repeat("<table>", 2000),
		"too large": strings.Repeat("<table><tr><td>", 40),
	} {
		_, err := ReadBytes("log.xls", []byte(text), Options{})
		var e *Error
		if !errors.As(err, &e) || e.Do == "" || !strings.Contains(err.Error(), word) {
			t.Errorf("want an error with %q that says what to do, got %v", word, err)
		}
	}
}

// A page cut at any byte is an error, or its whole rows with a problem listed;
// never fewer rows in silence.
func TestPageCut(t *testing.T) {
	text := strings.Replace(page, "windows-1252", "utf-8", 1)
	end := strings.Index(text, "</table>") + len("</table>")
	for cut := range end {
		tables, err := ReadBytes("log.xls", []byte(text[:cut]), Options{})
		if err == nil && !strings.Contains(codesOf(tables[0].Problems), "file-cut") {
			t.Fatalf("cut at %d: %d rows in silence", cut, len(tables[0].Rows))
		}
	}
}

const book2003 = `<?xml version="1.0" encoding="ISO-8859-1"?>
<?mso-application progid="Excel.Sheet"?>
<Workbook xmlns="urn:schemas-microsoft-com:office:spreadsheet" xmlns:ss="urn:schemas-microsoft-com:office:spreadsheet" xmlns:html="http://www.w3.org/TR/REC-html40">
 <Styles><Style ss:ID="s1"><NumberFormat ss:Format="General Date"/></Style></Styles>
 <Worksheet ss:Name="Notes"><Table><Row><Cell><Data ss:Type="String">nothing here</Data></Cell></Row></Table></Worksheet>
 <Worksheet ss:Name="Log"><Table ss:ExpandedColumnCount="5">
  <Row><Cell><Data ss:Type="String">time</Data></Cell><Cell ss:MergeAcross="1"><Data ss:Type="String">Loop</Data></Cell><Cell><Data ss:Type="String">Pump</Data></Cell><Cell><ss:Data ss:Type="String"><html:B>at</html:B> clock</ss:Data></Cell></Row>
  <Row><Cell ss:Index="2"><Data ss:Type="String">in (` + "\xb0" + `C)</Data></Cell><Cell><Data ss:Type="String">out (` + "\xb0" + `C)</Data></Cell></Row>
  <Row ss:Index="5"><Cell ss:StyleID="s1"><Data ss:Type="DateTime">2026-01-05T10:00:00.000</Data></Cell><Cell><Data ss:Type="Number">1.5</Data></Cell><Cell><Data ss:Type="Number">-2.5E-1</Data></Cell><Cell><Data ss:Type="Boolean">1</Data></Cell><Cell><Data ss:Type="DateTime">1899-12-31T06:30:00.000</Data></Cell></Row>
  <Row><Cell ss:StyleID="s1"><Data ss:Type="DateTime">2026-01-05T10:10:00.000</Data></Cell><Cell ss:Index="3" ss:Formula="=R1C1"><Data ss:Type="Error">#N/A</Data></Cell><Cell><Data ss:Type="Boolean">0</Data></Cell></Row>
 </Table></Worksheet>
</Workbook>`

func TestBook2003(t *testing.T) {
	all := mustRead(t, "log.xls", []byte(book2003), Options{})
	same(t, "tables", 1, len(all))
	got := all[0]
	same(t, "sheet", "Log", got.Sheet)
	same(t, "header", "time | Loop in (°C) | Loop out (°C) | Pump | at clock", joined(got.Header))
	same(t, "first", "2026-01-05T10:00:00.000 | 1.5 | -2.5E-1 | TRUE | 06:30:00", joined(got.Rows[0].Cells))
	same(t, "second", "2026-01-05T10:10:00.000 |  | #N/A | FALSE | ", joined(got.Rows[1].Cells))
	same(t, "line", 6, got.Rows[1].Line)
	same(t, "problems", "", codesOf(got.Problems))
	if _, err := ReadBytes("log.xls", []byte(book2003), Options{Sheet: "west"}); err == nil || !strings.Contains(err.Error(), `"Notes"`) {
		t.Errorf("want an error that lists the sheets, got %v", err)
	}
}

func TestBook2003Cut(t *testing.T) {
	end := strings.LastIndex(book2003, ">")
	for cut := range end {
		tables, err := ReadBytes("log.xls", []byte(book2003[:cut]), Options{})
		if err == nil && !strings.Contains(codesOf(tables[0].Problems), "workbook-cut") {
			t.Fatalf("cut at %d: %d rows in silence", cut, len(tables[0].Rows))
		}
	}
	for name, change := range map[string][2]string{
		"row back":        {`ss:Index="5"`, `ss:Index="1"`},
		"column far":      {`ss:Index="3"`, `ss:Index="900"`},
		"type":            {`ss:Type="Error"`, `ss:Type="Money"`},
		"row within row":  {`<Cell ss:Index="3"`, `<Row/><Cell ss:Index="3"`},
		"sheet in sheet":  {`<Table ss:Exp`, `<Worksheet/><Table ss:Exp`},
		"two values":      {`<Data ss:Type="Error">#N/A</Data>`, `<Data ss:Type="Error">#N/A</Data><Data ss:Type="Number">1</Data>`},
		"document type":   {`<?mso-app`, `<!DOCTYPE x><?mso-app`},
		"crossed":         {`</Row>`, `</Cell>`},
		"merged too far":  {`ss:MergeAcross="1"`, `ss:MergeAcross="99999"`},
		"beyond the rows": {`ss:Index="5"`, `ss:Index="5000000"`},
	} {
		text := strings.Replace(book2003, change[0], change[1], 1)
		var e *Error
		if _, err := ReadBytes("log.xls", []byte(text), Options{}); text == book2003 || !errors.As(err, &e) || e.Do == "" {
			t.Errorf("%s: want a *table.Error that says what to do, got %v", name, err)
		}
	}
}

// An old binary workbook is told by its first bytes, whatever its name; a text
// named .xls is read as the text it is.
func TestNamedXLS(t *testing.T) {
	_, err := ReadBytes("log.xls", []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"+strings.Repeat("\x00", 600)), Options{})
	if err == nil || !strings.Contains(err.Error(), "save it as .xlsx") {
		t.Errorf("want how to convert it, got %v", err)
	}
	got := mustRead(t, "log.xls", []byte("time\tT\n2026-01-05 10:00\t1.5\n2026-01-05 10:10\t1.6\n"), Options{})
	same(t, "text", "2026-01-05 10:10 | 1.6", joined(got[0].Rows[1].Cells))
}

func FuzzPage(f *testing.F) {
	f.Add(page)
	f.Add(book2003)
	f.Add(`<table><tr><td rowspan=3 colspan=2>2026-01-05<td>1<tr><td>2</table><table>`)
	f.Fuzz(func(t *testing.T, text string) {
		tables, err := ReadBytes("fuzz.xls", []byte("<"+text), Options{})
		checkWhole(t, tables, err)
	})
}

func BenchmarkPage(b *testing.B) {
	var w strings.Builder
	w.WriteString("<html><table><tr><th>time</th><th>Loop in</th><th>Loop out</th></tr>\n")
	const rows = 40_000
	for i := range rows {
		fmt.Fprintf(&w, "<tr><td>2026-01-%02d %02d:%02d</td><td>%d.5</td><td>%d.25</td></tr>\n", 1+i/1440, i/60%24, i%60, i%50, i%40)
	}
	w.WriteString("</table></html>")
	data := []byte(w.String())
	same(b, "rows", rows, len(mustRead(b, "log.xls", data, Options{})[0].Rows))
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := ReadBytes("log.xls", data, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
