package ingest

import (
	"math"
	"slices"
	"strings"

	"yardheat/ingest/series"
)

// swing is how far a series moved within one stretch of time.
type swing struct {
	low, high float64
	n         int
}

// swings gives a series' swings over stretches of some hours from the record's
// start.
func swings(s *series.Series, fromMS, lenMS int64) []swing {
	if len(s.T) == 0 {
		return nil
	}
	out := make([]swing, max(0, (s.T[len(s.T)-1]-fromMS)/lenMS+1))
	for i := range out {
		out[i] = swing{math.Inf(1), math.Inf(-1), 0}
	}
	for i, v := range s.V {
		if s.Flags.At(i) != 0 {
			continue
		}
		if k := (s.T[i] - fromMS) / lenMS; k >= 0 && k < int64(len(out)) {
			w := &out[k]
			w.low, w.high, w.n = min(w.low, v), max(w.high, v), w.n+1
		}
	}
	return out
}

// Bounds within which a weakened signal is the rule and not an accident.
const (
	fewStretches = 6
	weakRule     = 0.5 // of the stretches in which the other probe moved
	fewInStretch = 6   // readings
)

// weakSignals lists probes that hardly move while another of the same place
// does: one that hangs beside its pipe, or is wrapped up.
func (l *loader) weakSignals() {
	lenMS := int64(l.opt.Flags.WeakH * 3.6e6)
	first := int64(math.MaxInt64)
	for _, s := range l.rec.Series {
		if len(s.T) > 0 {
			first = min(first, s.T[0])
		}
	}
	for i, s := range l.rec.Series {
		info, _ := series.Lookup(s.Quantity)
		if info.Class != series.Temperature {
			continue
		}
		for k, o := range l.rec.Series {
			if k == i || !samePlace(s, o) {
				continue
			}
			if weak, moved := l.weak(swings(s, first, lenMS), swings(o, first, lenMS)); moved >= fewStretches && float64(weak) >= weakRule*float64(moved) {
				l.problem(series.CodeSignalWeak, series.Doubt, l.fileOf(i), "", "%q moves by less than %g %% of what %q does in %d of the %d stretches of %g h in which that moved by %g K or more: see whether the probe sits in its place",
					s.Column, 100*l.opt.Flags.WeakShare, o.Column, weak, moved, l.opt.Flags.WeakH, l.opt.Flags.WeakMoveK)
				break
			}
		}
	}
}

func (l *loader) weak(own, other []swing) (weak, moved int) {
	for k := range min(len(own), len(other)) {
		a, b := own[k], other[k]
		if a.n < fewInStretch || b.n < fewInStretch || b.high-b.low < l.opt.Flags.WeakMoveK {
			continue
		}
		moved++
		if a.high-a.low < l.opt.Flags.WeakShare*(b.high-b.low) {
			weak++
		}
	}
	return weak, moved
}

// stampPlaces holds rates against the counter of the same log: where the rate's
// stamps stand at the start of the interval each rate belongs to the difference
// after the one beside it.
func (l *loader) stampPlaces() {
	told := map[int]bool{}
	for i, s := range l.rec.Series {
		info, _ := series.Lookup(s.Quantity)
		perMS := 1.0 / 60000 // L/min over ms → L
		if info.Class == series.Power {
			perMS = 1 / 3.6e6 // kW over ms → kWh
		}
		if s.Kind != series.Mean || info.Class != series.Flow && info.Class != series.Power || told[s.Log] {
			continue
		}
		counter := l.counterBeside(s)
		if counter == nil {
			continue
		}
		now, after, n := misfits(s, counter, perMS)
		if n < fewPairs || !(now > l.opt.Flags.StampRatio*after) {
			continue
		}
		told[s.Log] = true
		l.problem(series.CodeStampPlace, series.Doubt, l.fileOf(i), "", "%q agrees %.3g times better with the counter %q if its stamps stand at the start of the interval and the counter is read at its stamps (%d intervals): give the rate a [[log]] of its own with stamp = \"start\", and the counter one without stamp (farm.toml, line %d)",
			s.Column, now/max(after, now*1e-3), counter.Column, n, l.probes[i].log.Farm.Line)
	}
}

// counterBeside is the running counter of what s is the rate of, in the same
// log.
func (l *loader) counterBeside(s *series.Series) *series.Series {
	q := string(s.Quantity)
	for _, p := range [...][2]string{{"_flow", "_volume"}, {"_power", "_energy"}} {
		if stem, ok := strings.CutSuffix(q, p[0]); ok {
			q = stem + p[1]
			break
		}
	}
	for _, c := range l.rec.Series {
		if string(c.Quantity) == q && c.Place == s.Place && c.Log == s.Log && c.Counter && c.Kind == series.Amount {
			return c
		}
	}
	return nil
}

// misfits add up how far the amounts of a rate lie from the counter's
// differences over the interval that the rate is taken to stand for and over
// the one after, where the counter was read at all their ends and either
// moved.
func misfits(rate, counter *series.Series, perMS float64) (now, after float64, n int) {
	over := func(k int, from, to int64) (float64, bool) {
		if k < 0 || k >= len(counter.T) || counter.Flags.At(k) != 0 || counter.From[k] != from || counter.T[k] != to {
			return 0, false
		}
		return counter.V[k], true
	}
	for i, v := range rate.V {
		if rate.Flags.At(i) != 0 {
			continue
		}
		from, to := rate.From[i], rate.T[i]
		k, ok := slices.BinarySearch(counter.T, to)
		if !ok {
			continue
		}
		dt := to - from
		a, okA := over(k, from, to)
		b, okB := over(k+1, to, to+dt)
		amount := v * perMS * float64(dt)
		if !okA || !okB || amount == 0 && a == 0 && b == 0 {
			continue
		}
		now, after, n = now+math.Abs(amount-a), after+math.Abs(amount-b), n+1
	}
	return now, after, n
}
