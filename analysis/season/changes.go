package season

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"yardheat/analysis/change"
	"yardheat/analysis/doubt"
	"yardheat/analysis/loop"
	"yardheat/analysis/loop/store"
	"yardheat/analysis/plant"
	"yardheat/analysis/rank"
	"yardheat/ingest/work"
)

// ChangeOptions say which changes are named.
type ChangeOptions struct {
	// FalseAlarms: in how many of all steady seasons any change may be named,
	// over all quantities together; each gets its part.
	FalseAlarms float64
	// The smallest changes worth naming: shares of the coefficient, of the
	// supply, of the plate's effectiveness, of the heat caught per kWh and of its flow;
	// K of the approach; of a draw's effectiveness, which is a share itself (our
	// choice, no source).
	LeastUA, LeastSupply, LeastApproachK, LeastDraw, LeastPlate, LeastCaught, LeastFlow float64
	// EventDays: events so near the interval of the date stand beside a change.
	EventDays float64
	// Find is how each series is searched; its FalseAlarms, Least and FloorSD
	// are set by quantity.
	Find change.Options
}

func changeOptions() ChangeOptions {
	return ChangeOptions{FalseAlarms: 0.05, LeastUA: 0.08, LeastSupply: 0.08, LeastApproachK: 0.5, LeastDraw: 0.04, LeastPlate: 0.08, LeastCaught: 0.10, LeastFlow: 0.08,
		EventDays: 3, Find: change.DefaultOptions()}
}

func (o ChangeOptions) validate() error {
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"FalseAlarms", o.FalseAlarms, 1e-4, 0.5}, {"LeastUA", o.LeastUA, 0, 1}, {"LeastSupply", o.LeastSupply, 0, 1}, {"LeastApproachK", o.LeastApproachK, 0, 20},
		{"LeastDraw", o.LeastDraw, 0, 1}, {"LeastPlate", o.LeastPlate, 0, 1}, {"LeastCaught", o.LeastCaught, 0, 1}, {"LeastFlow", o.LeastFlow, 0, 1},
		{"EventDays", o.EventDays, 0, 60},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("season: option Change.%s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return o.Find.Validate()
}

// watched is one quantity in which changes are looked for.
type watched struct {
	key, unit string
	basis     doubt.Basis
	// share: the values are logarithms, a step is a factor.
	share bool
	// least and floor in the unit of the values.
	least, floor float64
	series       change.Series
	// sharedHalf is the half-width at 95 % of the sensors' errors that all
	// values have in common: a part of itself with share, else in the unit.
	sharedHalf float64
	// apart, if not nil, is what those errors do to the difference of both sides
	// of a day, half-width in the unit of the values; nil: nothing.
	apart func(day float64) float64
	// anew, if not nil, finds the levels and the step anew between the days of
	// the changes before and after this one; false: it could not.
	anew func(from float64, c *change.Change, to float64) bool
	into *[]Change
}

func (w *watched) add(day, end, value, sd float64, beside ...float64) {
	s := &w.series
	if s.Beside == nil {
		s.Beside = make([][]float64, len(beside))
	}
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return
	}
	s.Day, s.End, s.Value, s.SD = append(s.Day, day), append(s.End, end), append(s.Value, value), append(s.SD, sd)
	for i, v := range beside {
		s.Beside[i] = append(s.Beside[i], v)
	}
}

// changes looks for the days on which loop or plate changed.
func (b *builder) changes(l *loopFit, r *recovery) {
	var list []*watched
	if l.fit != nil {
		list = b.watchLoop(l)
	}
	if r.why == "" {
		list = append(list, b.watchPlate(r)...)
	}
	list = slices.DeleteFunc(list, func(w *watched) bool { return len(w.series.Day) < 2*b.opt.Change.Find.SideValues })
	found := make([]change.Result, len(list))
	var wait work.Group
	defer wait.Settle()
	for i, w := range list {
		wait.Go(func() {
			o := b.opt.Change.Find
			o.FalseAlarms, o.Least, o.FloorSD = b.opt.Change.FalseAlarms/float64(len(list)), w.least, w.floor
			// The series are made here and the options were validated.
			found[i], _ = change.Find(w.series, o)
		})
	}
	wait.Wait()
	for i, w := range list {
		for k := range found[i].Changes {
			c := &found[i].Changes[k]
			if w.anew != nil {
				from, to := math.Inf(-1), math.Inf(1)
				if k > 0 {
					from = found[i].Changes[k-1].Day.Value
				}
				if k+1 < len(found[i].Changes) {
					to = found[i].Changes[k+1].Day.Value
				}
				w.anew(from, c, to)
			}
			*w.into = append(*w.into, b.changeOf(w, *c))
		}
	}
	for _, into := range []*[]Change{&b.s.Loop.Changes, &b.s.Plant.Changes} {
		slices.SortStableFunc(*into, func(x, y Change) int { return cmp.Compare(x.At, y.At) })
	}
}

// vagueDraw: a draw that tells ln UA no more closely (one standard deviation)
// says nothing of a change of some tenths (our choice, no source).
const vagueDraw = 0.1

// recoverH: extraction before a draw fades from what counts as like extraction
// with so many hours, the middle of those that the loop's fit tries.
const recoverH = 8

// vagueSupply: the same of the supply, which most draws tell less closely (our
// choice, no source).
const vagueSupply = 0.4

// longestSlabH: a draw tells of no longer time (our choice).
const longestSlabH = 24

// watchLoop gives ln UA by draw, where draws tell it, or the supply's where the
// bed has a store; approach; and, where UA is not told, the draws' effectiveness.
func (b *builder) watchLoop(l *loopFit) []*watched {
	o := b.opt.Change
	into := &b.s.Loop.Changes
	ua := &watched{key: "ua_w_per_k", unit: "W/K", basis: doubt.Fitted, share: true, least: math.Log1p(o.LeastUA), floor: 0.01, into: into}
	near := &watched{key: "approach_k", unit: "K", basis: doubt.Metered, least: o.LeastApproachK, floor: 0.05, into: into,
		sharedHalf: z95 * math.Hypot(b.sd(l.bed), b.sd(l.out))}
	supply := &watched{key: "supply_w_per_k", unit: "W/K", basis: doubt.Fitted, share: true, least: math.Log1p(o.LeastSupply), floor: 0.01, into: into}
	eff := &watched{key: "effectiveness", unit: "1", basis: doubt.Fitted, least: o.LeastDraw, floor: 0.005, into: into, sharedHalf: b.drawEffectHalf(l)}
	slabH := 0.0
	if l.chosen() {
		slabH = min(l.store.SlabRatio/l.store.SupplyPerH, longestSlabH)
	}
	// Litres taken shortly before, and the end and bed of the last draw. What a
	// change would move itself (the bed's probe, the heat) is not put beside it.
	before, end, bed := 0.0, math.NaN(), math.NaN()
	for i, d := range l.fit.Draws {
		day, to, stoodH := d.FromS/86400, d.ToS/86400, (d.FromS-end)/3600
		if !math.IsNaN(stoodH) {
			before *= math.Exp(-max(0, stoodH) / recoverH)
		}
		if l.byDraw != nil && l.byDraw[i].SD < vagueDraw {
			// How far a draw reaches says which water tells UA, and what of the model
			// is a little off in it.
			ua.add(day, to, l.byDraw[i].LnUA, l.byDraw[i].SD, d.LoopVolumes, d.LoopVolumes*d.LoopVolumes)
		}
		if l.supplyByDraw != nil && l.supplyByDraw[i].SD < vagueSupply {
			// A draw tells of the hours in which the slab recovered. What stood before
			// it, and for how long, says how far: there the model may be a little off.
			supply.add(day-slabH/24, to, l.supplyByDraw[i].LnUA, l.supplyByDraw[i].SD, stoodH, before, d.LoopVolumes)
		}
		near.add(day, to, d.ApproachK, 0, stoodH, before, d.BedC-bed)
		eff.add(day, to, d.Effectiveness, 0, d.LoopVolumes, d.LoopVolumes*d.LoopVolumes, d.InC, before)
		before += d.Litres
		end, bed = d.ToS, d.BedC
	}
	if l.byDraw != nil && len(l.ua) > 0 {
		shared := l.ua[:len(l.ua)-1] // the last is which days happened
		ua.sharedHalf = b.sharedHalf(func(e []float64) float64 { return total(shared, e) })
		ua.anew = func(from float64, c *change.Change, to float64) bool { return l.anew(from, c, to) }
		return []*watched{ua, near}
	}
	if l.supplyByDraw != nil && len(l.supply) > 0 {
		shared := l.supply[:len(l.supply)-1] // the last is which days happened
		supply.sharedHalf = b.sharedHalf(func(e []float64) float64 { return total(shared, e) })
		supply.anew = func(from float64, c *change.Change, to float64) bool { return b.supplyAnew(l, from, c, to) }
		return []*watched{supply, near, eff}
	}
	return []*watched{near, eff}
}

// supplyAnew fits the bed with a store to each side of a change by itself, as
// anew does the uniform one.
func (b *builder) supplyAnew(l *loopFit, from float64, c *change.Change, to float64) bool {
	o, s := l.options, b.opt.Store
	o.MinBlockDays = anewBlockDays
	side := func(a, z float64) *store.Fit {
		in := l.input.Between(a*86400, z*86400)
		base, err := loop.Run(in, o)
		if err != nil || base.Rows == 0 {
			return nil
		}
		f, err := store.Run(store.Input{Input: in}, base, o, s)
		if err != nil || f.Loop == nil || math.IsNaN(f.Supply.RandomSD) {
			return nil
		}
		return f
	}
	before, after := side(from, c.Day.Value), side(c.Day.Value, to)
	if before == nil || after == nil {
		return false
	}
	half := func(f *store.Fit) float64 { return doubt.StudentT(0.975, f.Loop.DF) * f.Supply.DaysSD }
	setStep(c, math.Log(before.Supply.Value), half(before), math.Log(after.Supply.Value), half(after), apartBy(before.Loop.Sources, after.Loop.Sources, before.Supply.Ln, after.Supply.Ln))
	return true
}

// anewBlockDays is the length of the blocks of a fit to one side of a change,
// which may hold 20 days only; the draws' UA by itself is hardly related.
const anewBlockDays = 2

// anew fits the loop to each side by itself: one fit to both takes the middle
// of two coefficients, and bends what is fitted beside it. The step's interval
// is that of the days on both sides, and of what a shared error does to one side
// more than to the other.
func (l *loopFit) anew(from float64, c *change.Change, to float64) bool {
	o := l.options
	o.MinBlockDays = anewBlockDays
	side := func(a, b float64) (*loop.Fit, float64, bool) {
		f, err := loop.Run(l.input.Between(a*86400, b*86400), o)
		if err != nil || math.IsNaN(f.RandomSD) || len(f.Blocks) < o.FewestBlocks {
			return nil, nan, false
		}
		return f, doubt.StudentT(0.975, f.DF) * f.RandomSD, true
	}
	before, halfB, okB := side(from, c.Day.Value)
	after, halfA, okA := side(c.Day.Value, to)
	if !okB || !okA {
		return false
	}
	ln := func(s loop.Source) float64 { return s.LnUA }
	setStep(c, math.Log(before.UAWPerK), halfB, math.Log(after.UAWPerK), halfA, apartBy(before.Sources, after.Sources, ln, ln))
	return true
}

// apartBy is what shared errors do to one side of a change more than to the
// other, half-width at 95 %.
func apartBy(before, after []loop.Source, lnB, lnA func(loop.Source) float64) float64 {
	shared := 0.0
	for _, s := range before {
		for _, q := range after {
			if s.Name == q.Name && s.Name != loop.SourceLag {
				shared = math.Hypot(shared, z95*(lnA(q)-lnB(s))*s.SD)
			}
		}
	}
	return shared
}

// setStep sets a change's levels and step from both sides' values with their
// half-widths, and what the sides' shared errors differ by.
func setStep(c *change.Change, before, halfB, after, halfA, shared float64) {
	around := func(v, h float64) change.Estimate { return change.Estimate{Value: v, Low: v - h, High: v + h} }
	c.Size = around(after-before, math.Hypot(math.Hypot(halfA, halfB), shared))
	c.Before, c.After = around(before, halfB), around(after, halfA)
}

// drawEffectHalf is the shared half-width of a draw's effectiveness: the
// probes' errors over the drive.
func (b *builder) drawEffectHalf(l *loopFit) float64 {
	drive, n := 0.0, 0.0
	for _, d := range l.fit.Draws {
		if v := d.BedC - d.InC; !math.IsNaN(v) {
			drive, n = drive+v, n+1
		}
	}
	return z95 * math.Hypot(b.sd(l.in), b.sd(l.out)) / max(1, drive/max(1, n))
}

// watchPlate gives the plate's effectiveness, the heat caught per compressor
// kWh and the plate's flow, by cycle.
func (b *builder) watchPlate(r *recovery) []*watched {
	o := b.opt.Change
	into := &b.s.Plant.Changes
	eff := &watched{key: "plate_effectiveness", unit: "1", basis: doubt.Metered, share: true, least: math.Log1p(o.LeastPlate), floor: 0.01, into: into}
	caught := &watched{key: "caught_per_kwh", unit: "1", basis: doubt.Metered, share: true, least: math.Log1p(o.LeastCaught), floor: 0.02, into: into}
	flow := &watched{key: "plate_flow_l_min", unit: "L/min", basis: doubt.Metered, share: true, least: math.Log1p(o.LeastFlow), floor: 0.02, into: into}
	flow.sharedHalf = z95 * b.sd(b.acc.PlateFlow.Sources)
	t := &r.terms
	usualL, usualKWh := b.usual(r)
	for k, i := range r.cycles {
		row := b.acc.Plate.Rows[i]
		if row.Litres < littleShare*usualL {
			continue
		}
		day, end := b.seconds(b.acc.Cycles[i].Start)/86400, b.seconds(b.acc.Cycles[i].End)/86400
		flow.add(day, end, math.Log(b.fullFlow(i)), 0)
		if t.Drive != nil && t.Drive[0].Value(k) > 0 {
			eff.add(day, end, math.Log(t.Rise[0].Value(k)/t.Drive[0].Value(k)), 0)
		}
		if t.Compressor != nil && t.Compressor[0].Value(k) > littleShare*usualKWh {
			caught.add(day, end, math.Log(t.Caught[0].Value(k)/t.Compressor[0].Value(k)), 0, row.ColdC(), math.Log(t.Compressor[0].Value(k)))
		}
	}
	var list []*watched
	if t.Drive != nil {
		eff.sharedHalf = b.sharedHalf(logRatio(t.Rise, t.Drive))
		eff.apart = r.apart(func(t plant.Terms) (above, below []doubt.Part) { return t.Rise, t.Drive })
		list = append(list, eff)
	}
	if t.Compressor != nil {
		caught.sharedHalf = b.sharedHalf(logRatio(t.Caught, t.Compressor))
		caught.apart = r.apart(func(t plant.Terms) (above, below []doubt.Part) { return t.Caught, t.Compressor })
		list = append(list, caught)
	}
	if b.acc.PlateFlow.From != "state" {
		list = append(list, flow)
	}
	return list
}

// fullFlow is the flow that the plate's pump makes in a cycle, L/min: the second
// largest of the cells with flow before and after them (the largest may be a
// spike). Where a thermostat lets the pump run for seconds at a time, whole hours
// of cells hold a part of its flow, so no middle of them tells it. NaN: it never
// ran for four cells.
func (b *builder) fullFlow(cycle int) float64 {
	c, q := b.acc.Cycles[cycle], b.acc.PlateFlow.Values
	var v []float64
	for i := max(c.A, 1); i < min(c.B, len(q)-1); i++ {
		if q[i-1] > 0 && q[i] > 0 && q[i+1] > 0 {
			v = append(v, q[i])
		}
	}
	if len(v) < 2 {
		return nan
	}
	return rank.Nth(v, len(v)-2)
}

// littleShare: a cycle with less than this part of the usual litres or kWh says
// little of the plate (our choice, no source).
const littleShare = 0.25

// usual are the medians of litres and compressor kWh over the cycles used.
func (b *builder) usual(r *recovery) (litres, kWh float64) {
	var l, e []float64
	for k, i := range r.cycles {
		l = append(l, b.acc.Plate.Rows[i].Litres)
		if r.terms.Compressor != nil {
			e = append(e, r.terms.Compressor[0].Value(k))
		}
	}
	return medianOf(l), medianOf(e)
}

func medianOf(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	return x[len(x)/2]
}

func logRatio(above, below []doubt.Part) func(e []float64) float64 {
	sum := func(parts []doubt.Part, e []float64) float64 {
		s := 0.0
		for _, p := range parts {
			s += p.Census(e)
		}
		return s
	}
	return func(e []float64) float64 { return math.Log(sum(above, e) / sum(below, e)) }
}

// apart is what the sensors' errors do to the ratio of a sum after a day over
// that before it: a probe that reads high by a tenth of the rise hides a part of
// its fall.
func (r *recovery) apart(of func(t plant.Terms) (above, below []doubt.Part)) func(day float64) float64 {
	return func(day float64) float64 {
		var sides [2][]int
		for k, i := range r.cycles {
			side := 0
			if r.b.seconds(r.b.acc.Cycles[i].Start)/86400 >= day {
				side = 1
			}
			sides[side] = append(sides[side], k)
		}
		before, after := logRatio(of(r.terms.Pick(sides[0]))), logRatio(of(r.terms.Pick(sides[1])))
		return r.b.sharedHalf(func(e []float64) float64 { return after(e) - before(e) })
	}
}

// sharedHalf is the half-width at 95 % that the sources' errors give f, by
// linear propagation, one source at a time.
func (b *builder) sharedHalf(f func(e []float64) float64) float64 {
	e := make([]float64, len(b.reg.sources))
	base, square := f(e), 0.0
	for i, s := range b.reg.sources {
		if u := s.U(); u > 0 {
			e[i] = u
			d := f(e) - base
			e[i] = 0
			if !math.IsNaN(d) {
				square += d * d
			}
		}
	}
	return z95 * math.Sqrt(square)
}

// changeOf turns a step found into what is printed. The levels carry the
// sensors' shared errors, the step only what these do to one side more than to
// the other.
func (b *builder) changeOf(w *watched, c change.Change) Change {
	at := func(day float64) int64 { return b.ms(day * 86400) }
	out := Change{At: at(c.Day.Value), AtLow: at(c.Day.Low), AtHigh: at(c.Day.High), Of: w.key, Label: labels[w.key]}
	level := func(e change.Estimate, n int) Figure {
		low, high := e.Value-math.Hypot(e.Value-e.Low, w.sharedHalf), e.Value+math.Hypot(e.High-e.Value, w.sharedHalf)
		v := e.Value
		if w.share {
			v, low, high = math.Exp(v), math.Exp(low), math.Exp(high)
		}
		return doubt.Make(v, low, high, w.unit, w.basis, n, 1, "")
	}
	out.Before, out.After = level(c.Before, c.NBefore), level(c.After, c.NAfter)
	size, unit := c.Size, w.unit
	if w.apart != nil {
		half := w.apart(c.Day.Value)
		size.Low, size.High = size.Value-math.Hypot(size.Value-size.Low, half), size.Value+math.Hypot(size.High-size.Value, half)
	}
	if w.share {
		percent := func(v float64) float64 { return 100 * math.Expm1(v) }
		size, unit = change.Estimate{Value: percent(size.Value), Low: percent(size.Low), High: percent(size.High)}, "%"
	}
	out.Size = doubt.Make(size.Value, size.Low, size.High, unit, w.basis, c.NBefore+c.NAfter, 1, "")
	near := int64(b.opt.Change.EventDays * 86400e3)
	for _, e := range b.rec.Farm.Events {
		if t := e.At.UnixMilli(); t >= out.AtLow-near && t <= out.AtHigh+near {
			out.Events = append(out.Events, Event{At: t, What: e.What})
		}
	}
	out.Text = b.changeText(out)
	return out
}

// changeText is the sentence of what to look at. It names no cause.
func (b *builder) changeText(c Change) string {
	day := func(ms int64) string { return clockTime(ms, b.rec)[:10] }
	text := fmt.Sprintf("%s changed about %s", c.Label, day(c.At))
	if day(c.AtLow) != day(c.AtHigh) {
		text += fmt.Sprintf(" (between %s and %s)", day(c.AtLow), day(c.AtHigh))
	}
	text += fmt.Sprintf(": from %s to %s, a step of %s.", c.Before.Shown, c.After.Shown, c.Size.Shown)
	for i, e := range c.Events {
		if i == 0 {
			text += " Noted on the farm near that day: "
		} else {
			text += ", "
		}
		text += fmt.Sprintf("%s (%s)", e.What, day(e.At))
		if i == len(c.Events)-1 {
			text += "."
		}
	}
	return text + " Have it looked at."
}
