package ooxml

import (
	"bytes"
	"fmt"
	"os"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"yardheat/ingest/pack"
)

// longBook is an invented log as a workbook: a date and eleven readings a row,
// made by the other library.
func longBook(t testing.TB, rows int) []byte {
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
	at := time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC)
	for i := range rows {
		cells := []any{excelize.Cell{StyleID: style, Value: at.Add(time.Duration(i) * 10 * time.Second)}}
		for ch := range 11 {
			cells = append(cells, float64(longHundredths(i, ch))/100)
		}
		if err := w.SetRow("A"+strconv.Itoa(i+1), cells); err != nil {
			t.Fatal(err)
		}
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

func longHundredths(row, channel int) int { return 1000 + (row*(channel+3)*7)%4000 }

// openSheet opens the first sheet of a workbook that the other library made.
func openSheet(t testing.TB, data []byte) (*pack.Archive, *Texts) {
	t.Helper()
	a, err := pack.OpenArchive(data)
	if err != nil {
		t.Fatal(err)
	}
	var texts *Texts
	if a.Has("xl/sharedStrings.xml") {
		if texts, err = ReadTexts(a.Stream("xl/sharedStrings.xml")); err != nil {
			t.Fatal(err)
		}
	}
	return a, texts
}

const sheet1 = "xl/worksheets/sheet1.xml"

// benchRows is 500,000 where YARDHEAT_BENCH_ROWS does not say otherwise: the
// other library takes a minute to write them.
func benchRows(b *testing.B) int {
	if n, err := strconv.Atoi(os.Getenv("YARDHEAT_BENCH_ROWS")); err == nil {
		return n
	}
	return 500_000
}

// BenchmarkSheet reads 500,000 rows of 12 cells: ours to numbers and to texts
// that are kept, and the other library's row iterator, the peer that it is to
// beat ten times, on the same bytes in the same run. Each adds up every reading
// and is held against the sum by construction.
func BenchmarkSheet(b *testing.B) {
	rows := benchRows(b)
	data := longBook(b, rows)
	want := 0
	for i := range rows {
		for ch := range 11 {
			want += longHundredths(i, ch)
		}
	}
	for _, c := range []struct {
		name string
		read func(testing.TB, []byte) (sum float64, rows int)
	}{{"inflate", inflateOnly}, {"numbers", sumNumbers}, {"excelize", sumPeer}} {
		b.Run(c.name, func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			var peakMB float64
			for b.Loop() {
				done := watchHeap()
				sum, n := c.read(b, data)
				peakMB = max(peakMB, done())
				if c.name != "inflate" && (n != rows || int(sum*100+0.5) != want) {
					b.Fatalf("want %d rows and the sum %d/100, got %d and %.2f", rows, want, n, sum)
				}
			}
			b.ReportMetric(peakMB, "peak-MB")
			b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}

// watchHeap watches how far the heap grows above what is in use now.
func watchHeap() (peakMB func() float64) {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	base, peak := m.HeapAlloc, m.HeapAlloc
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for {
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
				runtime.ReadMemStats(&m)
				peak = max(peak, m.HeapAlloc)
			}
		}
	}()
	return func() float64 {
		close(stop)
		<-done
		return float64(peak-base) / (1 << 20)
	}
}

func inflateOnly(t testing.TB, data []byte) (float64, int) {
	a, _ := openSheet(t, data)
	if err := a.VerifyRest(); err != nil {
		t.Fatal(err)
	}
	return 0, 0
}

func sumNumbers(t testing.TB, data []byte) (sum float64, rows int) {
	a, texts := openSheet(t, data)
	s, err := ReadSheet(a.Stream(sheet1), texts, func(r *Row) error {
		rows++
		for i := range r.Cells[1:] {
			v, ok := r.Cells[i+1].Float()
			if !ok {
				return fmt.Errorf("%s: %q is no number", CellName(r.Cells[i+1].Col, r.Number), r.Cells[i+1].Text)
			}
			sum += v
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if s.ByToken > 0 {
		t.Fatalf("%d plain rows went through the decoder", s.ByToken)
	}
	return sum, rows
}

func sumPeer(t testing.TB, data []byte) (sum float64, rows int) {
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }() // read only
	it, err := f.Rows("Sheet1")
	if err != nil {
		t.Fatal(err)
	}
	for it.Next() {
		cells, err := it.Columns()
		if err != nil {
			t.Fatal(err)
		}
		rows++
		for _, c := range cells[1:] {
			v, err := strconv.ParseFloat(c, 64)
			if err != nil {
				t.Fatal(err)
			}
			sum += v
		}
	}
	return sum, rows
}
