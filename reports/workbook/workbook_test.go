package workbook

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
	"yardheat/reports/internal/rows"
)

func open(t *testing.T, s *season.Season) *excelize.File {
	t.Helper()
	b, err := XLSX(s)
	require.NoError(t, err)
	return opened(t, b)
}

func opened(t *testing.T, b []byte) *excelize.File {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(b))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, f.Close()) })
	return f
}

// column finds a header in a row and gives the cell of that column elsewhere.
func column(t *testing.T, f *excelize.File, sheet string, headRow int, header string, row int) string {
	t.Helper()
	all, err := f.GetRows(sheet)
	require.NoError(t, err)
	for i, h := range all[headRow-1] {
		if h == header {
			name, err := excelize.CoordinatesToCellName(i+1, row)
			require.NoError(t, err)
			return name
		}
	}
	t.Fatalf("%s: no header %q in %v", sheet, header, all[headRow-1])
	return ""
}

func raw(t *testing.T, f *excelize.File, sheet, cell string) string {
	t.Helper()
	v, err := f.GetCellValue(sheet, cell, excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	return v
}

func TestSheetsAndFrozenHeaders(t *testing.T) {
	f := open(t, fixture.Season())
	require.Equal(t, []string{"Summary", "Assumptions", "Months", "Cycles", "Whole period", "Not seen", "Draws", "Washes", "Fits", "Changes", "Plate by week", "Baseline", "Budget", "By instrument", "Improve", "Compared probes", "Sources", "Problems",
		"Definitions", "Meters", "Left out", "Balance by week", "Boundaries", "Effects of assumptions", "Prices and factors"}, f.GetSheetList())
	for i, name := range f.GetSheetList() {
		p, err := f.GetPanes(name)
		require.NoError(t, err)
		require.True(t, p.Freeze, name)
		require.Equal(t, map[bool]int{true: 3, false: 1}[i == 0], p.YSplit, name)
	}
}

func TestValuesAreWholeAndDatesAreDates(t *testing.T) {
	s := fixture.Season()
	f := open(t, s)
	loop := column(t, f, "Cycles", 1, "Heat from the yard (kWh)", 2)
	require.Equal(t, "3.123456789", raw(t, f, "Cycles", loop))
	shown, err := f.GetCellValue("Cycles", loop)
	require.NoError(t, err)
	require.Equal(t, "3.12", shown)

	// The first cycle starts 2026-03-28 04:00 UTC, 05:00 in Rome.
	for header, want := range map[string]string{"Start (UTC)": "2026-03-28 04:00:00", "Start (local)": "2026-03-28 05:00:00"} {
		cell := column(t, f, "Cycles", 1, header, 2)
		got, err := f.GetCellValue("Cycles", cell)
		require.NoError(t, err)
		require.Equal(t, want, got)
		serial, err := strconv.ParseFloat(raw(t, f, "Cycles", cell), 64)
		require.NoError(t, err)
		at, err := excelize.ExcelDateToTime(serial, false)
		require.NoError(t, err)
		require.Equal(t, want, at.Format(time.DateTime))
	}
	value := column(t, f, "Summary", 3, "Value (in the unit)", 4)
	got, err := strconv.ParseFloat(raw(t, f, "Summary", value), 64)
	require.NoError(t, err)
	require.InDelta(t, s.Headline[0].Figure.Value, got, 1e-9)
	require.Equal(t, s.Headline[0].Figure.Shown, raw(t, f, "Summary", column(t, f, "Summary", 3, "As shown in the report", 4)))
}

func TestNotKnownIsAnEmptyCell(t *testing.T) {
	f := open(t, fixture.Season())
	for header, row := range map[string]int{"Heat caught at the plate (kWh)": 4, "Wash (°C)": 5, "Milking ends (UTC)": 5} {
		cell := column(t, f, "Cycles", 1, header, row)
		require.Empty(t, raw(t, f, "Cycles", cell), header)
		require.NotEmpty(t, raw(t, f, "Cycles", column(t, f, "Cycles", 1, header, 2)), header)
	}
	for _, s := range []*season.Season{fixture.Season(), fixture.Empty()} {
		f := open(t, s)
		for _, name := range f.GetSheetList() {
			all, err := f.GetRows(name, excelize.Options{RawCellValue: true})
			require.NoError(t, err)
			for _, row := range all {
				for _, v := range row {
					require.NotContains(t, []string{"NaN", "+Inf", "Inf", "-Inf", "-0"}, v, name)
				}
			}
		}
	}
}

// A formula is made of references, plain numbers and functions that every
// spreadsheet knows; so no text of the farm can stand in one.
var (
	token       = regexp.MustCompile(`SUM\(|SUMIFS\(|SUMPRODUCT\(|COUNT\(|MAX\(|IF\(|ABS\(|(Cycles|Assumptions|'Not seen'|'Whole period')!|\$?[A-Z]{1,3}\$?[0-9]+|[0-9.]+|[-+*/(),:=<]`)
	aReference  = regexp.MustCompile(`[A-Z]\$?[0-9]`)
	startsAsOne = regexp.MustCompile(`^[=+@\t-]`)
)

// hostileTexts counts texts that start as a formula would, and looks at every
// formula.
func hostileTexts(t *testing.T, f *excelize.File) (hostile, formulas int) {
	t.Helper()
	for _, name := range f.GetSheetList() {
		all, err := f.GetRows(name, excelize.Options{RawCellValue: true})
		require.NoError(t, err)
		for r, row := range all {
			for c, v := range row {
				cell, err := excelize.CoordinatesToCellName(c+1, r+1)
				require.NoError(t, err)
				text, err := f.GetCellFormula(name, cell)
				require.NoError(t, err)
				kind, err := f.GetCellType(name, cell)
				require.NoError(t, err)
				if text != "" {
					formulas++
					require.Empty(t, token.ReplaceAllString(text, ""), "%s!%s: %s", name, cell, text)
					require.Regexp(t, aReference, text, "%s!%s", name, cell)
					require.NotEqual(t, excelize.CellTypeInlineString, kind, "%s!%s", name, cell)
				}
				if _, err := strconv.ParseFloat(v, 64); err != nil && startsAsOne.MatchString(v) {
					hostile++
					require.Equal(t, excelize.CellTypeInlineString, kind, "%s!%s: %s", name, cell, v)
					require.Empty(t, text, "%s!%s", name, cell)
				}
			}
		}
	}
	return hostile, formulas
}

func TestTextIsNeverAFormula(t *testing.T) {
	hostile, formulas := hostileTexts(t, open(t, fixture.Season()))
	require.Greater(t, hostile, 30, "the hostile names must be in it, as text")
	require.Greater(t, formulas, 100)
}

// Columns past the twenty-sixth are named right, and what Comes from says is
// where the column stands.
func TestComesFromNamesTheColumn(t *testing.T) {
	require.Equal(t, []string{"A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"}, []string{letter(0), letter(25), letter(26), letter(51), letter(52), letter(701), letter(702)})
	f := open(t, fixture.Season())
	from := raw(t, f, "Summary", column(t, f, "Summary", 3, "Comes from", 4))
	require.Regexp(t, `^Cycles![A-Z]{2}2:[A-Z]{2}7$`, from)
	top := strings.TrimPrefix(strings.Split(from, "2:")[0], "Cycles!") + "1"
	require.Equal(t, "Label of loop_kwh, as seen, covered or not (kWh)", raw(t, f, "Cycles", top))
}

func TestColumnsByCycleAreDefined(t *testing.T) {
	b := newBooks(fixture.Season(), time.UTC)
	shared := map[string]bool{}
	for _, c := range rows.Cycles() {
		shared[c.Key], shared[c.Key+"_local"] = true, true
	}
	for _, g := range []*grown{b.cycles, b.unseen} {
		for _, c := range g.columns {
			require.Equal(t, shared[c.key] && g == b.cycles, g.meaning(c.key) == "", "%s: %s", g.name, c.key)
		}
	}
	said := Meanings(b.s)
	require.Contains(t, said["Cycles"]["Length (h)"], "length")
	require.Empty(t, said["Cycles"]["Month"])
	require.NotEmpty(t, said["Not seen"])
}

// Viewers that compute nothing, and readers of other programs, see the season's
// own values.
func TestFormulasCarryTheirValues(t *testing.T) {
	s := fixture.Season()
	f := open(t, s)
	for row := 4; row < 8; row++ {
		cell := column(t, f, "Summary", 3, "Value (in the unit)", row)
		if text, err := f.GetCellFormula("Summary", cell); err != nil || text == "" {
			continue
		}
		got, err := strconv.ParseFloat(raw(t, f, "Summary", cell), 64)
		require.NoError(t, err)
		require.InDelta(t, s.Headline[row-4].Figure.Value, got, 1e-9)
	}
	b, err := XLSX(s)
	require.NoError(t, err)
	_, n := withoutCached(t, b) // finds one beside each formula
	require.Greater(t, n, 100)
}

func TestSameSeasonSameBytes(t *testing.T) {
	a, err := XLSX(fixture.Season())
	require.NoError(t, err)
	for range 20 {
		b, err := XLSX(fixture.Season())
		require.NoError(t, err)
		require.True(t, bytes.Equal(a, b))
	}
	other := fixture.Season()
	other.Cycles[0].LoopKWh++
	c, err := XLSX(other)
	require.NoError(t, err)
	require.False(t, bytes.Equal(a, c))
}

// A program that cuts off below the second must still show every whole second
// as itself.
func TestDaysNeverFallShortOfTheSecond(t *testing.T) {
	for ms := fixture.StartMS(); ms < fixture.StartMS()+86_400_000; ms += 1000 {
		days := float64(stampOf(ms, time.UTC).(stamp))
		day := math.Floor(days)
		require.GreaterOrEqual(t, (days-day)*86400, float64((ms/1000)%86400))
		require.Less(t, (days-day)*86400, float64((ms/1000)%86400)+1e-5)
	}
}

func TestUnknownZone(t *testing.T) {
	s := fixture.Empty()
	s.ZoneName = "Mars/Olympus"
	_, err := XLSX(s)
	require.ErrorContains(t, err, "Mars/Olympus")
}

func TestLinesOf(t *testing.T) {
	for text, want := range map[string]int{"": 1, "ten of them": 2, "ten letter": 1, "abcdefghijk": 2, "a abcdefghij b": 3} {
		require.Equal(t, want, linesOf(text, 10), text)
	}
}

func TestDecimals(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      int
	}{{1000, 1180, 0}, {10, 12, 1}, {0.55, 0.62, 3}, {math.NaN(), math.NaN(), 0}} {
		require.Equal(t, c.want, decimalsOf(season.Figure{Value: 1000, Low: c.low, High: c.high}), "%v", c)
	}
}

// Another program reads the workbook too, where it is installed.
func TestAnotherProgramOpensIt(t *testing.T) {
	office, err := exec.LookPath("soffice")
	if err != nil || testing.Short() {
		t.Skip("no office program here")
	}
	dir := t.TempDir()
	b, err := XLSX(fixture.Season())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "season.xlsx"), b, 0o600))
	cmd := exec.Command(office, "-env:UserInstallation=file://"+filepath.ToSlash(filepath.Join(dir, "profile")), "--headless",
		"--convert-to", "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1", "--outdir", dir,
		filepath.Join(dir, "season.xlsx"))
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	cycles, err := os.ReadFile(filepath.Join(dir, "season-Cycles.csv"))
	require.NoError(t, err, string(out))
	require.Contains(t, string(cycles), "2026-03-28 05:00:00")
	require.Contains(t, string(cycles), "3.12")
	washes, err := os.ReadFile(filepath.Join(dir, "season-Washes.csv"))
	require.NoError(t, err)
	require.Contains(t, string(washes), "2026-03-28 06:00:00,2026-03-28 07:00:00,2026-03-28 07:00:00,2026-03-28 08:00:00")
}

func TestChangesSheet(t *testing.T) {
	s := fixture.Season()
	rows, err := open(t, s).GetRows("Changes")
	require.NoError(t, err)
	require.Len(t, rows, 1+len(s.Loop.Changes)+len(s.Plant.Changes))
	at := map[string]int{}
	for i, h := range rows[0] {
		at[h] = i
	}
	row := rows[2]
	require.Equal(t, "Plate: water flow", row[at["What changed"]])
	require.Equal(t, "11.00", row[at["Before"]])
	require.Equal(t, "-27.0", row[at["Step"]])
	require.Equal(t, "%", row[at["Unit of the step"]])
	require.Contains(t, row[at["On the farm near that date"]], "serviced")
	require.Equal(t, s.Loop.Changes[1].Text, row[at["In words"]])
	require.NotEmpty(t, row[at["Not before (UTC)"]])
}
