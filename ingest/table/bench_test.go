package table

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"yardheat/ingest/table/celltext"
)

// seasonText is an invented log: a reading a minute, one stamp and five
// channels, with one empty cell in a thousand.
func seasonText(rows int, sep, decimal string) string {
	var b strings.Builder
	b.WriteString(strings.ReplaceAll("time;Loop in (°C);Loop out (°C);Bed (°C);Flow (L/min);kWh\n", ";", sep))
	at := time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC)
	for i := range rows {
		b.WriteString(at.Add(time.Duration(i) * time.Minute).Format("2006-01-02 15:04:05"))
		for ch := range 5 {
			b.WriteString(sep)
			if (i*5+ch)%1000 == 500 {
				continue
			}
			v := strconv.FormatFloat(10+float64((i*(ch+3)*7)%4000)/100, 'f', 2, 64)
			b.WriteString(strings.Replace(v, ".", decimal, 1))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// sumChannels adds up every reading of a table.
func sumChannels(t testing.TB, tb *Table) (sum float64, n int) {
	t.Helper()
	for _, r := range tb.Rows {
		for _, c := range r.Cells[1:] {
			if v, _, ok := celltext.ParseNumber(c, tb.Decimal, tb.Thousands); ok {
				sum += v
				n++
			} else if !celltext.IsMissing(c) {
				t.Fatalf("line %d: %q is neither number nor missing", r.Line, c)
			}
		}
	}
	return sum, n
}

// seasonSum is what sumChannels must find, in whole hundredths.
func seasonSum(rows int) (hundredths, n int) {
	for i := range rows {
		for ch := range 5 {
			if (i*5+ch)%1000 != 500 {
				hundredths += 1000 + (i*(ch+3)*7)%4000
				n++
			}
		}
	}
	return hundredths, n
}

func checkSeason(t testing.TB, tables []*Table, rows int) {
	t.Helper()
	sum, n := sumChannels(t, tables[0])
	want, wantN := seasonSum(rows)
	if len(tables[0].Rows) != rows || n != wantN || int(sum*100+0.5) != want {
		t.Fatalf("want %d rows, %d readings, sum %d/100; got %d, %d, %.2f", rows, wantN, want, len(tables[0].Rows), n, sum)
	}
}

func BenchmarkText(b *testing.B) {
	for _, c := range []struct{ name, sep, decimal string }{{"point", ",", "."}, {"comma", ";", ","}} {
		b.Run(c.name, func(b *testing.B) {
			data := []byte(seasonText(150_000, c.sep, c.decimal))
			checkSeason(b, mustRead(b, "season.csv", data, Options{}), 150_000)
			b.SetBytes(int64(len(data)))
			for b.Loop() {
				if _, err := ReadBytes("season.csv", data, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// seasonBook is seasonText as a workbook with real dates.
func seasonBook(t testing.TB, rows int) []byte {
	t.Helper()
	f := excelize.NewFile()
	style, err := f.NewStyle(&excelize.Style{NumFmt: 22})
	if err != nil {
		t.Fatal(err)
	}
	w, err := f.NewStreamWriter("Sheet1")
	if err != nil {
		t.Fatal(err)
	}
	write := func(row int, cells []any) {
		if err := w.SetRow(fmt.Sprintf("A%d", row), cells); err != nil {
			t.Fatal(err)
		}
	}
	write(1, []any{"time", "Loop in (°C)", "Loop out (°C)", "Bed (°C)", "Flow (L/min)", "kWh"})
	at := time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC)
	for i := range rows {
		cells := []any{excelize.Cell{StyleID: style, Value: at.Add(time.Duration(i) * time.Minute)}}
		for ch := range 5 {
			if (i*5+ch)%1000 == 500 {
				cells = append(cells, nil)
				continue
			}
			cells = append(cells, 10+float64((i*(ch+3)*7)%4000)/100)
		}
		write(i+2, cells)
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	buf, err := f.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func BenchmarkWorkbook150kCells(b *testing.B) {
	data := seasonBook(b, 25_000)
	checkSeason(b, mustRead(b, "season.xlsx", data, Options{}), 25_000)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := ReadBytes("season.xlsx", data, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
