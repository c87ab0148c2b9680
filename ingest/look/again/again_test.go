package again

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"yardheat/ingest/farm/edit"
	"yardheat/ingest/look"
	"yardheat/ingest/look/draft"
)

// sheet is an invented export.
type sheet struct {
	header []string
	low    []float64 // of each column of readings
	from   time.Time
	days   int
	stepS  int
	layout string
	comma  bool
	seed   uint64
}

func (s sheet) rows() [][]string {
	r := rand.New(rand.NewPCG(s.seed, 9))
	out := [][]string{s.header}
	for at := s.from; at.Before(s.from.AddDate(0, 0, s.days)); at = at.Add(time.Duration(s.stepS) * time.Second) {
		row := []string{at.Format(s.layout)}
		for _, low := range s.low {
			text := fmt.Sprintf("%.2f", low+10*r.Float64())
			if s.comma {
				text = strings.Replace(text, ".", ",", 1)
			}
			row = append(row, text)
		}
		out = append(out, row)
	}
	return out
}

func (s sheet) csv() string {
	var b strings.Builder
	for _, r := range s.rows() {
		b.WriteString(strings.Join(r, ";") + "\n")
	}
	return b.String()
}

func given(t *testing.T, name, text string) File {
	t.Helper()
	tables, err := look.Bytes(name, []byte(text), look.Options{})
	require.NoError(t, err)
	return File{Name: name, SHA256: fmt.Sprintf("%x", sha256.Sum256([]byte(text))), Tables: tables}
}

func day(m, d int) time.Time { return time.Date(2026, time.Month(m), d, 0, 0, 0, 0, time.UTC) }

func yard(m, d int) sheet {
	return sheet{header: []string{"Time", "Loop out (°C)", "Loop flow (L/min)", "Cold feed (°C)"}, low: []float64{30, 5, 8}, from: day(m, d), days: 10, stepS: 1800, layout: "2006-01-02 15:04:05", seed: uint64(100*m + d)}
}

func bed(m, d int) sheet {
	return sheet{header: []string{"Zeit", "Beet Nord (°C)", "Beet Süd (°C)"}, low: []float64{50, 45}, from: day(m, d), days: 10, stepS: 3600, layout: "02.01.2006 15:04", comma: true, seed: uint64(m)}
}

// stands is a farm drafted from its first files.
func stands(t *testing.T, files ...File) (Known, *edit.Doc) {
	t.Helper()
	var in []draft.File
	for _, f := range files {
		in = append(in, draft.File{Name: f.Name, Tables: f.Tables})
	}
	d, err := edit.New(draft.New(in, draft.Options{Name: "x", Zone: "Europe/Rome"}).TOML)
	require.NoError(t, err)
	f, faults := d.Farm()
	require.Empty(t, faults)
	return Known{Farm: f, Files: files}, d
}

func first(t *testing.T) (Known, *edit.Doc) {
	return stands(t, given(t, "yard-2026-01.csv", yard(1, 13).csv()), given(t, "bed-2026-01.csv", bed(1, 13).csv()))
}

func codesOf(m Match) []Code {
	var out []Code
	for _, f := range m.Findings {
		out = append(out, f.Code)
	}
	return out
}

func find(t *testing.T, m Match, c Code) Finding {
	t.Helper()
	for _, f := range m.Findings {
		if f.Code == c {
			return f
		}
	}
	t.Fatalf("no %s among %+v", c, m.Findings)
	return Finding{}
}

func applied(t *testing.T, r *Result, d *edit.Doc, a map[int]Answer) *edit.Doc {
	t.Helper()
	p, err := r.Plan(d, a)
	require.NoError(t, err)
	require.NoError(t, p.Apply(d))
	_, faults := d.Farm()
	require.Empty(t, faults, string(d.Bytes()))
	return d
}

func TestNextMonthIsNothingNew(t *testing.T) {
	k, d := first(t)
	r := Compare(k, []File{given(t, "yard-2026-01b.csv", yard(1, 23).csv()), given(t, "bed-2026-01b.csv", bed(1, 23).csv())})
	for i, m := range r.Matches {
		require.Equal(t, i, m.Log)
		require.Equal(t, Certain, m.Sure, "%v", m.Score)
		require.Empty(t, m.Findings)
	}
	applied(t, r, d, nil)
	require.Equal(t, []string{"yard-2026-01.csv", "yard-2026-01b.csv"}, d.Files(0))
	require.Equal(t, []string{"bed-2026-01.csv", "bed-2026-01b.csv"}, d.Files(1))
	again, err := Compare(k, nil).Plan(d, nil)
	require.NoError(t, err)
	require.Empty(t, again.Steps)
}

func TestGlobThatCoversNeedsNoEdit(t *testing.T) {
	k, d := first(t)
	require.NoError(t, d.Set("log[0]", "files", edit.Texts("yard-*.csv")))
	k.Farm, _ = d.Farm()
	r := Compare(k, []File{given(t, "yard-2026-02.csv", yard(1, 23).csv())})
	require.True(t, r.Matches[0].Covered)
	before := d.Bytes()
	require.Equal(t, before, applied(t, r, d, nil).Bytes())
}

func TestColumnsRenamedMissingNew(t *testing.T) {
	k, d := first(t)
	s := yard(1, 23)
	s.header = []string{"Time", "Loop outlet \"T\" (°C)", "Loop flow (L/min)", "Air (°C)", "Extra (bar)"}
	s.low = []float64{30, 5, -5, 1}
	r := Compare(k, []File{given(t, "yard-2026-02.csv", s.csv())})
	m := r.Matches[0]
	require.Equal(t, 0, m.Log)
	f := find(t, m, ColumnRenamed)
	require.Equal(t, "Loop out (°C)", f.Was)
	require.Equal(t, `Loop outlet "T" (°C)`, f.Is)
	require.Equal(t, "loop_out_temp", f.Quantity)
	require.Equal(t, Likely, f.Sure)
	require.True(t, m.Has(ColumnNew))
	require.Equal(t, "Cold feed (°C)", find(t, m, ColumnMissing).Was, "air is no cold feed: its readings lie elsewhere")
	applied(t, r, d, map[int]Answer{0: {Columns: []draft.Choice{{Column: "Air (°C)", Quantity: "air_temp", Place: "barn"}}}})
	require.Equal(t, "loop_out_temp", d.Column(0, `Loop outlet "T" (°C)`))
	require.Equal(t, "loop_out_temp", d.Column(0, "Loop out (°C)"), "earlier files bear the old name")
	require.Equal(t, map[string]any{"quantity": "air_temp@barn"}["quantity"], d.Column(0, "Air (°C)"), "the farmer's word goes before a guess")
	require.Nil(t, d.Column(0, "Extra (bar)"))

	s = yard(1, 23)
	s.header, s.low = s.header[:3], s.low[:2]
	m = Compare(k, []File{given(t, "yard-2026-02.csv", s.csv())}).Matches[0]
	require.Equal(t, []Code{ColumnMissing}, codesOf(m))
	require.Equal(t, "Cold feed (°C)", m.Findings[0].Was)
}

func TestUnitLayoutInterval(t *testing.T) {
	k, _ := first(t)
	s := yard(1, 23)
	s.header = []string{"Time", "Loop out (°F)", "Loop flow (L/min)", "Cold feed (°C)"}
	s.low = []float64{86, 5, 8}
	s.stepS = 600
	s.comma = true
	s.layout = "02/01/2006 15:04"
	m := Compare(k, []File{given(t, "yard-2026-02.csv", s.csv())}).Matches[0]
	require.Equal(t, 0, m.Log)
	require.Equal(t, "°F", find(t, m, UnitChanged).Is)
	require.Equal(t, Finding{Code: DecimalChanged, Was: ".", Is: ","}, find(t, m, DecimalChanged))
	require.Equal(t, 600.0, find(t, m, IntervalChanged).IsS)
	require.True(t, m.Has(StampsChanged) || m.Has(DatesChanged))
	require.False(t, m.Apart)
}

// What the farm file states of a log, and the new file contradicts, asks for a
// [[log]] of its own with the same columns.
func TestStatedSettingsPartTheFile(t *testing.T) {
	k, d := first(t)
	require.NoError(t, d.Set("log[1]", "decimal", edit.Text(",")))
	require.NoError(t, d.Set("log[1]", "dates", edit.Text("dmy")))
	require.NoError(t, d.SetColumn(1, "Beet Nord (°C)", edit.Table(edit.Pair{Key: "quantity", Value: edit.Text("bed_temp@north")}, edit.Pair{Key: "fit", Value: edit.Text("pocket")})))
	k.Farm, _ = d.Farm()
	s := bed(1, 23)
	s.comma = false
	s.layout = "01/02/2006 15:04"
	r := Compare(k, []File{given(t, "bed-2026-02.csv", s.csv())})
	m := r.Matches[0]
	require.Equal(t, 1, m.Log)
	require.True(t, m.Apart)
	require.True(t, find(t, m, DecimalChanged).Stated)
	require.Equal(t, "mdy", find(t, m, DatesChanged).Is)
	applied(t, r, d, nil)
	f, _ := d.Farm()
	require.Len(t, f.Logs, 3)
	require.Equal(t, "north", f.Logs[2].Columns[0].Place)
	require.Equal(t, "pocket", f.Logs[2].Columns[0].Fit)
	require.Empty(t, f.Logs[2].Decimal)
}

func TestTimes(t *testing.T) {
	k, _ := first(t)
	gap := Compare(k, []File{given(t, "yard-2026-02.csv", yard(1, 26).csv())}).Matches[0]
	f := find(t, gap, Gap)
	require.InDelta(t, 3*86400+1800, f.Seconds, 1)
	require.True(t, strings.HasPrefix(f.From, "2026-01-22T23:30:00"), f.From)
	require.True(t, strings.HasPrefix(f.To, "2026-01-26T00:00:00"), f.To)

	over := Compare(k, []File{given(t, "yard-2026-02.csv", yard(1, 18).csv())}).Matches[0]
	f = find(t, over, Overlap)
	require.True(t, strings.HasPrefix(f.From, "2026-01-18"), f.From)
	require.Equal(t, Open, f.Agrees)

	far := yard(1, 18)
	far.low = []float64{60, 5, 8}
	require.Equal(t, Differs, find(t, Compare(k, []File{given(t, "yard-2026-02.csv", far.csv())}).Matches[0], Overlap).Agrees)
	require.Equal(t, Same, find(t, Compare(k, []File{given(t, "yard again.csv", yard(1, 13).csv()+"\n")}).Matches[0], Overlap).Agrees)

	early := Compare(k, []File{given(t, "yard-2025-12.csv", yard(1, 3).csv())}).Matches[0]
	require.Equal(t, []Code{Earlier}, codesOf(early))

	// Three at once: the second follows the first, which is new too.
	for i, m := range Compare(k, []File{given(t, "yard-2026-03.csv", yard(2, 2).csv()), given(t, "yard-2026-02.csv", yard(1, 23).csv()), given(t, "yard-2026-04.csv", yard(2, 12).csv())}).Matches {
		require.Empty(t, m.Findings, "%d", i)
	}
}

// The same descriptions as known and as new: each file overlaps itself, once.
func TestSameTablesTwice(t *testing.T) {
	k, _ := first(t)
	for i := range k.Files {
		k.Files[i].SHA256 = ""
	}
	for _, m := range Compare(k, k.Files).Matches {
		require.Equal(t, []Code{NameTaken, Overlap}, codesOf(m))
		require.Equal(t, Same, find(t, m, Overlap).Agrees)
		require.True(t, m.Covered)
	}
}

func TestGivenAlreadyAndNameTaken(t *testing.T) {
	k, d := first(t)
	same := given(t, "copy.csv", yard(1, 13).csv())
	r := Compare(k, []File{same, given(t, "Yard-2026-01.csv", yard(1, 23).csv())})
	require.Equal(t, GivenAlready, r.Matches[0].Findings[0].Code)
	require.Equal(t, "yard-2026-01.csv", r.Matches[0].Findings[0].File)
	require.True(t, r.Matches[1].Has(NameTaken))
	p, err := r.Plan(d, map[int]Answer{1: {Skip: true}})
	require.NoError(t, err)
	require.Empty(t, p.Steps)
}

// Two loggers of one make: the name, then the readings tell which is which.
func TestTwoLoggersOfOneMake(t *testing.T) {
	one := func(low float64, d int) string {
		return sheet{header: []string{"Time", "Temp (°C)"}, low: []float64{low}, from: day(1, d), days: 10, stepS: 1800, layout: "2006-01-02 15:04:05", seed: uint64(d)}.csv()
	}
	k, d := stands(t, given(t, "north-01.csv", one(50, 13)), given(t, "feed-01.csv", one(8, 13)))
	require.NoError(t, d.SetColumn(0, "Temp (°C)", edit.Text("bed_temp")))
	require.NoError(t, d.SetColumn(1, "Temp (°C)", edit.Text("mains_temp")))
	k.Farm, _ = d.Farm()
	require.Len(t, k.Farm.Logs, 2)
	r := Compare(k, []File{given(t, "feed-02.csv", one(8, 23)), given(t, "north-02.csv", one(50, 23)), given(t, "export.csv", one(50, 23)), given(t, "export (1).csv", one(9, 23))})
	require.Equal(t, []int{1, 0, 0, 1}, []int{r.Matches[0].Log, r.Matches[1].Log, r.Matches[2].Log, r.Matches[3].Log})
	swapped := Compare(k, []File{given(t, "north-03.csv", one(8, 23))}).Matches[0]
	require.True(t, swapped.Has(RangeElsewhere) && swapped.Log == 0 || swapped.Log == 1 && swapped.Sure != Certain, "%+v", swapped)
}

func TestNothingLikeAnyLog(t *testing.T) {
	k, d := first(t)
	s := sheet{header: []string{"Date", "Compressor (kW)"}, low: []float64{1}, from: day(1, 13), days: 10, stepS: 600, layout: "2006-01-02 15:04:05"}
	r := Compare(k, []File{given(t, "plant.csv", s.csv())})
	require.Equal(t, -1, r.Matches[0].Log)
	require.Equal(t, []Code{NewLog}, codesOf(r.Matches[0]))
	applied(t, r, d, map[int]Answer{0: {Settings: []edit.Pair{{Key: "zone", Value: edit.Text("UTC")}}}})
	f, _ := d.Farm()
	require.Equal(t, "compressor_power", f.Logs[2].Columns[0].Quantity)
	require.Equal(t, "UTC", f.Logs[2].Zone)
	require.Contains(t, string(d.Bytes()), "# bed-2026-01.csv", "the comments of before stand")
}

// A long log's tags are its columns.
func TestLongLogs(t *testing.T) {
	long := func(d int, tags ...string) string {
		var b strings.Builder
		b.WriteString("time;tag;value\n")
		for i := range 200 {
			for n, tag := range tags {
				fmt.Fprintf(&b, "%s;%s;%d.%d\n", day(1, d).Add(time.Duration(i)*time.Hour).Format("2006-01-02 15:04"), tag, 30-20*n+i%5, i%10)
			}
		}
		return b.String()
	}
	k, d := stands(t, given(t, "hub-1.csv", long(13, "Loop out (°C)", "Loop flow (L/min)")))
	require.Equal(t, "tag", k.Farm.Logs[0].TagColumn)
	r := Compare(k, []File{given(t, "hub-2.csv", long(22, "Loop outlet (°C)", "Loop flow (L/min)", "Room (°C)"))})
	m := r.Matches[0]
	require.Equal(t, 0, m.Log)
	require.Equal(t, "Loop outlet (°C)", find(t, m, ColumnRenamed).Is)
	require.True(t, m.Has(ColumnNew))
	require.Equal(t, Guess, find(t, m, ColumnRenamed).Sure, "tags have no place")
	p, err := r.Plan(d, nil)
	require.NoError(t, err)
	require.Len(t, p.Steps, 1, "a guess is not mapped unasked")
	applied(t, r, d, map[int]Answer{0: {Same: []string{"Loop outlet (°C)"}}})
	require.Equal(t, "loop_out_temp", d.Column(0, "Loop outlet (°C)"))
}

func workbook(t *testing.T, sheets map[string]sheet, names ...string) string {
	t.Helper()
	f := excelize.NewFile()
	for i, n := range names {
		if i == 0 {
			require.NoError(t, f.SetSheetName("Sheet1", n))
		} else {
			_, err := f.NewSheet(n)
			require.NoError(t, err)
		}
		for r, row := range sheets[n].rows() {
			for c, text := range row {
				cell, _ := excelize.CoordinatesToCellName(c+1, r+1)
				var v any = text
				var x float64
				if r > 0 && c > 0 {
					fmt.Sscanf(text, "%g", &x)
					v = x
				}
				require.NoError(t, f.SetCellValue(n, cell, v))
			}
		}
	}
	var b bytes.Buffer
	require.NoError(t, f.Write(&b))
	return b.String()
}

func TestWorkbooksArchivesAndSeveralTables(t *testing.T) {
	book := func(d int) string {
		b := bed(1, d)
		b.comma = false
		return workbook(t, map[string]sheet{"Yard": yard(1, d), "Bed": b}, "Yard", "Bed")
	}
	k, d := stands(t, given(t, "week-1.xlsx", book(13)))
	require.Len(t, k.Farm.Logs, 2)
	r := Compare(k, []File{given(t, "week-2.xlsx", book(23))})
	require.Len(t, r.Matches, 2)
	for i, m := range r.Matches {
		require.Equal(t, i, m.Log)
		require.Empty(t, m.Findings)
	}
	applied(t, r, d, nil)
	require.Equal(t, []string{"week-1.xlsx", "week-2.xlsx"}, d.Files(1))

	other := workbook(t, map[string]sheet{"February": yard(1, 23)}, "February")
	m := Compare(k, []File{given(t, "week-3.xlsx", other)}).Matches[0]
	require.Equal(t, 0, m.Log)
	require.Equal(t, "February", find(t, m, SheetChanged).Is)
	require.True(t, m.Apart)

	k, d = first(t)
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, s := range map[string]string{"yard-2026-01c.csv": yard(1, 23).csv(), "bed-2026-01c.csv": bed(1, 23).csv()} {
		w, err := z.Create(name)
		require.NoError(t, err)
		_, err = w.Write([]byte(s))
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	r = Compare(k, []File{given(t, "all.zip", b.String())})
	require.Len(t, r.Matches, 2)
	for _, m := range r.Matches {
		require.Equal(t, strings.HasPrefix(m.Table.Member, "bed"), m.Log == 1)
		require.Empty(t, m.Findings)
	}
	applied(t, r, d, nil)
	require.Contains(t, d.Files(0), "all.zip")
	require.Contains(t, d.Files(1), "all.zip")

	var g bytes.Buffer
	w := gzip.NewWriter(&g)
	_, err := w.Write([]byte(yard(1, 23).csv()))
	require.NoError(t, err)
	require.NoError(t, w.Close())
	m = Compare(k, []File{given(t, "yard-2026-02.csv.gz", g.String())}).Matches[0]
	require.Equal(t, 0, m.Log)

	two := yard(1, 23).csv() + "\n\n" + strings.ReplaceAll(bed(1, 23).csv(), ",", ".")
	r = Compare(k, []File{given(t, "both.csv", two)})
	if len(r.Matches) == 2 {
		require.Equal(t, 0, r.Matches[0].Log)
		require.Equal(t, 1, r.Matches[1].Log)
	} else {
		t.Log("look reads one table of the two")
	}
}

// The findings and the plan of the same files are the same, and a farm whose
// files were never described is matched by its columns.
func TestWithoutEarlierFiles(t *testing.T) {
	k, _ := first(t)
	k.Files = nil
	m := Compare(k, []File{given(t, "yard-2026-02.csv", yard(1, 23).csv())}).Matches[0]
	require.Equal(t, 0, m.Log)
	require.Empty(t, m.Findings)
	require.Equal(t, m.Findings, Compare(k, []File{given(t, "yard-2026-02.csv", yard(1, 23).csv())}).Matches[0].Findings)
}

func TestMilkingsListIsNoLog(t *testing.T) {
	text := "Date,Start,End,Milk [L]\n"
	for i := range 20 {
		text += fmt.Sprintf("2026-02-%02d,05:%02d,06:50,%d\n", i+1, 10+i, 460+i%7)
	}
	k, d := stands(t, given(t, "yard-2026-01.csv", yard(1, 13).csv()), given(t, "milkings.csv", text))
	require.Equal(t, "milkings.csv", k.Farm.Milkings.File)
	r := Compare(k, []File{given(t, "milkings 2.csv", strings.ReplaceAll(text, "2026-02", "2026-03"))})
	require.Equal(t, MilkingsList, r.Matches[0].Findings[0].Code)
	p, err := r.Plan(d, nil)
	require.NoError(t, err)
	require.Empty(t, p.Steps)
}
