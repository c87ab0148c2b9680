package ingest

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"yardheat/ingest/series"
)

// book writes a workbook with real dates: sheets of two columns, a row every
// ten minutes from a start.
func book(t *testing.T, dir, name string, sheets map[string]time.Time, order ...string) {
	t.Helper()
	x := excelize.NewFile()
	style, err := x.NewStyle(&excelize.Style{NumFmt: 22})
	require.NoError(t, err)
	for _, s := range order {
		_, err := x.NewSheet(s)
		require.NoError(t, err)
		require.NoError(t, x.SetSheetRow(s, "A1", &[]any{"Time", "Bed (°C)"}))
		for i := range 6 {
			cell, err := excelize.CoordinatesToCellName(1, i+2)
			require.NoError(t, err)
			require.NoError(t, x.SetSheetRow(s, cell, &[]any{sheets[s].Add(time.Duration(i) * 10 * time.Minute), 40 + i}))
			require.NoError(t, x.SetCellStyle(s, cell, cell, style))
		}
	}
	require.NoError(t, x.DeleteSheet("Sheet1"))
	require.NoError(t, x.SaveAs(filepath.Join(dir, name)))
}

func TestWorkbookSheets(t *testing.T) {
	ten, noon := time.Date(2026, 1, 15, 10, 0, 0, 0, time.UTC), time.Date(2026, 1, 15, 12, 0, 0, 0, time.UTC)
	dir := write(t, files{"farm.toml": toml("b.xlsx", "", bedColumn)})
	book(t, dir, "b.xlsx", map[string]time.Time{"January": ten, "February": noon}, "January", "February")
	rec, err := Load(dir, options())
	require.NoError(t, err)
	bed := get(t, rec, "bed_temp")
	require.Len(t, bed.V, 12, "a sheet a month is one log")
	require.Equal(t, utc(t, "2026-01-15 09:00"), bed.T[0])
	require.Equal(t, utc(t, "2026-01-15 11:50"), bed.T[11])
	require.Len(t, rec.Files, 2)
	require.Equal(t, rec.Files[0].SHA256, rec.Files[1].SHA256)

	// Two sheets that hold the same time: which is the log is not guessed.
	book(t, dir, "b.xlsx", map[string]time.Time{"Raw": ten, "Summary": ten}, "Raw", "Summary")
	_, err = Load(dir, options())
	require.ErrorContains(t, err, "sheet = …")
	require.ErrorContains(t, err, "\"Raw\" or \"Summary\"")
}

func TestWildcardsLeaveOurOwnFilesAlone(t *testing.T) {
	rec := load(t, files{
		"farm.toml":           toml("*/*.csv", "", bedColumn) + "[milkings]\nfile = \"logs/milk.csv\"\n[milkings.columns]\nstart = \"Start\"\n",
		"logs/a.csv":          bedLog("2026-01-15 10:00:00", 9),
		"logs/milk.csv":       "Start\n2026-01-15 05:00\n2026-01-15 16:00\n",
		"report/record.csv":   bedLog("2026-01-15 10:00:00", 9),
		"report/results.json": "{}", "report/sources.json": "{}",
		"logs/.hidden.csv": "x", "logs/~$a.csv": "x",
	})
	require.Len(t, rec.Files, 1)
	require.Len(t, rec.Milkings, 2)
	require.Zero(t, codes(rec)[series.CodeFileNotUsed])
}

// Two tables in one text for the same time.
func TestTwoTablesForOneTime(t *testing.T) {
	one := bedLog("2026-01-15 09:30:00", 60)
	two := "Time,Bed (°C),Air (°C)\n2026-01-15 10:00,50,5\n2026-01-15 10:10,51,5\n2026-01-15 10:20,51,5\n"
	fs := files{"farm.toml": toml("a.csv", "", bedColumn), "a.csv": one + "\n" + two}
	_, err := Load(write(t, fs), options())
	require.ErrorContains(t, err, "table = 1, 2")
	fs["farm.toml"] = toml("a.csv", "table = 2", bedColumn)
	rec := load(t, fs)
	require.Equal(t, []float64{50, 51, 51}, rec.Series[0].V)
}
