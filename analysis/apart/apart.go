// Package apart finds by how much the clock of the log that holds a pipe's flow
// and the clock of the log that holds its temperatures stand apart: a minute
// between them costs one to two percent of the heat. It holds the moments at
// which water began to flow against the answer of the pipe's probes, over many
// starts together: they fall anywhere between two readings, so that the answer
// is seen far more finely than the log's interval.
//
// For a start at s the probe reads, with x = t − s − δ − d,
//
//	T = a + b min(x, 0) + c R(x) + e max(x, 0),
//	R(x) = 1 − (m e^(−x/m) − τ e^(−x/τ))/(m − τ)  for x > 0, else 0
//
// a, b, c, e each start's own, τ the probe's time constant, m the time in which
// the flow flushes a mixing volume before the probe, d that for a plug before
// it (both litres over flow, so that they go with the flow and δ does not).
// δ, offset and drift, is what is looked for: the temperatures' clock less the
// flow's. Clock and lag share one delay. τ is held at the value by which the
// heat is corrected for lag, since the heat depends on the sum of both; the
// volume has a prior of litres.
//
// Flow: account's pairs → Find → season, which puts the flow on the clock of
// the temperatures and carries the interval in the budget.
package apart

import (
	"context"
	"fmt"
	"math"

	"yardheat/analysis/grid"
)

// Pair is a pipe's flow beside one of its probes.
type Pair struct {
	Runs  *grid.Runs
	Probe *grid.Stream
	// LagS is the probe's time constant; DeadL the litres of a plug before it.
	LagS, DeadL float64
}

// Options of the search.
type Options struct {
	// MostS: no offset larger than this is looked for; DriftSPerDay is the
	// standard deviation that a quartz clock may drift against another (20 ppm
	// are 1.7 s a day, makers' support pages).
	MostS, DriftSPerDay float64
	// QuietS: a start counts after the pipe stood for so long, LastsS: and where
	// it flows for so long.
	QuietS, LastsS float64
	// LeastK: a start counts where the probe moves by this.
	LeastK float64
	// SlowS: a log with a longer interval can't tell.
	SlowS float64
	// FewestStarts and FewestDays.
	FewestStarts, FewestDays int
	// MostStarts: of more, this many are taken, evenly over the period.
	MostStarts int
	// MixL is the middle of the mixing volume's prior, L, MixSpread the standard
	// deviation of its logarithm (common practice, no source).
	MixL, MixSpread float64
	// ShapeShare of the time in which the mixing volume is flushed is added to
	// the half-width: no pipe is a stirred vessel (assumed, no source).
	ShapeShare float64
	// FloorS: no offset is known closer than this half-width. CarryS is the
	// half-width at 95 % that is carried where nothing can be found.
	FloorS, CarryS float64
	// TrustS: an offset with a wider half-width is not used.
	TrustS float64
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are the project's.
func DefaultOptions() Options {
	return Options{MostS: 240, DriftSPerDay: 1.5, QuietS: 600, LastsS: 240, LeastK: 1, SlowS: 120,
		FewestStarts: 12, FewestDays: 8, MostStarts: 120, MixL: 1, MixSpread: 1.5, ShapeShare: 0.2, FloorS: 1, CarryS: 60, TrustS: 30}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"MostS", o.MostS, 10, 900}, {"DriftSPerDay", o.DriftSPerDay, 0.001, 60}, {"QuietS", o.QuietS, 60, 36000},
		{"LastsS", o.LastsS, 60, 3600}, {"LeastK", o.LeastK, 0.01, 50}, {"SlowS", o.SlowS, 1, 900},
		{"FewestStarts", float64(o.FewestStarts), 3, 10000}, {"FewestDays", float64(o.FewestDays), 3, 1000},
		{"MostStarts", float64(o.MostStarts), 10, 100000}, {"MixL", o.MixL, 0.01, 1000}, {"MixSpread", o.MixSpread, 0.01, 5},
		{"ShapeShare", o.ShapeShare, 0, 1}, {"FloorS", o.FloorS, 0, 60}, {"CarryS", o.CarryS, 0, 900}, {"TrustS", o.TrustS, 1, 900},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("apart: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// Offset is what was found.
type Offset struct {
	// S is by how much the temperatures' clock stands ahead of the flow's at
	// MidMS (by the flow's clock), HalfS the half-width of its 95 % interval.
	S, HalfS float64
	// DriftSPerDay by which it grows.
	DriftSPerDay float64
	MidMS        int64
	// Starts and Days behind it.
	Starts, Days int
	// Why, if not empty: it can't be told.
	Why string
}

// At is the offset at a time, s.
func (o Offset) At(ms int64) float64 { return o.S + o.DriftSPerDay*float64(ms-o.MidMS)/dayMS }

const dayMS = 86400_000

// event is the answer of one probe to one start.
type event struct {
	probe int
	// days from the middle of the starts; day the whole day.
	days float64
	day  int
	// readings by seconds after the start
	t, v        []float64
	lagS, deadL float64
	perLitreS   float64 // seconds that a litre takes
	startAtMS   int64
}

// Find finds the offset of the pairs of two logs; all pairs share it.
func Find(pairs []Pair, opt Options) Offset {
	if err := opt.Validate(); err != nil {
		return Offset{Why: err.Error()}
	}
	wide := window{-opt.MostS - 60, opt.MostS + opt.LastsS}
	f := &finder{opt: opt, pairs: pairs}
	f.collect(wide, 0)
	if why := f.few(); why != "" {
		return Offset{Why: why}
	}
	at := f.coarse()
	f.collect(window{-150, opt.LastsS}, at)
	if why := f.few(); why != "" {
		return Offset{Why: why}
	}
	return f.fine(at)
}

// window of readings, seconds about the start as the probe's clock has it.
type window struct{ from, to float64 }

type finder struct {
	opt    Options
	pairs  []Pair
	events []event
	midMS  int64
	sigma  []float64 // scatter by probe, K
	slow   bool
}

// collect takes the readings about every start that counts, shifted by atS.
func (f *finder) collect(w window, atS float64) {
	f.events = f.events[:0]
	f.slow = true
	var first, last int64 = math.MaxInt64, math.MinInt64
	for p, pair := range f.pairs {
		interval := math.Max(pair.Probe.UsualS, 1)
		if interval > f.opt.SlowS || pair.Runs.Flow.UsualS > f.opt.SlowS {
			continue
		}
		f.slow = false
		from, to := math.Min(w.from, -3*interval), math.Max(w.to, 5*interval)
		starts := pair.Runs.Starts()
		every := math.Max(1, float64(len(starts))/float64(f.opt.MostStarts))
		for k := 0.0; int(k) < len(starts); k += every {
			s := starts[int(k)]
			if e, ok := f.event(p, s, atS, window{from, to}); ok {
				f.events = append(f.events, e)
				first, last = min(first, s.AtMS), max(last, s.AtMS)
			}
		}
	}
	f.midMS = first + (last-first)/2
	for i := range f.events {
		e := &f.events[i]
		e.days = float64(e.startAtMS-f.midMS) / dayMS
		e.day = int(math.Floor(float64(e.startAtMS) / dayMS))
	}
}

// event reads one start; ok is false where it can't tell.
func (f *finder) event(p int, s grid.Start, atS float64, w window) (event, bool) {
	pair := f.pairs[p]
	lasts, quiet := float64(s.EndMS-s.AtMS)/1000, float64(s.QuietMS)/1000
	if quiet < f.opt.QuietS || lasts < f.opt.LastsS || !(s.LMin > 0) {
		return event{}, false
	}
	e := event{probe: p, lagS: pair.LagS, deadL: pair.DeadL, perLitreS: 60 / s.LMin, startAtMS: s.AtMS}
	// A reading after the water stopped, or soon after it stopped the time
	// before, is of another tale.
	const soonS, edgeS = 60, 10
	fromS, toS := atS+math.Max(w.from, soonS-quiet), atS+math.Min(w.to, lasts-edgeS)
	at, v := pair.Probe.Read(s.AtMS+int64(fromS*1000), s.AtMS+int64(toS*1000))
	for i := range at {
		e.t, e.v = append(e.t, float64(at[i]-s.AtMS)/1000), append(e.v, v[i])
	}
	n := len(e.v)
	if n < 7 || math.Abs(e.v[n-1]-e.v[0]) < f.opt.LeastK {
		return event{}, false
	}
	for i := 1; i < n; i++ { // a gap within tells nothing
		if e.t[i]-e.t[i-1] > 2.5*math.Max(pair.Probe.UsualS, 1) {
			return event{}, false
		}
	}
	return e, true
}

// few says why too little is there.
func (f *finder) few() string {
	days := map[int]bool{}
	for _, e := range f.events {
		days[e.day] = true
	}
	switch {
	case f.slow:
		return fmt.Sprintf("a log slower than %g s can't tell", f.opt.SlowS)
	case len(f.events) < f.opt.FewestStarts || len(days) < f.opt.FewestDays:
		return fmt.Sprintf("only %d starts on %d days after which a probe moved by %g K; want %d on %d",
			len(f.events), len(days), f.opt.LeastK, f.opt.FewestStarts, f.opt.FewestDays)
	}
	return ""
}
