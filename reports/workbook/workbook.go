// Package workbook writes a Season as season.xlsx, a sheet a question. Each
// sheet is one table with one frozen row of headers that name the unit (the
// Summary has a title above it). Numbers are whole, shown with fewer digits;
// what is not known is an empty cell; times are real dates, in UTC and in the
// farm's own time; text is text, never a formula. The same season gives the
// same bytes.
//
// Totals, months, shares, saving, money and CO2 are formulas over the sheet
// Cycles and the sheet Assumptions, each with the value that the season gave as
// its cached one: the package computes nothing, a spreadsheet does. Every figure
// names the cells it comes from.
package workbook

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"yardheat/analysis/season"
	"yardheat/ingest/work"
)

// XLSX is the workbook's bytes.
func XLSX(s *season.Season) ([]byte, error) { return XLSXUntil(context.Background(), s) }

// XLSXUntil is XLSX that leaves by work.Check once ctx has ended; nil = it never
// does.
func XLSXUntil(ctx context.Context, s *season.Season) (out []byte, err error) {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		return nil, fmt.Errorf("time zone of the farm: %w", err)
	}
	f := excelize.NewFile().SetZipWriter(func(w io.Writer) excelize.ZipWriter { return checkedZip{zip.NewWriter(w), ctx} })
	defer func() {
		if closing := f.Close(); err == nil {
			err = closing
		}
	}()
	st, err := newStyles(f)
	if err != nil {
		return nil, err
	}
	for i, t := range sheets(s, zone) {
		work.Check(ctx)
		if err := addSheet(f, st, t, i == 0); err != nil {
			return nil, fmt.Errorf("sheet %s: %w", t.name, err)
		}
	}
	if err := setProps(f, s); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		return nil, fmt.Errorf("pack the workbook: %w", err)
	}
	return inOrder(b.Bytes())
}

// checkedZip looks at each write whether the packing has ended.
type checkedZip struct {
	*zip.Writer
	ctx context.Context
}

func (z checkedZip) Create(name string) (io.Writer, error) {
	w, err := z.Writer.Create(name)
	return checkedWriter{w, z.ctx}, err
}

type checkedWriter struct {
	io.Writer
	ctx context.Context
}

func (w checkedWriter) Write(b []byte) (int, error) {
	work.Check(w.ctx)
	return w.Writer.Write(b)
}

// inOrder packs the parts in the order of their names. The library packs
// streamed sheets in the order of a map, another one each time.
func inOrder(packed []byte) ([]byte, error) {
	r, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		return nil, fmt.Errorf("pack the workbook: %w", err)
	}
	parts := slices.SortedFunc(slices.Values(r.File), func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, p := range parts {
		if err := w.Copy(p); err != nil {
			return nil, fmt.Errorf("pack the workbook: %w", err)
		}
	}
	if err := w.Close(); err != nil {
		return nil, fmt.Errorf("pack the workbook: %w", err)
	}
	return out.Bytes(), nil
}

// setProps dates the workbook by the season it tells of, not by the clock.
func setProps(f *excelize.File, s *season.Season) error {
	at := time.UnixMilli(s.Period.End).UTC().Format(time.RFC3339)
	return f.SetDocProps(&excelize.DocProperties{Created: at, Modified: at, Creator: "yardheat", LastModifiedBy: "yardheat",
		Title: s.Farm})
}

// table is one sheet: its headers and cells. A cell is nil (empty), a string,
// a bool, a number, a stamp, a formula, or one of these made for its row.
type table struct {
	name  string
	title string // above the headers; "" = none
	under []any  // a row below the title
	wraps bool   // long texts are wrapped
	heads []head
	rows  [][]any
}

// head is one column's header.
type head struct {
	text  string // with the unit: "Heat from the yard (kWh)"
	width float64
}

// byRow makes a cell that must know the row it stands in.
type byRow func(row int) any

// number is a value and the decimals shown.
type number struct {
	value    float64
	decimals int
}

// stamp is a date as spreadsheets count it: days since 30 December 1899.
type stamp float64

// stampOf is a time on the clocks of a zone; no time is no cell.
func stampOf(ms int64, zone *time.Location) any {
	if ms == 0 {
		return nil
	}
	_, offsetS := time.UnixMilli(ms).In(zone).Zone()
	const daysTo1970, dayMS = 25569, 86_400_000
	local := ms + int64(offsetS)*1000 + daysTo1970*dayMS
	// The library keeps 15 digits and cuts off the rest, and some programs cut
	// a time off below the second: 07:00 would show as 06:59:59. So the count
	// goes to the next 1e-10 day, at most 8.64 µs late. 1e10/dayMS = 1e5/864.
	return stamp(float64(local*100_000/864+1) / 1e10)
}

const mostDecimals = 6

// styles are the cell styles by what a cell holds.
type styles struct {
	title, head, stamp, text int
	input, plain, wrapped    int
	number                   [mostDecimals + 1]int
}

func newStyles(f *excelize.File) (st styles, err error) {
	add := func(into *int, s excelize.Style) {
		if err == nil {
			*into, err = f.NewStyle(&s)
		}
	}
	add(&st.title, excelize.Style{Font: &excelize.Font{Bold: true, Size: 14}})
	add(&st.head, excelize.Style{Font: &excelize.Font{Bold: true},
		Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"},
		Border:    []excelize.Border{{Type: "bottom", Style: 1, Color: "808080"}}})
	date := "yyyy-mm-dd hh:mm:ss"
	add(&st.stamp, excelize.Style{CustomNumFmt: &date})
	add(&st.text, excelize.Style{NumFmt: 49, Alignment: &excelize.Alignment{Vertical: "top"}})
	top := &excelize.Alignment{Vertical: "top"}
	add(&st.plain, excelize.Style{Alignment: top})
	add(&st.wrapped, excelize.Style{NumFmt: 49, Alignment: &excelize.Alignment{Vertical: "top", WrapText: true}})
	add(&st.input, excelize.Style{Alignment: top, Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"FFF2CC"}}, Border: []excelize.Border{
		{Type: "left", Style: 1, Color: "808080"}, {Type: "right", Style: 1, Color: "808080"}, {Type: "top", Style: 1, Color: "808080"}, {Type: "bottom", Style: 1, Color: "808080"}}})
	for d := range st.number {
		format := "0"
		if d > 0 {
			format = "0." + "000000"[:d]
		}
		add(&st.number[d], excelize.Style{CustomNumFmt: &format, Alignment: top})
	}
	return st, err
}

func addSheet(f *excelize.File, st styles, t table, first bool) error {
	if first {
		if err := f.SetSheetName("Sheet1", t.name); err != nil {
			return err
		}
	} else if _, err := f.NewSheet(t.name); err != nil {
		return err
	}
	if err := pageOf(f, t.name); err != nil {
		return err
	}
	w, err := f.NewStreamWriter(t.name)
	if err != nil {
		return err
	}
	if err := layOut(w, t); err != nil {
		return err
	}
	row := 1
	if t.title != "" {
		if err := w.SetRow("A1", []any{excelize.Cell{StyleID: st.title, Value: t.title}}); err != nil {
			return err
		}
		if t.under != nil {
			if err := w.SetRow("A2", st.cells(t.under, 2, false, false)); err != nil {
				return err
			}
		}
		row = headRow(t)
	}
	for _, cells := range append([][]any{headCells(t)}, t.rows...) {
		at, err := excelize.CoordinatesToCellName(1, row)
		if err != nil {
			return err
		}
		if err := w.SetRow(at, st.cells(cells, row, row == headRow(t), t.wraps), heightOf(t, cells, row == headRow(t))...); err != nil {
			return err
		}
		row++
	}
	return w.Flush()
}

// heightOf a row has room for its cell with the most lines: some programs do not
// stretch a row to what is wrapped in it. Only headers wrap, and the texts of a
// sheet that says so.
func heightOf(t table, cells []any, isHead bool) []excelize.RowOpts {
	if !isHead && !t.wraps {
		return nil
	}
	lines := 1
	for i, v := range cells {
		if text, ok := v.(string); ok && i < len(t.heads) {
			size := 1.0
			if isHead {
				size = 1.15 // bold
			}
			lines = max(lines, linesOf(text, t.heads[i].width/size))
		}
	}
	return []excelize.RowOpts{{Height: 15 * float64(lines)}}
}

// linesOf a text wrapped at so many characters.
func linesOf(text string, width float64) int {
	n, left := 1, width
	for _, word := range strings.Fields(text) {
		size := float64(len([]rune(word)))
		if size > left && left < width {
			n, left = n+1, width
		}
		left -= size + 1
		for left < -1 { // a word longer than the line
			n, left = n+1, left+width
		}
	}
	return n
}

// pageOf has a sheet printed across, all of its columns on one page's width.
func pageOf(f *excelize.File, sheet string) error {
	across, one, any, fit := "landscape", 1, 0, true
	if err := f.SetPageLayout(sheet, &excelize.PageLayoutOptions{Orientation: &across, FitToWidth: &one, FitToHeight: &any}); err != nil {
		return err
	}
	return f.SetSheetProps(sheet, &excelize.SheetPropsOptions{FitToPage: &fit})
}

// headRow is the row of the headers: 1, or 3 below a title.
func headRow(t table) int {
	if t.title != "" {
		return 3
	}
	return 1
}

func headCells(t table) []any {
	out := make([]any, len(t.heads))
	for i, h := range t.heads {
		out[i] = h.text
	}
	return out
}

func layOut(w *excelize.StreamWriter, t table) error {
	for i, h := range t.heads {
		if err := w.SetColWidth(i+1, i+1, h.width); err != nil {
			return err
		}
	}
	under := headRow(t)
	corner, err := excelize.CoordinatesToCellName(1, under+1)
	if err != nil {
		return err
	}
	return w.SetPanes(&excelize.Panes{Freeze: true, YSplit: under, TopLeftCell: corner, ActivePane: "bottomLeft"})
}

func (st styles) cells(in []any, row int, isHead, wraps bool) []any {
	out := make([]any, len(in))
	for i, v := range in {
		if made, ok := v.(byRow); ok {
			v = made(row)
		}
		out[i] = st.cell(v)
		if c, ok := out[i].(excelize.Cell); ok && wraps && c.StyleID == st.text {
			c.StyleID = st.wrapped
			out[i] = c
		}
		if isHead {
			out[i] = excelize.Cell{StyleID: st.head, Value: v}
		}
	}
	return out
}

// cell never makes a formula of a text, which goes in as a text cell: formulas
// are those that this package made of references alone.
func (st styles) cell(v any) any {
	switch x := v.(type) {
	case number:
		if math.IsNaN(x.value) || math.IsInf(x.value, 0) {
			return nil
		}
		return excelize.Cell{StyleID: st.number[min(max(x.decimals, 0), mostDecimals)], Value: x.value + 0}
	case formula:
		return excelize.Cell{StyleID: st.number[min(max(x.decimals, 0), mostDecimals)], Formula: x.text, Value: x.cached + 0}
	case input:
		return excelize.Cell{StyleID: st.input, Value: float64(x)}
	case plain:
		return excelize.Cell{StyleID: st.plain, Value: float64(x)}
	case stamp:
		return excelize.Cell{StyleID: st.stamp, Value: float64(x)}
	case int:
		return excelize.Cell{StyleID: st.number[0], Value: x}
	case string:
		if x == "" {
			return nil
		}
		return excelize.Cell{StyleID: st.text, Value: x}
	}
	return v
}
