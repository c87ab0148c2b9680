package table

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"yardheat/ingest/pack"
	"yardheat/ingest/table/ooxml"
)

// book makes a workbook with one sheet of the given cells.
func book(t testing.TB, rows [][]any, change func(f *excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	for i, r := range rows {
		for j, v := range r {
			if v == nil {
				continue
			}
			if err := f.SetCellValue("Sheet1", ooxml.CellName(j+1, i+1), v); err != nil {
				t.Fatal(err)
			}
		}
	}
	if change != nil {
		change(f)
	}
	buf, err := f.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// restyle gives a range of cells a number format.
func restyle(t testing.TB, f *excelize.File, from, to, format string) {
	t.Helper()
	style, err := f.NewStyle(&excelize.Style{CustomNumFmt: &format})
	if err != nil {
		t.Fatal(err)
	}
	if err := f.SetCellStyle("Sheet1", from, to, style); err != nil {
		t.Fatal(err)
	}
}

// A sheet keeps 0.45 where 45 % is typed and shown, and may state a unit by the
// cells' number format alone.
func TestWorkbookFormatsThatSayMore(t *testing.T) {
	rows := [][]any{{"Time", "Level (%)", "Tank", "Share"}}
	for i := range 20 {
		rows = append(rows, []any{46027 + float64(i), float64(40+i) / 100, 30.5 + float64(i), float64(i) / 20})
	}
	got := mustRead(t, "level.xlsx", book(t, rows, func(f *excelize.File) {
		restyle(t, f, "A2", "A21", "yyyy-mm-dd hh:mm")
		restyle(t, f, "B2", "B21", "0.0%")
		restyle(t, f, "C2", "C21", `0.0" °C"`)
	}), Options{})[0]
	same(t, "row", "2026-01-22T00:00:00.000 | 57 % | 47.5 °C | 0.85", joined(got.Rows[17].Cells))
}

func TestWorkbookCells(t *testing.T) {
	// 46027 is 2026-01-05 (days from 1899-12-30: 126 years of 365 days, 31
	// leap days and 6 days, counted by hand).
	data := book(t, [][]any{
		{"Farm log of nobody"}, {},
		{"Date", "Time", "Loop", nil, "Pump", "Note"},
		{nil, nil, "in (°C)", "out (°C)", nil, nil},
		{46027, 0.25, 10.5, 20.25, true, "first"},
		{46028, 0.5, 11, "20,5", false, "#N/A"},
		{46029, 0.999988425925926, -1.5, "21,75", true, nil},
	}, func(f *excelize.File) {
		restyle(t, f, "A5", "A7", "dd/mm/yyyy")
		restyle(t, f, "B5", "B7", `hh:mm:ss`)
		if err := f.MergeCell("Sheet1", "C3", "D3"); err != nil {
			t.Fatal(err)
		}
		if err := f.MergeCell("Sheet1", "A1", "F1"); err != nil {
			t.Fatal(err)
		}
	})
	got := mustRead(t, "log.xlsx", data, Options{})[0]
	same(t, "sheet", "Sheet1", got.Sheet)
	same(t, "header", "Date | Time | Loop in (°C) | Loop out (°C) | Pump | Note", joined(got.Header))
	same(t, "units", " |  | °C | °C |  | ", joined(got.Units))
	same(t, "header line", 3, got.HeaderLine)
	same(t, "first", "2026-01-05T00:00:00.000 | 06:00:00 | 10.5 | 20.25 | TRUE | first", joined(got.Rows[0].Cells))
	same(t, "second", "2026-01-06T00:00:00.000 | 12:00:00 | 11 | 20.5 | FALSE | #N/A", joined(got.Rows[1].Cells))
	same(t, "third", "2026-01-07T00:00:00.000 | 23:59:59 | -1.5 | 21.75 | TRUE | ", joined(got.Rows[2].Cells))
	same(t, "line", 7, got.Rows[2].Line)
	same(t, "decimal", ".", got.Decimal)
	same(t, "problems", "", codesOf(got.Problems))
}

// A table need not begin in the sheet's corner.
func TestTableInsideTheSheet(t *testing.T) {
	data := book(t, [][]any{
		{}, {nil, nil, "Farm log of nobody"}, {nil, nil, nil, "Loop", nil, "Bed"}, {nil, nil, "time", "in", "out", "mean"},
		{nil, nil, "2026-01-05 10:00", 1.5, 2.5, 48}, {nil, nil, "2026-01-05 10:01", 1.5, 2.5, 48},
	}, func(f *excelize.File) {
		for _, m := range [][2]string{{"C2", "E2"}, {"D3", "E3"}} {
			if err := f.MergeCell("Sheet1", m[0], m[1]); err != nil {
				t.Fatal(err)
			}
		}
	})
	got := mustRead(t, "log.xlsx", data, Options{})[0]
	same(t, "header", " |  | time | Loop in | Loop out | Bed mean", joined(got.Header))
	same(t, "last", " |  | 2026-01-05 10:01 | 1.5 | 2.5 | 48", joined(got.Rows[1].Cells))
}

// Some programs number the part that lists the sheets.
func TestNumberedMainPart(t *testing.T) {
	whole := seasonBook(t, 5)
	rename := func(b []byte) []byte {
		return bytes.ReplaceAll(b, []byte("xl/workbook.xml"), []byte("xl/workbook22.xml"))
	}
	data := repack(t, whole, map[string]func([]byte) []byte{"_rels/.rels": rename, "[Content_Types].xml": rename})
	zr, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var buf bytes.Buffer
	zw := zip.NewWriter(&buf)
	for _, f := range zr.File {
		f.Name = strings.Replace(f.Name, "workbook.xml", "workbook22.xml", 1)
		if err := zw.Copy(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := zw.Close(); err != nil {
		t.Fatal(err)
	}
	checkSeason(t, mustRead(t, "log.xlsx", buf.Bytes(), Options{}), 5)
}

func TestSheetChoice(t *testing.T) {
	data := book(t, [][]any{{"Summary", "kWh"}, {"all", 12}}, func(f *excelize.File) {
		for _, name := range []string{"north", "south"} {
			if _, err := f.NewSheet(name); err != nil {
				t.Fatal(err)
			}
			for i, row := range [][]any{{"time", name}, {"2026-01-05 10:00", 1.5}, {"2026-01-05 10:01", 1.6}} {
				if err := f.SetSheetRow(name, ooxml.CellName(1, i+1), &row); err != nil {
					t.Fatal(err)
				}
			}
		}
	})
	all := mustRead(t, "log.xlsx", data, Options{})
	if len(all) != 2 || all[0].Sheet != "north" || all[1].Sheet != "south" {
		t.Fatalf("want north and south, got %d tables", len(all))
	}
	same(t, "named", "time | south", joined(mustRead(t, "log.xlsx", data, Options{Sheet: "South"})[0].Header))
	same(t, "summary", "Summary | kWh", joined(mustRead(t, "log.xlsx", data, Options{Sheet: "Sheet1"})[0].Header))
	_, err := ReadBytes("log.xlsx", data, Options{Sheet: "west"})
	if err == nil || !strings.Contains(err.Error(), `"north"`) || !strings.Contains(err.Error(), `"west"`) {
		t.Errorf("want an error that lists the sheets, got %v", err)
	}
}

// repack changes parts of a workbook; the archive around them is whole.
func repack(t testing.TB, data []byte, change map[string]func([]byte) []byte) []byte {
	t.Helper()
	zr, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var buf bytes.Buffer
	zw := zip.NewWriter(&buf)
	for _, f := range zr.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		part, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if c := change[f.Name]; c != nil {
			if part = c(part); part == nil {
				continue
			}
		}
		w, err := zw.Create(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(part); err != nil {
			t.Fatal(err)
		}
	}
	if err := zw.Close(); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

const sheet1 = "xl/worksheets/sheet1.xml"

// A sheet that ends early inside a whole archive is read up to its last whole
// row, wherever the cut falls, and says so.
func TestSheetCut(t *testing.T) {
	const rows = 12
	whole := seasonBook(t, rows)
	var sheet []byte
	repack(t, whole, map[string]func([]byte) []byte{sheet1: func(b []byte) []byte { sheet = b; return b }})
	for cut := 0; cut < len(sheet); cut += 13 {
		kept := bytes.Count(sheet[:cut], []byte("</row>"))
		data := repack(t, whole, map[string]func([]byte) []byte{sheet1: func(b []byte) []byte { return b[:cut] }})
		tables, err := ReadBytes("cut.xlsx", data, Options{})
		if kept == 0 {
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("cut at %d, before any whole row: want a *table.Error, got %v", cut, err)
			}
			continue
		}
		if err != nil {
			t.Fatalf("cut at %d: %v", cut, err)
		}
		if got := len(tables[0].Rows); got != kept-1 { // the first row is the header
			t.Fatalf("cut at %d: want %d rows, got %d", cut, kept-1, got)
		}
		if codes := codesOf(tables[0].Problems); !strings.Contains(codes, "workbook-cut") {
			t.Fatalf("cut at %d: want workbook-cut among the problems, got %q", cut, codes)
		}
	}
}

// A file cut at any byte is an error or is listed as cut; what is read is the
// front of the whole.
func TestFileCut(t *testing.T) {
	const rows = 150
	whole := seasonBook(t, rows)
	want := mustRead(t, "whole.xlsx", whole, Options{})[0]
	same(t, "problems of the whole", "", codesOf(want.Problems))
	read := 0
	for cut := 0; cut < len(whole); cut += 1 + len(whole)/500 {
		tables, err := ReadBytes("cut.xlsx", whole[:cut], Options{})
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || e.Do == "" {
				t.Fatalf("cut at %d: want a *table.Error that says what to do, got %v", cut, err)
			}
			continue
		}
		read++
		got := tables[0]
		if !strings.Contains(codesOf(got.Problems), "workbook-cut") {
			t.Fatalf("cut at %d: read without a problem", cut)
		}
		for i, r := range got.Rows {
			if joined(r.Cells) != joined(want.Rows[i].Cells) {
				t.Fatalf("cut at %d: row %d differs: %q", cut, i, r.Cells)
			}
		}
	}
	t.Logf("%d of about 500 cuts could be read in part", read)
}

// A changed byte anywhere never changes a reading in silence.
func TestFlippedBytes(t *testing.T) {
	whole := seasonBook(t, 100)
	want := mustRead(t, "whole.xlsx", whole, Options{})[0]
	for at := 0; at < len(whole); at += 1 + len(whole)/400 {
		data := bytes.Clone(whole)
		data[at] ^= 0x55
		tables, err := ReadBytes("flipped.xlsx", data, Options{})
		if err != nil || len(tables) == 0 || len(tables[0].Problems) > 0 {
			continue
		}
		if len(tables[0].Rows) != len(want.Rows) {
			t.Fatalf("byte %d: %d rows read in silence, of %d", at, len(tables[0].Rows), len(want.Rows))
		}
		for i, r := range tables[0].Rows {
			if joined(r.Cells) != joined(want.Rows[i].Cells) {
				t.Fatalf("byte %d: row %d differs in silence: %q", at, i, r.Cells)
			}
		}
	}
}

// replace changes text in the sheet of a small workbook.
func replaced(t testing.TB, part, from, to string) []byte {
	t.Helper()
	data := book(t, [][]any{{"time", "T"}, {"2026-01-05 10:00", 1.5}, {"2026-01-05 10:01", 1.6}, {"2026-01-05 10:02", 1.7}}, nil)
	return repack(t, data, map[string]func([]byte) []byte{part: func(b []byte) []byte {
		if !bytes.Contains(b, []byte(from)) {
			t.Fatalf("%s holds no %q: %s", part, from, b)
		}
		return bytes.Replace(b, []byte(from), []byte(to), 1)
	}})
}

func TestDamagedSheets(t *testing.T) {
	const texts = "xl/sharedStrings.xml"
	for name, data := range map[string][]byte{
		"rows out of order":    replaced(t, sheet1, `<row r="3"`, `<row r="1"`),
		"row out of range":     replaced(t, sheet1, `<row r="3"`, `<row r="9999999"`),
		"cell of another row":  replaced(t, sheet1, `r="B3"`, `r="B7"`),
		"column out of range":  replaced(t, sheet1, `r="B3"`, `r="XFD3"`),
		"crossed elements":     replaced(t, sheet1, `</c></row>`, `</row></c>`),
		"text number too high": replaced(t, sheet1, `<v>0</v>`, `<v>99</v>`),
		"texts cut":            replaced(t, texts, `</sst>`, ``),
		"texts missing": repack(t, replaced(t, sheet1, `<v>0</v>`, `<v>0</v>`), map[string]func([]byte) []byte{
			texts: func([]byte) []byte { return nil }}),
		"sheet missing": repack(t, replaced(t, sheet1, `<v>0</v>`, `<v>0</v>`), map[string]func([]byte) []byte{
			sheet1: func([]byte) []byte { return nil }}),
	} {
		_, err := ReadBytes("bad.xlsx", data, Options{})
		var e *Error
		if !errors.As(err, &e) || e.Do == "" {
			t.Errorf("%s: want a *table.Error that says what to do, got %v", name, err)
		}
	}
}

func TestListedSheets(t *testing.T) {
	for code, data := range map[string][]byte{
		"workbook-short":        replaced(t, sheet1, `<dimension ref="A1"`, `<dimension ref="A1:B900"`),
		"formula-without-value": replaced(t, sheet1, `<v>1.6</v>`, `<f>B2*2</f>`),
	} {
		got := mustRead(t, "odd.xlsx", data, Options{})[0]
		same(t, "problems", code, codesOf(got.Problems))
		same(t, "rows", 3, len(got.Rows))
	}
	cached := mustRead(t, "odd.xlsx", replaced(t, sheet1, `<v>1.6</v>`, `<f>B2*2</f><v>3</v>`), Options{})[0]
	same(t, "a formula's stored result", "2026-01-05 10:01 | 3", joined(cached.Rows[1].Cells))
	same(t, "problems", "", codesOf(cached.Problems))
}

func TestOtherArchives(t *testing.T) {
	for word, parts := range map[string]map[string]string{
		".xlsb":        {"xl/workbook.bin": "x"},
		"OpenDocument": {"mimetype": "application/vnd.oasis.opendocument.spreadsheet"},
		"without":      {"word/document.xml": "<x/>"},
	} {
		var buf bytes.Buffer
		zw := zip.NewWriter(&buf)
		for name, text := range parts {
			w, err := zw.Create(name)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := io.WriteString(w, text); err != nil {
				t.Fatal(err)
			}
		}
		if err := zw.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadBytes("log.zip", buf.Bytes(), Options{}); err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("want an error with %q, got %v", word, err)
		}
	}
}

// A small file that unpacks to far too much is refused, and soon.
func TestUnpackingIsBounded(t *testing.T) {
	data := repack(t, seasonBook(t, 3), map[string]func([]byte) []byte{"xl/theme/theme1.xml": func([]byte) []byte { return make([]byte, 64<<20) }})
	started := time.Now()
	_, err := ReadBytes("bomb.xlsx", data, Options{})
	if !errors.Is(err, pack.ErrTooBig) || time.Since(started) > 5*time.Second {
		t.Errorf("want a refusal for size, got %v after %v", err, time.Since(started))
	}
	// The same where the directory lies about the size.
	at := bytes.LastIndex(data, []byte("PK\x01\x02"))
	binary.LittleEndian.PutUint32(data[at+24:], 100)
	if _, err := ReadBytes("liar.xlsx", data, Options{}); err == nil {
		t.Error("want an error where the directory understates a size")
	}
}

// A workbook that counts from 1904 gives the dates that were written into it,
// and hidden rows and columns are rows and columns.
func TestBook1904AndHidden(t *testing.T) {
	at := time.Date(2026, 1, 5, 10, 0, 0, 0, time.UTC)
	for _, date1904 := range []bool{false, true} {
		f := excelize.NewFile()
		if err := f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &date1904}); err != nil {
			t.Fatal(err)
		}
		rows := [][]any{{"time", "bed", "air"}, {at, 48.5, 4.5}, {at.Add(10 * time.Minute), 48.6, 4.6}, {at.Add(20 * time.Minute), 48.7, 4.7}}
		for i := range rows {
			if err := f.SetSheetRow("Sheet1", ooxml.CellName(1, i+1), &rows[i]); err != nil {
				t.Fatal(err)
			}
		}
		restyle(t, f, "A2", "A4", "dd.mm.yyyy hh:mm:ss")
		if err := errors.Join(f.SetRowVisible("Sheet1", 3, false), f.SetColVisible("Sheet1", "B", false)); err != nil {
			t.Fatal(err)
		}
		buf, err := f.WriteToBuffer()
		if err != nil {
			t.Fatal(err)
		}
		got := mustRead(t, "log.xlsx", buf.Bytes(), Options{})[0]
		same(t, "rows", 3, len(got.Rows))
		same(t, "hidden", "2026-01-05T10:10:00.000 | 48.6 | 4.6", joined(got.Rows[1].Cells))
		same(t, "last", "2026-01-05T10:20:00.000 | 48.7 | 4.7", joined(got.Rows[2].Cells))
	}
}

// A sheet of particulars is no table beside one of readings; a hidden sheet is
// named; numbers that stand as text say which mark they have.
func TestSheetsThatAreNoReadings(t *testing.T) {
	rows := [][]any{{"Time", "Vat (°C)"}}
	for i := range 6 {
		rows = append(rows, []any{time.Date(2026, 1, 5, i, 0, 0, 0, time.UTC), "48,5"})
	}
	data := book(t, rows, func(f *excelize.File) {
		restyle(t, f, "A2", "A7", "yyyy-mm-dd hh:mm")
		for i, name := range []string{"Particulars", "Last year"} {
			if _, err := f.NewSheet(name); err != nil {
				t.Fatal(err)
			}
			must(t, f.SetSheetRow(name, "A1", &[]any{"Logger", "yard"}))
			must(t, f.SetSheetRow(name, "A2", &[]any{"Exported", "2026-01-06 10:00"}))
			for k := range 6 * i {
				must(t, f.SetSheetRow(name, ooxml.CellName(1, 3+k), &[]any{"2025-01-05 10:0" + string(rune('0'+k)), 40 + k}))
			}
		}
		must(t, f.SetSheetVisible("Last year", false))
	})
	got := mustRead(t, "log.xlsx", data, Options{})
	if len(got) != 2 || got[0].Sheet != "Sheet1" || got[1].Sheet != "Last year" {
		t.Fatalf("got %d tables", len(got))
	}
	same(t, "mark", ",", got[0].TextDecimal)
	same(t, "hidden", true, strings.Contains(codesOf(got[1].Problems), "sheet-hidden"))
	same(t, "shown", "", codesOf(got[0].Problems))
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
