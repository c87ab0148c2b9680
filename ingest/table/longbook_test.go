package table

import (
	"bytes"
	"runtime"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

// BenchmarkLongWorkbook reads a workbook of 200,000 rows to the cells of a
// table and, in the same run, with the peer's row iterator (excelize v2.11.1,
// File.Rows with RawCellValue, strings kept by nobody). beyond-MB is how far
// the heap rose above the table that stays.
func BenchmarkLongWorkbook(b *testing.B) {
	const rows = 200_000
	data := seasonBook(b, rows)
	checkSeason(b, mustRead(b, "season.xlsx", data, Options{}), rows)
	b.Run("ours", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		beyond := 0.0
		for b.Loop() {
			peak, stop := watchHeap()
			r := sheetCells(b, data)
			stop()
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			beyond = max(beyond, float64(int64(*peak)-int64(m.HeapAlloc))/(1<<20))
			if len(r.rows) != rows+1 {
				b.Fatalf("want %d rows, got %d", rows+1, len(r.rows))
			}
		}
		b.ReportMetric(beyond, "beyond-MB")
	})
	b.Run("peer", func(b *testing.B) {
		b.SetBytes(int64(len(data)))
		for b.Loop() {
			f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{RawCellValue: true})
			if err != nil {
				b.Fatal(err)
			}
			it, err := f.Rows("Sheet1")
			if err != nil {
				b.Fatal(err)
			}
			n := 0
			for it.Next() {
				if _, err := it.Columns(); err != nil {
					b.Fatal(err)
				}
				n++
			}
			if n != rows+1 {
				b.Fatalf("want %d rows, got %d", rows+1, n)
			}
			_ = f.Close() // read only
		}
	})
}

// sheetCells reads the cells of the one sheet, tables not sought yet.
func sheetCells(t testing.TB, data []byte) *sheetReader {
	t.Helper()
	w, chosen, _, err := openWorkbook("season.xlsx", data, Options{})
	if err != nil {
		t.Fatal(err)
	}
	readers, _, err := w.readCells(chosen, nil)
	if err != nil {
		t.Fatal(err)
	}
	return readers[0]
}

// watchHeap watches how far the heap rises until stop.
func watchHeap() (peak *uint64, stop func()) {
	runtime.GC()
	peak = new(uint64)
	end, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			*peak = max(*peak, m.HeapAlloc)
			select {
			case <-end:
				return
			case <-time.After(10 * time.Millisecond):
			}
		}
	}()
	return peak, func() { close(end); <-done }
}
