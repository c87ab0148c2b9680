package ooxml

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

// The peer is excelize v2.11.1: File.Rows and Rows.Columns with RawCellValue
// for the cells, GetStyle for the styles. Where a test holds us to something
// else, it says why.

// peerCells reads a sheet with the peer: texts by cell name.
func peerCells(t testing.TB, data []byte, sheet string) (cells map[string]string, rows int) {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }() // read only
	it, err := f.Rows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	cells = map[string]string{}
	for it.Next() {
		rows++
		row, err := it.Columns()
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range row {
			if c = strings.Trim(c, " \t\r\n"); c != "" {
				cells[CellName(i+1, rows)] = c
			}
		}
	}
	return cells, rows
}

// ourCells is the same with ours.
func ourCells(t testing.TB, data []byte, part string) (map[string]string, *Summary) {
	t.Helper()
	a, texts := openSheet(t, data)
	cells := map[string]string{}
	s, err := ReadSheet(a.Stream(part), texts, func(r *Row) error {
		for i := range r.Cells {
			c := &r.Cells[i]
			if text := strings.Trim(string(c.Text), " \t\r\n"); text != "" {
				cells[CellName(c.Col, r.Number)] = text
			}
			if v, ok := c.Float(); ok {
				if want, err := strconv.ParseFloat(string(c.Text), 64); err != nil || v != want {
					return fmt.Errorf("%q as a number: want %v, got %v", c.Text, want, v)
				}
			} else if _, err := strconv.ParseFloat(string(c.Text), 64); c.Kind == 'n' && err == nil {
				return fmt.Errorf("%q is a number", c.Text)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return cells, s
}

func sameCells(t *testing.T, want, got map[string]string) {
	t.Helper()
	if len(want) == 0 {
		t.Fatal("the peer read nothing")
	}
	for name, w := range want {
		if got[name] != w {
			t.Errorf("%s: want %q, got %q", name, w, got[name])
		}
	}
	for name, g := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s: want nothing, got %q", name, g)
		}
	}
}

// randomBook makes a workbook of one sheet with cells of every kind, sparse,
// some styled, in one of the peer's two ways of writing (its stream writer
// writes texts inline, the other writes them shared).
func randomBook(t *testing.T, rng *rand.Rand) []byte {
	t.Helper()
	f := excelize.NewFile()
	if rng.IntN(3) == 0 {
		yes := true
		must(t, f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}))
	}
	styles := []int{0}
	for _, id := range []int{1, 2, 14, 20, 22, 46, 47, 49} {
		n, err := f.NewStyle(&excelize.Style{NumFmt: id})
		must(t, err)
		styles = append(styles, n)
	}
	for _, code := range []string{"dd.mm.yyyy hh:mm:ss", "0.0 \"mm\"", "[h]:mm:ss", "yyyy-mm-dd"} {
		n, err := f.NewStyle(&excelize.Style{CustomNumFmt: &code})
		must(t, err)
		styles = append(styles, n)
	}
	rows, cols := 1+rng.IntN(60), 1+rng.IntN(40)
	stream := rng.IntN(2) == 0
	var w *excelize.StreamWriter
	if stream {
		var err error
		w, err = f.NewStreamWriter("Sheet1")
		must(t, err)
	}
	for row := 1; row <= rows; row += 1 + rng.IntN(3) {
		cells := make([]any, cols)
		for col := range cells {
			cells[col] = randomCell(rng, styles[rng.IntN(len(styles))])
		}
		if stream {
			must(t, w.SetRow(CellName(1, row), cells, excelize.RowOpts{Hidden: rng.IntN(5) == 0}))
			continue
		}
		for col, c := range cells {
			if c == nil {
				continue
			}
			cell, name := c.(excelize.Cell), CellName(col+1, row)
			must(t, f.SetCellValue("Sheet1", name, cell.Value))
			must(t, f.SetCellStyle("Sheet1", name, name, cell.StyleID))
			if rng.IntN(10) == 0 {
				must(t, f.SetCellRichText("Sheet1", name, []excelize.RichTextRun{{Text: "Loop "}, {Text: "out °C", Font: &excelize.Font{Bold: true}}}))
			}
		}
	}
	if stream {
		must(t, w.Flush())
	} else {
		must(t, f.SetColVisible("Sheet1", "B", false))
		must(t, f.MergeCell("Sheet1", "A1", "C1"))
	}
	buf, err := f.WriteToBuffer()
	must(t, err)
	return buf.Bytes()
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func randomCell(rng *rand.Rand, style int) any {
	texts := []string{"a", " padded ", "21,5", "Temp & humidity <1>", "a\nb\tc", "_x000D_", "x_x0041_y", "°C µ −5", "日本", "😀", "]]>", `"q" 'r'`, "1e5", "TRUE"}
	var v any
	switch rng.IntN(9) {
	case 0:
		return nil
	case 1:
		v = rng.IntN(2_000_000) - 1_000_000
	case 2:
		v = rng.NormFloat64() * 1e6
	case 3:
		v = rng.Float64() * 1e-9
	case 4:
		v = float64(rng.IntN(100_000)) / 100
	case 5:
		v = rng.IntN(2) == 0
	case 6:
		v = time.Date(2026, 1, 1, 0, 0, rng.IntN(1e7), rng.IntN(1000)*1e6, time.UTC)
	case 7:
		v = time.Duration(rng.IntN(1e6)) * time.Second
	default:
		v = texts[rng.IntN(len(texts))]
	}
	return excelize.Cell{StyleID: style, Value: v}
}

func TestSheetLikePeer(t *testing.T) {
	for seed := range uint64(120) {
		t.Run(strconv.FormatUint(seed, 10), func(t *testing.T) {
			data := randomBook(t, rand.New(rand.NewPCG(seed, 3)))
			want, _ := peerCells(t, data, "Sheet1")
			got, _ := ourCells(t, data, sheet1)
			sameCells(t, want, got)
		})
	}
}

// Every style's form against the peer's own reading of the part.
func TestStylesLikePeer(t *testing.T) {
	data := randomBook(t, rand.New(rand.NewPCG(1, 1)))
	f, err := excelize.OpenReader(bytes.NewReader(data))
	must(t, err)
	defer func() { _ = f.Close() }() // read only
	a, _ := openSheet(t, data)
	part, err := a.Bytes("xl/styles.xml")
	must(t, err)
	styles, err := ReadStyles(part)
	must(t, err)
	if len(styles) < 12 {
		t.Fatalf("want 13 styles, got %d", len(styles))
	}
	for i := range styles {
		peer, err := f.GetStyle(i)
		must(t, err)
		want := builtInForm(peer.NumFmt)
		if peer.CustomNumFmt != nil {
			want = formatForm(*peer.CustomNumFmt)
		}
		if styles[i].Form != want {
			t.Errorf("style %d: want %d, got %d", i, want, styles[i].Form)
		}
	}
}

// withSheet puts a sheet's XML into a workbook of the peer's making.
func withSheet(t testing.TB, xml string) []byte {
	t.Helper()
	f := excelize.NewFile()
	must(t, f.SetCellValue("Sheet1", "A1", "first shared"))
	must(t, f.SetCellValue("Sheet1", "A2", "second & last"))
	buf, err := f.WriteToBuffer()
	must(t, err)
	zr, err := zip.NewReader(bytes.NewReader(buf.Bytes()), int64(buf.Len()))
	must(t, err)
	var out bytes.Buffer
	zw := zip.NewWriter(&out)
	for _, p := range zr.File {
		w, err := zw.Create(p.Name)
		must(t, err)
		if p.Name == sheet1 {
			_, err = io.WriteString(w, xml)
			must(t, err)
			continue
		}
		r, err := p.Open()
		must(t, err)
		_, err = io.Copy(w, r)
		must(t, err)
	}
	must(t, zw.Close())
	return out.Bytes()
}

const (
	opening = `<?xml version="1.0" encoding="UTF-8" standalone="yes"?>` + "\r\n" +
		`<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><dimension ref="A1:C9"/><sheetData>`
	closing = `</sheetData><pageMargins left="0.7" right="0.7"/></worksheet>`
)

// sheets are ways to write the same or other cells that XML and the format
// allow. The peer says what they hold, unless it is wrong: want then says it.
var sheets = []struct {
	name, rows string
	token      int // rows that are not plain
	want       map[string]string
}{
	{name: "plain", rows: `<row r="1" spans="1:3"><c r="A1" s="0"><v>1.5</v></c><c r="B1" t="s"><v>0</v></c><c r="C1" t="s"><v>1</v></c></row>`},
	{name: "blanks between", rows: "\n <row r=\"1\" >\n  <c r=\"A1\" >\n<v>1</v></c>\r\n</row>\n", token: 1},
	{name: "types", rows: `<row r="1"><c r="A1" t="n"><v>1</v></c><c r="B1" t="b"><v>1</v></c><c r="C1" t="e"><v>#N/A</v></c><c r="D1" t="d"><v>2026-01-05T10:00:00</v></c>` +
		`<c r="E1" t="str"><v>x</v></c><c r="F1" t="inlineStr"><is><t>y</t></is></c><c r="G1" t="inlineStr"><is><t xml:space="preserve"> z </t></is></c></row>`},
	{name: "no numbering", rows: `<row><c><v>1</v></c><c/><c><v>2</v></c></row><row/><row><c><v>3</v></c></row>`},
	{name: "gaps", rows: `<row r="2"><c r="C2"><v>1</v></c><c><v>2</v></c></row><row><c><v>3</v></c></row><row r="9"><c r="AB9"><v>4</v></c></row>`},
	{name: "formulas", rows: `<row r="1"><c r="A1"><f>B1*2</f><v>4</v></c><c r="B1" t="str"><f t="shared" ref="B1:B2" si="0">C1</f><v>x</v></c><c r="C1"><f t="shared" si="0"/><v>5</v></c></row>`},
	{name: "formula with entity", rows: `<row r="1"><c r="A1" t="str"><f>"a"&amp;"b"</f><v>ab</v></c></row>`, token: 1},
	{name: "empty cells", rows: `<row r="1"><c r="A1" s="0"/><c r="B1"></c><c r="C1"><v></v></c><c r="D1"><v>1</v></c></row>`},
	{name: "entities", rows: `<row r="1"><c r="A1" t="str"><v>a &lt;&#176;&#xB0;&amp;</v></c><c r="B1"><v>1&#46;5</v></c></row>`, token: 1},
	{name: "cdata", rows: `<row r="1"><c r="A1" t="str"><v><![CDATA[<v>9</v>]]></v></c></row><row r="2"><c r="A2"><v>2</v></c></row>`, token: 1},
	{name: "comments", rows: `<!-- </row> --><row r="1"><c r="A1"><v>1<!-- 9 -->5</v></c></row><row r="2"><c r="A2"><v>2</v></c></row>`, token: 1},
	{name: "instruction", rows: `<row r="1"><?x y?><c r="A1"><v>1</v></c></row>`, token: 1},
	{name: "single quotes", rows: `<row r='1'><c r='A1'><v>1</v></c></row>`, token: 1},
	// The peer takes a <v> within an extension of the cell for its value.
	{name: "extensions", want: map[string]string{"A1": "1"}, rows: `<row r="1"><c r="A1"><v>1</v><extLst><ext uri="x"><x:v xmlns:x="u">9</x:v></ext></extLst></c></row>`, token: 1},
	{name: "runs", rows: `<row r="1"><c r="A1" t="inlineStr"><is><r><rPr><b/></rPr><t>ab</t></r><r><t xml:space="preserve"> c</t></r></is></c></row>`, token: 1},
	{name: "wide characters", rows: `<row r="1"><c r="A1" t="str"><v>°C µ 日本 😀</v></c></row>`},
	{name: "carriage return", rows: "<row r=\"1\"><c r=\"A1\" t=\"str\"><v>a\r\nb</v></c></row>", token: 1},
	{name: "dyDescent", rows: `<row r="1" x14ac:dyDescent="0.25" xmlns:x14ac="u"><c r="A1"><v>1</v></c></row>`},
	{name: "hidden", rows: `<row r="1" hidden="1"><c r="A1"><v>1</v></c></row><row r="2"><c r="A2"><v>2</v></c></row>`},

	{name: "reading aid", token: 1,
		rows: `<row r="1"><c r="A1" t="inlineStr"><is><t>漢</t><rPh sb="0" eb="1"><t>kan</t></rPh></is></c></row>`},
	// ST_Xstring, the type of <v> (ECMA-376 part 1, 18.18 and 22.9.2.19, from
	// memory), escapes characters that XML cannot hold. The peer resolves them
	// in shared and inline texts only.
	{name: "escape in a formula's text", want: map[string]string{"A1": "a\x07b"},
		rows: `<row r="1"><c r="A1" t="str"><v>a_x0007_b</v></c></row>`},
	// A prefix that stands for the same namespace: the peer looks at local
	// names, and so do we.
	{name: "prefix", rows: `<row r="1"><x:c xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main" r="A1"><x:v>1</x:v></x:c></row>`, token: 1},
}

func TestSheetForms(t *testing.T) {
	for _, c := range sheets {
		t.Run(c.name, func(t *testing.T) {
			data := withSheet(t, opening+c.rows+closing)
			want := c.want
			if want == nil {
				want, _ = peerCells(t, data, "Sheet1")
			}
			if c.want != nil {
				if peer, _ := peerCells(t, data, "Sheet1"); maps.Equal(peer, c.want) {
					t.Error("the peer reads it right: hold us to the peer")
				}
			}
			got, s := ourCells(t, data, sheet1)
			sameCells(t, want, got)
			if s.ByToken != c.token {
				t.Errorf("want %d rows by token, got %d", c.token, s.ByToken)
			}
			if s.Cut || !s.DataWhole || s.Declared != 9 {
				t.Errorf("want a whole sheet that says 9 rows, got %+v", s)
			}
		})
	}
}

// The two ways of reading a row give the same cells: an instruction in a row
// sends it through the decoder and changes nothing else.
func TestTokensLikeBytes(t *testing.T) {
	for seed := range uint64(20) {
		data := randomBook(t, rand.New(rand.NewPCG(seed, 8)))
		a, _ := openSheet(t, data)
		sheet, err := a.Bytes(sheet1)
		must(t, err)
		want, fast := ourCells(t, data, sheet1)
		slow := strings.ReplaceAll(strings.ReplaceAll(string(sheet), "</row>", "<?x?></row>"), "<sheetData>", "<sheetData ><?x?>")
		got := map[string]string{}
		_, texts := openSheet(t, data)
		s, err := ReadSheet(strings.NewReader(slow), texts, func(r *Row) error {
			for _, c := range r.Cells {
				got[CellName(c.Col, r.Number)] = strings.Trim(string(c.Text), " \t\r\n")
			}
			return nil
		})
		must(t, err)
		if fast.Last > 3 && (s.ByToken <= fast.ByToken || s.Last != fast.Last) {
			t.Fatalf("want rows up to %d by token, got %d up to %d", fast.Last, s.ByToken, s.Last)
		}
		for name, w := range want {
			if got[name] != w {
				t.Fatalf("seed %d, %s: want %q, got %q", seed, name, w, got[name])
			}
		}
	}
}

// What is refused, each for its own reason.
func TestSheetRefused(t *testing.T) {
	cell := `<row r="1"><c r="A1"><v>1</v></c></row>`
	for name, sheet := range map[string]string{
		"document type":       `<!DOCTYPE x [<!ENTITY a "1">]>` + opening + cell + closing,
		"type within":         opening + `<!DOCTYPE x>` + cell + closing,
		"unknown entity":      opening + `<row r="1"><c r="A1"><v>&a;</v></c></row>` + closing,
		"other root":          `<chartsheet/>`,
		"two roots":           opening + cell + closing + `<worksheet/>`,
		"text behind":         opening + cell + closing + `9`,
		"two lists of rows":   opening + cell + `</sheetData><sheetData>` + closing,
		"crossed":             opening + `<row r="1"><c r="A1"><v>1</c></v></row>` + closing,
		"double attribute":    opening + `<row r="1"><c r="A1" r="B1"><v>1</v></c></row>` + closing,
		"double row number":   opening + `<row r="1" r="2"/>` + closing,
		"text among cells":    opening + `<row r="1">9<c r="A1"><v>1</v></c></row>` + closing,
		"text among rows":     opening + `9` + cell + closing,
		"two values":          opening + `<row r="1"><c r="A1"><v>1</v><v>2</v></c></row>` + closing,
		"other element":       opening + `<row r="1"><d r="A1"/></row>` + closing,
		"element in a value":  opening + `<row r="1"><c r="A1"><v>1<b/>2</v></c></row>` + closing,
		"other type":          opening + `<row r="1"><c r="A1" t="q"><v>1</v></c></row>` + closing,
		"text number":         opening + `<row r="1"><c r="A1" t="s"><v>2</v></c></row>` + closing,
		"negative text":       opening + `<row r="1"><c r="A1" t="s"><v>-1</v></c></row>` + closing,
		"row twice":           opening + cell + cell + closing,
		"row 0":               opening + `<row r="0"/>` + closing,
		"row too high":        opening + `<row r="1048577"/>` + closing,
		"cell of another row": opening + `<row r="1"><c r="A2"><v>1</v></c></row>` + closing,
		"cell twice":          opening + `<row r="1"><c r="A1"><v>1</v></c><c r="A1"><v>1</v></c></row>` + closing,
		"last column":         opening + `<row r="1"><c r="XFD1"><v>1</v></c></row>` + closing,
		"control character":   opening + "<row r=\"1\"><c r=\"A1\" t=\"str\"><v>a\x01</v></c></row>" + closing,
		"bad UTF-8":           opening + "<row r=\"1\"><c r=\"A1\" t=\"str\"><v>a\xff</v></c></row>" + closing,
		"U+FFFE":              opening + "<row r=\"1\"><c r=\"A1\" t=\"str\"><v>a\uFFFE</v></c></row>" + closing,
		"loose ]]>":           opening + "<row r=\"1\"><c r=\"A1\" t=\"str\"><v>a]]></v></c></row>" + closing,
		"deep":                opening + cell + `</sheetData>` + strings.Repeat("<a>", 100) + strings.Repeat("</a>", 100) + `</worksheet>`,
		"another encoding":    strings.Replace(opening, "UTF-8", "UTF-16", 1) + cell + closing,
		"long token":          opening + `<row r="1"><c r="A1" t="str"><v>` + strings.Repeat("x", maxTokenB+10) + `</v></c></row>` + closing,
		"nothing":             "",
		"blank":               " \n",
	} {
		t.Run(name, func(t *testing.T) {
			a, texts := openSheet(t, withSheet(t, sheet))
			_, err := ReadSheet(a.Stream(sheet1), texts, func(*Row) error { return nil })
			if err == nil {
				t.Error("want an error, got none")
			}
		})
	}
}

// A sheet cut at any byte is an error or Cut, and its rows are the first of the
// whole, wherever blocks and rows end.
func TestSheetCutAnywhere(t *testing.T) {
	whole := opening + `<row r="1"><c r="A1" t="str"><v>a &amp; b</v></c></row><row r="2"><c r="A2"><v>2</v></c></row><row r="4"/>` + closing
	for cut := range len(whole) {
		var rows []int
		s, err := ReadSheet(strings.NewReader(whole[:cut]), nil, func(r *Row) error {
			rows = append(rows, r.Number)
			return nil
		})
		ends := strings.Count(whole[:cut], "</row>") + strings.Count(whole[:cut], `<row r="4"/>`)
		switch {
		case ends == 0:
			if err == nil {
				t.Fatalf("cut at %d: want an error", cut)
			}
		case err != nil || !s.Cut || !slices.Equal(rows, []int{1, 2, 4}[:ends]):
			t.Fatalf("cut at %d: want %d rows and Cut, got %v, %+v, %v", cut, ends, rows, s, err)
		}
	}
}

// Rows longer than a block, and rows that end anywhere in one.
func TestBlocks(t *testing.T) {
	for _, size := range []int{10, 1000, 50_000, 300_000} {
		var b strings.Builder
		b.WriteString(opening)
		rows := 3 * blocks * blockB / max(size, 200)
		for i := range rows {
			fmt.Fprintf(&b, `<row r="%d"><c r="A%d" t="str"><v>%s</v></c><c r="B%d"><v>%d</v></c></row>`, i+1, i+1, strings.Repeat("x", size), i+1, i)
		}
		b.WriteString(closing)
		n := 0
		s, err := ReadSheet(strings.NewReader(b.String()), nil, func(r *Row) error {
			if len(r.Cells) != 2 || len(r.Cells[0].Text) != size || string(r.Cells[1].Text) != strconv.Itoa(n) {
				return fmt.Errorf("row %d: %d cells", r.Number, len(r.Cells))
			}
			n++
			return nil
		})
		if err != nil || n != rows || s.Last != rows {
			t.Errorf("size %d: want %d rows, got %d, %v", size, rows, n, err)
		}
		if size < blockB/4 && s.ByToken > 2 {
			t.Errorf("size %d: %d plain rows went through the decoder", size, s.ByToken)
		}
	}
}

func TestSharedTexts(t *testing.T) {
	const xml = `<?xml version="1.0"?><sst xmlns="u" count="9" uniqueCount="7"><si><t>plain</t></si><si><t xml:space="preserve"> kept </t></si>` +
		`<si><r><t>two </t></r><r><rPr><b/></rPr><t>runs</t></r><rPh sb="0" eb="1"><t>aid</t></rPh></si><si/><si><t/></si><si><t>a &amp; b</t></si><si><t>_x000D__x005F_x0041_</t></si><si><t>last</t></si></sst>`
	want := []string{"plain", " kept ", "two runs", "", "", "a & b", "\r_x0041_", "last"}
	texts, err := ReadTexts(strings.NewReader(xml))
	must(t, err)
	for i, w := range want {
		if got, ok := texts.At(i); !ok || string(got) != w {
			t.Errorf("text %d: want %q, got %q", i, w, got)
		}
	}
	if _, ok := texts.At(len(want)); ok {
		t.Errorf("want %d texts, got more", len(want))
	}
	for cut := range len(xml) {
		if _, err := ReadTexts(strings.NewReader(xml[:cut])); err == nil {
			t.Fatalf("cut at %d: want an error", cut)
		}
	}
	for _, bad := range []string{"<sst><si><t>a</si></t></sst>", "<!DOCTYPE x><sst/>", "<other/>", "<sst/><sst/>"} {
		if _, err := ReadTexts(strings.NewReader(bad)); err == nil {
			t.Errorf("%s: want an error", bad)
		}
	}
}
