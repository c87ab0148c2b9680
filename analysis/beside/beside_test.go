package beside

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
	"yardheat/ingest"
)

// of is a side of a figure whose errors are given.
func of(x, half float64, list ...season.Doubt) side {
	return side{figure: doubt.Make(x, x-half, x+half, "kWh/d", doubt.Metered, 10, 1, ""), logged: true, doubts: list}
}

func probe(name string, moves float64) season.Doubt {
	return season.Doubt{Source: name, Moves: moves, Shared: true, Lasting: true}
}

// row compares two sides.
func row(t *testing.T, same bool, drift float64, k kind, a, b side) Row {
	t.Helper()
	m := newModel(same, drift)
	rows := []Row{{First: a.figure, Second: b.figure}}
	m.add(0, k, a, b)
	require.NoError(t, m.fill(rows, doubt.DefaultOptions()))
	return rows[0]
}

var plain = kind{of: "x", ratio: true}

// halfOf is good to 1 or 2 %: the trials' ends scatter by that.
func halfOf(f doubt.Figure) float64 { return (f.High - f.Low) / 2 }

// One probe alone moves the first figure by 2 and the second by 3 a standard
// uncertainty: of the same farm their difference moves by 1, of two by √13. By hand,
// JCGM 100:2008, equations 10 and 16.
func TestSharedErrorsCancel(t *testing.T) {
	a, b := of(100, 2*z95, probe("out", 2)), of(110, 3*z95, probe("out", 3))
	same := row(t, true, 0, plain, a, b)
	assert.InDelta(t, 10, same.Difference.Value, 1e-12)
	assert.InEpsilon(t, z95, halfOf(same.Difference), 0.025)
	assert.Equal(t, Apart, same.Verdict)
	other := row(t, false, 0, plain, a, b)
	assert.InEpsilon(t, z95*math.Sqrt(13), halfOf(other.Difference), 0.025)
	require.Len(t, other.Parts, 2)
	assert.InDelta(t, 9.0/13, other.Parts[0].Share, 1e-6)
	assert.InDelta(t, 1.1, other.Ratio.Value, 1e-12)
	// Slopes against each other add up.
	against := row(t, true, 0, plain, a, of(110, 3*z95, probe("out", -3)))
	assert.InEpsilon(t, 5*z95, halfOf(against.Difference), 0.025)
}

// What is of the days is independent, and the same name makes it no more alike.
func TestRandomErrorsDoNotCancel(t *testing.T) {
	d := season.Doubt{Source: "which days happened (loop)", Moves: 2}
	r := row(t, true, 0, plain, of(100, 2*z95, d), of(103, 2*z95, d))
	assert.InEpsilon(t, 2*math.Sqrt2*z95, halfOf(r.Difference), 0.025)
	assert.Equal(t, NotApart, r.Verdict)
}

// What a season found of itself counts by the wider of the same and not the same.
func TestFoundErrorsTakeTheWider(t *testing.T) {
	found := func(moves float64) season.Doubt { return season.Doubt{Source: "clock", Moves: moves, Shared: true} }
	r := row(t, true, 0, plain, of(100, 2*z95, found(2)), of(103, 2*z95, found(2)))
	assert.InEpsilon(t, 2*math.Sqrt2*z95, halfOf(r.Difference), 0.025)
	r = row(t, true, 0, plain, of(100, 2*z95, found(2)), of(103, 2*z95, found(-2)))
	assert.InEpsilon(t, 4*z95, halfOf(r.Difference), 0.025)
}

// A part of an instrument's error is new in each period, none of a stated figure's.
func TestDrift(t *testing.T) {
	meter := probe("meter", 2)
	meter.Instrument = true
	r := row(t, true, 0.1, plain, of(100, 2*z95, meter), of(103, 2*z95, meter))
	assert.InEpsilon(t, 0.2*math.Sqrt2*z95, halfOf(r.Difference), 0.025)
	r = row(t, true, 0.1, plain, of(100, 2*z95, probe("efficiency", 2)), of(103, 2*z95, probe("efficiency", 2)))
	assert.InDelta(t, 0, halfOf(r.Difference), 1e-9)
}

// A figure without a budget has each side of its own interval.
func TestOwnIntervalOfTheDays(t *testing.T) {
	b := side{figure: doubt.Make(5, 4, 9, "h", doubt.Fitted, 10, 1, ""), logged: true}
	a := side{figure: doubt.Make(2, 2, 2, "h", doubt.Fitted, 10, 1, ""), logged: true}
	r := row(t, true, 0.1, plain, a, b)
	assert.InDelta(t, 2, r.Difference.Low, 0.05)
	assert.InDelta(t, 7, r.Difference.High, 0.1)
	// Of one with a budget that is less than its interval, the rest is independent.
	r = row(t, true, 0, plain, of(10, 5*z95, probe("out", 3)), of(11, 5*z95, probe("out", 3)))
	assert.InEpsilon(t, 4*math.Sqrt2*z95, halfOf(r.Difference), 0.025)
}

func TestCoefficientsMultiply(t *testing.T) {
	k := kind{of: "ua", ratio: true, log: true}
	r := row(t, false, 0, k, of(1000, 100*z95, probe("out", 100)), of(800, 1e-6, probe("bed", 1e-9)))
	assert.InDelta(t, 0.8, r.Ratio.Value, 1e-12)
	assert.InDelta(t, 0.8*math.Exp(0.1*z95), r.Ratio.High, 0.01)
	assert.InDelta(t, 0.8*math.Exp(-0.1*z95), r.Ratio.Low, 0.01)
}

func TestNothingIsMadeUp(t *testing.T) {
	bound := side{figure: doubt.Make(math.NaN(), 850, math.NaN(), "W/K", doubt.Fitted, 10, 1, "only soaked water"), logged: true}
	r := row(t, true, 0, plain, of(1000, 50), bound)
	assert.Equal(t, NotKnown, r.Verdict)
	assert.Contains(t, r.Difference.Why, "one side")
	assert.Equal(t, doubt.NotKnown, r.Difference.Shown)
	r = row(t, true, 0, plain, side{figure: missing("kWh/d", "it is not logged")}, of(3, 1))
	assert.Equal(t, "first: it is not logged", r.Difference.Why)
	below := row(t, false, 0, plain, of(1, 2, probe("a", 1)), of(5, 2, probe("a", 1)))
	assert.NotEmpty(t, below.Ratio.Why, "a ratio to what may be nothing")
	temperature := row(t, false, 0, kind{of: "mean_c"}, of(40, 1, probe("a", 0.5)), of(50, 1, probe("a", 0.5)))
	assert.NotEmpty(t, temperature.Ratio.Why)
}

func TestOverlapIsRefused(t *testing.T) {
	at := func(from, to int64, sha string) *season.Season {
		s := &season.Season{}
		s.Period.Start, s.Period.End = from, to
		s.Files = []ingest.File{{Name: sha + ".csv", SHA256: sha}}
		return s
	}
	_, err := Compare(at(0, 100, ""), at(99, 200, ""), Options{SameFarm: true, Doubt: doubt.DefaultOptions()})
	require.ErrorIs(t, err, ErrOverlap)
	_, err = Compare(at(0, 100, ""), at(100, 200, ""), Options{SameFarm: true, Doubt: doubt.DefaultOptions()})
	require.NoError(t, err)
	two := Options{Doubt: doubt.DefaultOptions()}
	_, err = Compare(at(0, 100, "a"), at(50, 200, "a"), two)
	require.ErrorIs(t, err, ErrSameFiles)
	_, err = Compare(at(0, 100, "a"), at(50, 200, "b"), two)
	require.NoError(t, err)
	o := DefaultOptions()
	o.Drift = 2
	require.Error(t, o.Validate())
	o = DefaultOptions()
	o.LeastShare = -1
	require.Error(t, o.Validate())
}

// A period of which a part was not seen: the mean over the hours seen is carried to
// the whole, and what that is known less well by widens it. By hand: 80 kWh in 80 %
// of the time, 90 estimated for the whole with ± 13 in place of ± 4.5.
func TestTheTimeNotSeenWidens(t *testing.T) {
	s := &season.Season{Cycles: []season.CycleRow{{End: 10 * msPerDay}}}
	make3 := func(x, half, coverage float64) season.Figure {
		return doubt.Make(x, x-half, x+half, "kWh", doubt.Metered, 1, coverage, "")
	}
	s.Heat.Seen = []season.Named{{Key: "loop_kwh", Figure: make3(80, 4, 0.8)}}
	s.Heat.Whole = []season.Named{{Key: "loop_kwh", Figure: make3(90, 13, 0.8)}}
	a := take(s, kinds[0], 0.5)
	assert.InDelta(t, 9, a.figure.Value, 1e-12)
	assert.InDelta(t, 1.3, halfOf(a.figure), 1e-12)
	w, _ := overWhole(s, make3(5, 0.25, 0.8))
	assert.InDelta(t, 4.5, w.Value, 1e-12)
	assert.InDelta(t, math.Sqrt(0.225*0.225+(13*13-4.5*4.5)*0.05*0.05), halfOf(w), 1e-12)
	assert.Equal(t, "too little of the period was seen", take(s, kinds[0], 0.9).figure.Why)
}
