package study

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

// headlineKeys are the seven figures of the first screen.
var headlineKeys = []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh", "ua_w_per_k", "recovery_fraction"}

// heatKeys of them are heats of metered streams.
var heatKeys = []string{"loop_kwh", "plant_kwh", "wash_kwh"}

// Figure is one headline figure of one farm beside its truth; nil is "not
// known".
type Figure struct {
	Value, Low, High *float64 `json:",omitempty"`
	// Bare is the truth, Seen the truth through the drawn errors, Linear the
	// full width 2·1.96·u by linear propagation.
	Bare, Seen, Linear float64
	Why                string `json:",omitempty"`
}

// Result is one farm of the study.
type Result struct {
	Farm    uint64
	Figures map[string]Figure
	// Draws and Logged are the Cramér-Rao half-widths of ln UA.
	Draws, Logged float64
	Identified    bool
}

// known turns "not known" into nil.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// number turns nil into NaN.
func number(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// holds: the interval holds the truth; an open end holds all beyond it.
func (f Figure) holds() bool {
	return f.stated() && !(f.Bare < number(f.Low)) && !(f.Bare > number(f.High))
}

// stated: the figure has a value or at least one end.
func (f Figure) stated() bool { return f.Value != nil || f.Low != nil || f.High != nil }

// compute puts a farm's files through the analysis.
func compute(t testing.TB, f *simfarm.Farm) *season.Season {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, f.Write(dir))
	load := ingest.DefaultLoadOptions()
	load.Now = time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	rec, err := ingest.Load(dir, load)
	require.NoError(t, err)
	s, err := season.Compute(rec, season.DefaultOptions())
	require.NoError(t, err)
	return s
}

// headline are the seven figures; heats and saving are those estimated for the
// whole period, for a simulated truth knows no gaps.
func headline(s *season.Season) map[string]season.Figure {
	out := map[string]season.Figure{}
	for _, list := range [][]season.Named{s.Heat.Whole, s.Saving.Whole, s.Loop.Figures, s.Plant.Figures} {
		for _, n := range list {
			out[n.Key] = n.Figure
		}
	}
	return out
}

// run is one farm, simulated, logged, analysed and held against its truth.
func run(t testing.TB, n uint64) Result {
	t.Helper()
	f, bound, err := simfarm.RunStudy(n)
	require.NoError(t, err)
	s := compute(t, f)
	r := Result{Farm: n, Figures: map[string]Figure{}, Draws: bound.Draws, Logged: bound.Logged, Identified: s.Loop.Identified}
	got := headline(s)
	bare, seen, linear := f.Truth().Headline(), f.Seen().Headline(), f.LinearWidths()
	for _, key := range headlineKeys {
		g := got[key]
		r.Figures[key] = Figure{known(g.Value), known(g.Low), known(g.High), bare[key], seen[key], linear[key], g.Why}
	}
	return r
}
