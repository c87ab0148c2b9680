package ingest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
)

// benchFarm writes an invented farm of the sample's size: half a year at one
// minute in a text export (about 8 MB) and a workbook of 150,000 cells.
func benchFarm(b *testing.B) (dir string, rows int) {
	b.Helper()
	dir = b.TempDir()
	var text strings.Builder
	text.WriteString("Time;Out (°C);In (°C);Bed (°C);Flow (L/min);Meter (L);Pump\n")
	at := time.Date(2025, 10, 1, 0, 0, 0, 0, time.UTC)
	const n = 180000
	for i := range n {
		fmt.Fprintf(&text, "%s;%d,%d;9,8;4%d,%d;%d,5;%d;%d\n", at.Add(time.Duration(i)*time.Minute).Format("02.01.2006 15:04"), 20+i%7, i%10, i/40000, i/1000%10, i%13, 100000+i/3*10, i%2)
	}
	put := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			b.Fatal(err)
		}
	}
	put("yard.csv", text.String())
	book := excelize.NewFile()
	w, err := book.NewStreamWriter("Sheet1")
	if err != nil {
		b.Fatal(err)
	}
	const sheetRows, cols = 15000, 10
	for r := range sheetRows {
		cells := make([]any, cols)
		cells[0] = at.Add(time.Duration(r) * 15 * time.Minute).Format("2006-01-02 15:04")
		for c := 1; c < cols; c++ {
			cells[c] = 40 + float64((r+c)%17)/10
		}
		if r == 0 {
			cells = []any{"Time", "T1 (°C)", "T2 (°C)", "T3 (°C)", "T4 (°C)", "T5 (°C)", "T6 (°C)", "T7 (°C)", "T8 (°C)", "T9 (°C)"}
		}
		if err := w.SetRow(fmt.Sprintf("A%d", r+1), cells); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	if err := book.SaveAs(filepath.Join(dir, "tank.xlsx")); err != nil {
		b.Fatal(err)
	}
	columns := "\"Out (°C)\" = \"loop_out_temp\"\n\"In (°C)\" = \"loop_in_temp\"\n\"Bed (°C)\" = \"bed_temp\"\n\"Flow (L/min)\" = \"loop_flow\"\n" +
		"\"Meter (L)\" = { quantity = \"loop_volume\", counter = true }\n\"Pump\" = \"loop_pump\""
	tank := ""
	for c := 1; c < cols; c++ {
		tank += fmt.Sprintf("\"T%d (°C)\" = \"tank_temp\"\n", c)
	}
	put("farm.toml", romeFarm+toml("yard.csv", "", columns)+toml("tank.xlsx", "", tank))
	return dir, n + sheetRows
}

func BenchmarkLoad(b *testing.B) {
	dir, n := benchFarm(b)
	opt := DefaultLoadOptions()
	rec, err := Load(dir, opt)
	if err != nil {
		b.Fatal(err)
	}
	if len(rec.Series) != 15 || len(rec.Series[0].V) != 180000 || len(rec.Series[14].V) != 14999 {
		b.Fatal(len(rec.Series), len(rec.Series[0].V), len(rec.Series[14].V))
	}
	for b.Loop() {
		if _, err := Load(dir, opt); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
