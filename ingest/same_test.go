package ingest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// Same-answer tests: however the same readings are written, split, doubled or
// turned round, the kept readings do not move.

// yard is an invented fortnight of five-minute rows with a counter that rolls
// over, a pump and a few bad cells, as columns of numbers.
type yard struct {
	at           []time.Time
	outC, bedC   []float64
	flowLMin     []float64
	meterL       []float64
	pump         []bool
	badOut, lost []bool
}

func newYard() *yard {
	r := rand.New(rand.NewPCG(7, 11))
	y := &yard{}
	meter := 998_000.0
	for i := range 14 * 288 {
		run := i%96 >= 10 && i%96 < 22
		if run {
			meter += 60
		}
		y.at = append(y.at, time.Date(2026, 1, 10, 23, 0, 0, 0, time.UTC).Add(time.Duration(i)*5*time.Minute))
		out := 18.0
		if run {
			out = 31
		}
		y.outC = append(y.outC, math.Round(10*(out+r.Float64()))/10)
		y.bedC = append(y.bedC, math.Round(10*(48+2*math.Sin(float64(i)/300)))/10)
		y.flowLMin = append(y.flowLMin, map[bool]float64{true: 12, false: 0}[run])
		y.meterL = append(y.meterL, math.Mod(meter, 1_000_000))
		y.pump = append(y.pump, run)
		y.badOut = append(y.badOut, i%611 == 300)
		y.lost = append(y.lost, i%407 == 100)
	}
	return y
}

// style is one way to write the yard's log.
type style struct {
	zone              string
	layout            string
	sep, decimal      string
	outHead, flowHead string
	out, flow         func(float64) float64
	places            int
	on, off           string
}

func plainStyle() style {
	same := func(v float64) float64 { return v }
	return style{zone: "Europe/Rome", layout: "2006-01-02 15:04:05", sep: ",", decimal: ".", outHead: "Out (°C)", flowHead: "Flow (L/min)", out: same, flow: same, places: 1, on: "on", off: "off"}
}

func (y *yard) head(s style) string {
	return strings.Join([]string{"Time", s.outHead, "Bed (°C)", s.flowHead, "Meter (L)", "Pump"}, s.sep)
}

func (y *yard) line(s style, i int, zone *time.Location) string {
	num := func(v float64, places int) string {
		return strings.Replace(fmt.Sprintf("%.*f", places, v), ".", s.decimal, 1)
	}
	out := num(s.out(y.outC[i]), s.places)
	if y.badOut[i] {
		out = num(s.out(-127), s.places)
	}
	if y.lost[i] {
		out = ""
	}
	pump := s.off
	if y.pump[i] {
		pump = s.on
	}
	return strings.Join([]string{y.at[i].In(zone).Format(s.layout), out, num(y.bedC[i], 1), num(s.flow(y.flowLMin[i]), 3), num(y.meterL[i], 0), pump}, s.sep)
}

// text writes rows from..to-1.
func (y *yard) text(s style, from, to int) string {
	zone, err := time.LoadLocation(s.zone)
	if err != nil {
		panic(err)
	}
	lines := []string{y.head(s)}
	for i := from; i < to; i++ {
		lines = append(lines, y.line(s, i, zone))
	}
	return strings.Join(lines, "\n") + "\n"
}

func (y *yard) columns(s style) string {
	return fmt.Sprintf("%q = \"loop_out_temp\"\n\"Bed (°C)\" = \"bed_temp\"\n%q = \"loop_flow\"\n\"Meter (L)\" = { quantity = \"loop_volume\", counter = true }\n\"Pump\" = \"loop_pump\"",
		s.outHead, s.flowHead)
}

// sameKept compares the kept readings of two records, series by series.
func sameKept(t *testing.T, want, got *Record, tolerance float64) {
	t.Helper()
	require.Equal(t, len(want.Series), len(got.Series))
	for i, a := range want.Series {
		b := got.Series[i]
		require.Equal(t, a.Quantity, b.Quantity)
		require.Equal(t, a.Kind, b.Kind)
		require.Equal(t, a.IntervalMS, b.IntervalMS, a.Quantity)
		require.InDelta(t, a.ResolutionBase, b.ResolutionBase, tolerance)
		ta, tb := keptAt(a), keptAt(b)
		require.Equal(t, ta, tb, a.Quantity)
		require.InDeltaSlice(t, kept(a), kept(b), tolerance, a.Quantity)
		require.Equal(t, countFlag(a, series.Sentinel), countFlag(b, series.Sentinel))
	}
	require.Equal(t, want.First, got.First)
	require.Equal(t, want.Last, got.Last)
}

// keptAt are the intervals of the kept readings.
func keptAt(s *series.Series) [][2]int64 {
	var out [][2]int64
	for i, f := range s.Flags.List() {
		if f != 0 {
			continue
		}
		from := int64(0)
		if s.From != nil {
			from = s.From[i]
		}
		out = append(out, [2]int64{from, s.T[i]})
	}
	return out
}

func countFlag(s *series.Series, f series.Flag) int {
	n := 0
	for _, g := range s.Flags.List() {
		if g&f != 0 {
			n++
		}
	}
	return n
}

func TestSameAnswer(t *testing.T) {
	y := newYard()
	n := len(y.at)
	base := plainStyle()
	want := load(t, files{"farm.toml": toml("*.csv", "", y.columns(base)), "a.csv": y.text(base, 0, n)})
	meter := get(t, want, "loop_volume")
	sum := 0.0
	for _, v := range kept(meter) {
		sum += v
	}
	require.InDelta(t, float64(14*288/96*12*60), sum, 1e-6, "the counter's truth: 42 draws of 12 rows of 60 L")
	require.Equal(t, 1, codes(want)[series.CodeCounterRollOver])
	require.Positive(t, countFlag(get(t, want, "loop_out_temp"), series.Sentinel))

	shuffled := func(text string) string {
		lines := strings.Split(strings.TrimSpace(text), "\n")
		r := rand.New(rand.NewPCG(3, 5))
		body := lines[1:]
		r.Shuffle(len(body), func(i, j int) { body[i], body[j] = body[j], body[i] })
		return strings.Join(append(lines[:1:1], body...), "\n") + "\n"
	}
	reversed := func(text string) string {
		lines := strings.Split(strings.TrimSpace(text), "\n")
		body := slices.Clone(lines[1:])
		slices.Reverse(body)
		return strings.Join(append(lines[:1:1], body...), "\n") + "\n"
	}
	with := func(change func(*style)) style {
		s := plainStyle()
		change(&s)
		return s
	}
	f := with(func(s *style) {
		s.outHead, s.out, s.places = "Out (°F)", func(c float64) float64 { return c*1.8 + 32 }, 2
	})
	m3h := with(func(s *style) { s.flowHead, s.flow = "Flow (m³/h)", func(l float64) float64 { return l * 0.06 } })
	comma := with(func(s *style) { s.sep, s.decimal = ";", "," })
	german := with(func(s *style) {
		s.sep, s.decimal, s.layout, s.on, s.off = ";", ",", "02.01.2006 15:04", "Ein", "Aus"
	})
	inUTC := with(func(s *style) { s.zone, s.layout = "UTC", "2006-01-02T15:04:05Z07:00" })
	tokyo := with(func(s *style) { s.zone = "Asia/Tokyo" })
	american := with(func(s *style) { s.layout = "01/02/2006 3:04 PM" })
	for name, c := range map[string]struct {
		s         style
		keys      string
		fs        files
		tolerance float64
	}{
		"split":                 {base, "", files{"a.csv": y.text(base, 0, 1000), "b.csv": y.text(base, 1000, 1001), "c.csv": y.text(base, 1001, n)}, 0},
		"names turn":            {base, "", files{"b.csv": y.text(base, 0, 1000), "a.csv": y.text(base, 1000, n)}, 0},
		"overlapping":           {base, "", files{"a.csv": y.text(base, 0, 2500), "b.csv": y.text(base, 1500, n)}, 0},
		"doubled":               {base, "", files{"a.csv": y.text(base, 0, n), "b.csv": y.text(base, 0, n)}, 0},
		"doubled inside":        {base, "", files{"a.csv": y.text(base, 0, n) + strings.Join(strings.Split(y.text(base, 0, n), "\n")[1:300], "\n") + "\n"}, 0},
		"shuffled":              {base, "", files{"a.csv": shuffled(y.text(base, 0, n))}, 0},
		"reversed":              {base, "", files{"a.csv": reversed(y.text(base, 0, n))}, 0},
		"reversed, overlapping": {base, "", files{"a.csv": reversed(y.text(base, 0, 2500)), "b.csv": reversed(y.text(base, 1500, n))}, 0},
		"fahrenheit":            {f, "", files{"a.csv": y.text(f, 0, n)}, 0.00278},
		"m3 an hour":            {m3h, "", files{"a.csv": y.text(m3h, 0, n)}, 1e-9},
		"decimal comma":         {comma, "", files{"a.csv": y.text(comma, 0, n)}, 0},
		"german":                {german, "", files{"a.csv": y.text(german, 0, n)}, 0},
		"utc":                   {inUTC, "", files{"a.csv": y.text(inUTC, 0, n)}, 0},
		"tokyo":                 {tokyo, "zone = \"Asia/Tokyo\"", files{"a.csv": y.text(tokyo, 0, n)}, 0},
		"american":              {american, "", files{"a.csv": y.text(american, 0, n)}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			c.fs["farm.toml"] = toml("*.csv", c.keys, y.columns(c.s))
			got := load(t, c.fs)
			sameKept(t, want, got, c.tolerance)
		})
	}
}

// The same folder gives the same record with any number of readers at work.
func TestLoadIsDeterministic(t *testing.T) {
	y := newYard()
	s := plainStyle()
	fs := files{"farm.toml": toml("*.csv", "", y.columns(s))}
	for k := range 6 {
		fs[fmt.Sprintf("m%d.csv", 5-k)] = y.text(s, k*600, k*600+900)
	}
	dir := write(t, fs)
	opt := options()
	opt.Workers = 1
	want, err := Load(dir, opt)
	require.NoError(t, err)
	for _, w := range []int{2, 3, 8} {
		opt.Workers = w
		got, err := Load(dir, opt)
		require.NoError(t, err)
		require.Equal(t, want.Series, got.Series)
		require.Equal(t, want.Problems, got.Problems)
		require.Equal(t, fmt.Sprint(want.Files), fmt.Sprint(got.Files))
	}
}
