package simfarm

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
	"gonum.org/v1/gonum/stat/distuv"
)

var update = flag.Bool("update", false, "write testdata/sample/truth.json anew")

func run(t testing.TB, s Scenario) *Farm {
	t.Helper()
	f, err := Run(s)
	require.NoError(t, err)
	return f
}

// What the loop's meter books must be what bed and air gave, within 0.1 %;
// tank and cold store to rounding (the tank within what its temperature table
// leaves).
func TestEnergyCloses(t *testing.T) {
	scenarios := []Scenario{Sample()}
	for seed := uint64(1); seed <= 20; seed++ {
		scenarios = append(scenarios, Short(seed))
	}
	for _, s := range scenarios {
		f := run(t, s)
		c := f.closure
		t.Logf("%s: loop %.1e", s.Name, c.loopBookedKJ/(c.bedKJ+c.airKJ-c.loopStoredKJ)-1)
		require.InEpsilon(t, c.bedKJ+c.airKJ-c.loopStoredKJ, c.loopBookedKJ, 1e-3, s.Name)
		require.InEpsilon(t, c.tankInKJ+c.plateKJ+c.elementKJ-c.tankLossKJ-c.tankStoredKJ, c.tankOutKJ, 1e-6, s.Name)
		require.InEpsilon(t, c.milkKJ+c.gainKJ-c.coolingStoreKJ, c.rejectedKJ-c.compressorKJ, 1e-9, s.Name)
		truth := f.Truth()
		require.InEpsilon(t, c.loopBookedKJ/3600, truth.LoopKWh, 1e-9, s.Name)
		require.InEpsilon(t, c.plateKJ/3600, truth.PlantKWh, 1e-5, s.Name)
		require.InEpsilon(t, c.elementKJ/3600, truth.ElementKWh, 1e-9, s.Name)
		require.Less(t, truth.RecoveryFraction, 1.0, s.Name)
	}
}

// Errors over 300 seeds: standard scores with mean 0 and deviation 1, normal
// ones with 95 % inside their half-width, rectangular ones all inside and, by
// Kolmogorov's distance, uniform.
func TestDrawnErrorsFollowWhatIsStated(t *testing.T) {
	var normal, limits []float64
	for seed := uint64(1); seed <= 300; seed++ {
		f := &Farm{s: Short(seed)}
		f.drawErrors()
		for _, d := range f.drawn {
			if d.Rectangle {
				limits = append(limits, d.Error/d.Half)
			} else {
				normal = append(normal, d.Error/d.Half*1.959964)
			}
		}
	}
	cdf := func(x float64) float64 { return distuv.UnitNormal.CDF(x) }
	require.Less(t, distance(normal, cdf), 1.63/math.Sqrt(float64(len(normal))), "Kolmogorov, 1 %%")
	uniform := func(x float64) float64 { return (x + 1) / 2 }
	require.Less(t, distance(limits, uniform), 1.63/math.Sqrt(float64(len(limits))), "Kolmogorov, 1 %%")
	for _, x := range limits {
		require.LessOrEqual(t, math.Abs(x), 1.0)
	}
	require.Greater(t, len(normal), 3000)
	require.Greater(t, len(limits), 500)
}

// distance is Kolmogorov's: the largest gap between sample and distribution.
func distance(x []float64, cdf func(float64) float64) float64 {
	sort.Float64s(x)
	d, n := 0.0, float64(len(x))
	for i, v := range x {
		d = max(d, math.Abs(cdf(v)-float64(i)/n), math.Abs(cdf(v)-float64(i+1)/n))
	}
	return d
}

func folder(t *testing.T, s Scenario) map[string][]byte {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, run(t, s).Write(dir))
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	out := map[string][]byte{}
	for _, e := range entries {
		out[e.Name()], err = os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
	}
	return out
}

func TestSameScenarioSameBytes(t *testing.T) {
	for _, s := range []Scenario{Sample(), Short(3)} {
		a, b := folder(t, s), folder(t, s)
		require.Equal(t, len(a), len(b))
		for name, data := range a {
			require.True(t, bytes.Equal(data, b[name]), name)
		}
	}
	require.False(t, bytes.Equal(folder(t, Short(3))["milkings.csv"], folder(t, Short(4))["milkings.csv"]))
}

// The sample: at most 8 MB and 150,000 workbook cells; four layouts.
func TestSampleFiles(t *testing.T) {
	files := folder(t, Sample())
	total := 0
	for _, d := range files {
		total += len(d)
	}
	require.Less(t, total, 8_000_000)
	require.Equal(t, 4+1+2+2, len(files)) // four monthly exports

	yard := string(files["yard-2026-03.csv"])
	require.True(t, strings.Contains(yard, "\xb0C")) // Windows-1252
	require.True(t, strings.Contains(yard, "29.03.2026 02:59;"))
	require.False(t, strings.Contains(yard, "29.03.2026 03:30;"), "that hour is skipped")
	require.True(t, strings.Contains(yard, "29.03.2026 04:00;"))
	require.True(t, strings.Contains(string(files["yard-2026-02.csv"]), "01.03.2026 11:30;"), "exports overlap")
	require.True(t, strings.Contains(yard, "01.03.2026 11:30;"), "exports overlap")

	require.Equal(t, []byte{0xff, 0xfe, 'T', 0}, files["bed.csv"][:4])
	require.True(t, strings.HasPrefix(string(files["meters.csv"]), "ts,Element meter [kWh],Wash water [L],Wash temp ["))
	require.True(t, strings.Contains(string(files["yard-2025-12.csv"])+string(files["yard-2026-01.csv"])+yard, "-127,00"))

	book, err := excelize.OpenReader(bytes.NewReader(files["controller.xlsx"]))
	require.NoError(t, err)
	defer book.Close()
	require.Equal(t, []string{"Notes", dataSheet}, book.GetSheetList())
	rows, err := book.GetRows(dataSheet)
	require.NoError(t, err)
	cells := 0
	for _, r := range rows {
		cells += len(r)
	}
	require.Less(t, cells, 150_000)
	require.Equal(t, "2025-12-01 00:00", rows[2][0])
}

// A wrong clock writes wrong stamps: the reading stamped s was taken at
// s - ahead(s).
func TestClockAhead(t *testing.T) {
	f := run(t, Sample())
	r := f.readings(3)
	mid := (f.start + f.end) / 2
	for i, s := range r.stamp {
		ahead := float64(s-f.start) - r.trueS[i]
		require.InDelta(t, 2220+1.7*float64(s-mid)/86400, ahead, 1e-6)
	}
}

// A scenario in which nothing errs is seen as it is.
func TestSeenWithoutErrorsIsTruth(t *testing.T) {
	s := Short(5)
	for i := range s.Errors {
		s.Errors[i].Half = 0
	}
	s.Loop.WallMM, s.Loop.WallMJPerM3K = 2.5, 2.1
	f := run(t, s)
	truth := f.Truth()
	f.errs[xWall] = 0
	for k, v := range f.answers(f.errs).Headline() {
		if k != "ua_w_per_k" {
			require.InEpsilon(t, truth.Headline()[k], v, 1e-12, k)
		}
	}
	require.InEpsilon(t, truth.UAWPerK, f.seenUA(errorsOf{}), 2e-3)
}

// Each error acts on its figure as the definition says.
func TestErrorsActAsDefined(t *testing.T) {
	f := run(t, Short(7))
	base := f.answers(errorsOf{})
	with := func(r role, x float64) Truth {
		var e errorsOf
		e[r] = x
		return f.answers(e)
	}
	require.InEpsilon(t, base.LoopKWh*1.03, with(gLoop, 0.03).LoopKWh, 1e-12)
	require.InEpsilon(t, base.WashKWh*0.98, with(gWash, -0.02).WashKWh, 1e-12)
	require.InEpsilon(t, base.ElementKWh*1.01, with(gElement, 0.01).ElementKWh, 1e-12)
	require.InEpsilon(t, base.RecoveryFraction*1.04, with(gPlate, 0.04).RecoveryFraction, 1e-12)
	// 0.2 K more at the outlet: litres times 4.16 kJ/(L K) (rho c of water near
	// 10 to 40 degC is 4.15 to 4.20).
	got := with(eLoopOut, 0.2).LoopKWh - base.LoopKWh
	require.InEpsilon(t, base.LoopL*4.175*0.2/3600, got, 0.007)
	// 0.05 more efficiency lowers the baseline in proportion.
	eff := f.efficiency
	require.InEpsilon(t, base.BaselineKWh*eff/(eff+0.05), with(xEfficiency, 0.05).BaselineKWh, 1e-12)
	// A wash probe that reads high adds to wash heat, but water above heat_to_c
	// adds nothing to the baseline.
	hot := with(eWash, 30)
	capped := 0.0
	feed := f.feeds()
	for i, v := range f.wash.litres {
		kg := v * rhoAt(f.wash.hotC[i]+30) / 1000
		capped += kg * (hAt(f.s.Wash.HeatToC) - hAt(feed[max(f.wash.cycle[i], 0)])) / 3600
	}
	require.LessOrEqual(t, hot.BaselineKWh, capped/eff*(1+1e-9))
	require.Greater(t, hot.WashKWh, capped)
}

// Seen scatters about Truth as LinearWidths says: over farms the mean square
// of the standard score is 1; with 40 farms its 99.9 % bounds are 0.44 and 1.84
// (chi-square/40).
func TestSeenScattersAsWide(t *testing.T) {
	if testing.Short() {
		t.Skip("forty farms")
	}
	square := map[string]float64{}
	const farms = 40
	uas := 0
	for seed := uint64(1); seed <= farms; seed++ {
		f := run(t, Short(seed))
		seen, truth, width := f.answers(f.errs).Headline(), f.Truth().Headline(), f.LinearWidths()
		for k, v := range seen {
			if k == "ua_w_per_k" {
				continue
			}
			z := (v - truth[k]) / (width[k] / 2 / 1.959964)
			square[k] += z * z / farms
		}
		if w := width["ua_w_per_k"]; w < 0.25*truth["ua_w_per_k"] {
			uas++
			z := (f.seenUA(f.errs) - truth["ua_w_per_k"]) / (w / 2 / 1.959964)
			require.Less(t, math.Abs(z), 4.0, "seed %d", seed)
		}
	}
	for k, v := range square {
		require.Greater(t, v, 0.44, k)
		require.Less(t, v, 1.84, k)
	}
	require.Greater(t, uas, 15)
}

// Twice the errors on the same farm: twice the widths. UA's prior on the
// bed's offset stays as it is, which bends its line a little.
func TestWidthsGrowWithStatedErrors(t *testing.T) {
	f := run(t, Short(4))
	narrow := f.LinearWidths()
	for r := range f.sd {
		f.sd[r] *= 2
	}
	for k, wide := range f.LinearWidths() {
		require.InEpsilon(t, 2*narrow[k], wide, 0.05, k)
	}
}

func TestShortStaysInItsRanges(t *testing.T) {
	for seed := uint64(1); seed <= 100; seed++ {
		s := Short(seed)
		require.NoError(t, s.Validate())
		require.InDelta(t, 31.5, float64(s.Days), 3.5)
		require.True(t, s.Loop.UAWPerK >= 300 && s.Loop.UAWPerK <= 4000, "seed %d: %g", seed, s.Loop.UAWPerK)
		require.True(t, s.Loop.DrawLow >= 0.7 && s.Loop.DrawHigh <= 2)
	}
}

func TestValidateNamesTheField(t *testing.T) {
	s := Sample()
	s.Loop.BoreMM = 0
	_, err := Run(s)
	require.ErrorContains(t, err, "Loop.BoreMM is 0")
	s = Sample()
	s.Zone = "Nowhere/Nothing"
	_, err = Run(s)
	require.Error(t, err)
}

func TestAppendFixed(t *testing.T) {
	for _, c := range []struct {
		x    float64
		n    int
		want string
	}{{0, 1, "0.0"}, {-0.04, 1, "0.0"}, {-0.06, 1, "-0.1"}, {12.345, 2, "12.35"}, {99.999, 2, "100.00"}, {7.05, 2, "7.05"}, {3, 0, "3"}} {
		require.Equal(t, c.want, string(appendFixed(nil, c.x, c.n, '.')), fmt.Sprint(c.x))
	}
}

// Resolution, counters and resets as a logger would show them.
func TestCounters(t *testing.T) {
	f := run(t, Sample())
	r := f.readings(3)
	element := r.values[0]
	drops := 0
	for i := 1; i < len(element); i++ {
		if element[i] < element[i-1] {
			drops++
			require.Less(t, element[i], 10.0)
		}
		require.InDelta(t, element[i]*10, math.Round(element[i]*10), 1e-6)
	}
	require.Equal(t, 1, drops)
	wash := r.values[1]
	gained := (wash[len(wash)-1] - wash[0]) / (1 + f.columnErrs[3][1])
	total := 0.0
	for _, v := range f.wash.litres {
		total += v
	}
	require.InEpsilon(t, total, gained, 2/total*1.5+1e-5+600/total)
}

func BenchmarkShort(b *testing.B) {
	dir := b.TempDir()
	for b.Loop() {
		f := run(b, Short(1+rand.Uint64N(100)))
		require.NoError(b, f.Write(dir))
	}
}

func BenchmarkSample(b *testing.B) {
	dir := b.TempDir()
	for b.Loop() {
		require.NoError(b, run(b, Sample()).Write(dir))
	}
}

func BenchmarkSeen(b *testing.B) {
	f := run(b, Short(1))
	for b.Loop() {
		require.Positive(b, f.Seen().UAWPerK)
	}
}

func BenchmarkWidths(b *testing.B) {
	f := run(b, Short(1))
	for b.Loop() {
		require.Positive(b, f.LinearWidths()["ua_w_per_k"])
	}
}

// sampleTruth is testdata/sample/truth.json.
type sampleTruth struct {
	About  string             `json:"about"`
	Seed   uint64             `json:"seed"`
	Truth  Truth              `json:"truth"`
	Seen   map[string]float64 `json:"seen_through_drawn_errors"`
	Widths map[string]float64 `json:"linear_widths"`
}

// testdata/sample/truth.json describes the sample as it is now; it is made by
// this simulator (go test -run TruthOnFile -update), so agreement shows only
// that nobody changed the sample unawares.
func TestSampleTruthOnFile(t *testing.T) {
	name := filepath.Join("..", "..", "testdata", "sample", "truth.json")
	f := run(t, Sample())
	got := sampleTruth{
		About: "What happened on the sample farm (invented), by its simulator; energies in kWh, widths are 2*1.96*u.",
		Seed:  sampleSeed, Truth: f.Truth(), Seen: f.Seen().Headline(), Widths: f.LinearWidths(),
	}
	if *update {
		data, err := json.MarshalIndent(got, "", " ")
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(name, append(data, '\n'), 0o644))
	}
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	var want sampleTruth
	require.NoError(t, json.Unmarshal(data, &want))
	require.EqualValues(t, 20260301, want.Seed)
	for _, c := range []struct{ want, got map[string]float64 }{
		{want.Truth.Headline(), got.Truth.Headline()}, {want.Seen, got.Seen}, {want.Widths, got.Widths},
	} {
		require.Len(t, c.want, 7)
		for k, v := range c.want {
			require.InEpsilon(t, v, c.got[k], 1e-5, k)
		}
	}
}
