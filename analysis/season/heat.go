package season

import (
	"fmt"
	"math"
	"slices"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
)

const z95 = 1.959963984540054

// WhyStage is said of a stage that the farm does not have.
const (
	WhyStage  = "the farm has no such stage"
	WhyNoLoop = "farm.toml has no [loop]"
)

// leastOfStretch: a month of which less was seen gets no total: it would be
// taken for a small month.
const leastOfStretch = 0.5

// whyUnseen is said of a stretch that the logs hardly cover.
func whyUnseen(coverage float64) string {
	if coverage <= 0 {
		return "nothing of it was logged"
	}
	return fmt.Sprintf("only %.0f %% of it was logged", 100*coverage)
}

// stream is a heat stream with its part over all cycles; known is false where
// it has no rows, and why then says why.
type stream struct {
	h     *account.Heat
	part  doubt.Part
	known bool
	why   string
}

func (b *builder) stream(h *account.Heat) stream {
	switch {
	case h.Absent:
		return stream{h: h, why: WhyStage}
	case h.Why != "":
		return stream{h: h, why: h.Why}
	}
	return stream{h: h, part: b.reg.heatPart(h, b.opt, heatKWh, heatPerHotK, nil), known: true}
}

// use is a use of electricity likewise.
type use struct {
	p     *account.Power
	part  doubt.Part
	known bool
	why   string
}

func (b *builder) use(p *account.Power) use {
	if p.Why != "" {
		return use{p: p, why: p.Why}
	}
	return use{p: p, part: b.reg.powerPart(p, powerKWh), known: true}
}

// terms are the parts that totals are made of.
type terms struct {
	loop, plate, wash, other   stream
	element, pumps, compressor use
}

func (b *builder) terms() *terms {
	a := b.acc
	return &terms{
		loop: b.stream(&a.Loop), plate: b.stream(&a.Plate), wash: b.stream(&a.Wash), other: b.stream(&a.OtherUse),
		element: b.use(&a.Element), pumps: b.use(&a.Pumps), compressor: b.use(&a.Compressor),
	}
}

// seenHeat asks for a stream's total over a stretch, as seen.
func (b *builder) seenHeat(dst *[]Named, key string, x stream, s stretch, least float64) int {
	if !x.known {
		*dst = append(*dst, unknown(key, "kWh", doubt.Metered, x.why))
		return -1
	}
	m := b.heatMeta(x.h, s)
	if m.coverage <= least {
		*dst = append(*dst, unknown(key, "kWh", m.basis, whyUnseen(m.coverage)))
		return -1
	}
	part := x.part.Pick(s.rows)
	return b.want(dst, key, m, func(t *doubt.Trial) float64 { return part.Census(t.E) })
}

func (b *builder) heatMeta(h *account.Heat, s stretch) meta {
	m := meta{unit: "kWh", basis: doubt.Metered, n: len(s.rows), why: h.Note}
	if h.Estimated || rated(h.Flow) {
		m.basis = doubt.Estimated
	}
	m.coverage = b.share(s, func(i int) float64 { return h.Rows[i].SeenShare(b.acc.Cycles[i]) })
	return m
}

// rated tells whether a figure of the farm file, times a state, stands for a
// meter.
func rated(sources []grid.Source) bool {
	return slices.ContainsFunc(sources, func(s grid.Source) bool { return s.Key != "" })
}

// seenPower likewise for electricity.
func (b *builder) seenPower(dst *[]Named, key string, x use, s stretch, least float64) int {
	if !x.known {
		*dst = append(*dst, unknown(key, "kWh", doubt.Metered, x.why))
		return -1
	}
	part := x.part.Pick(s.rows)
	m := meta{unit: "kWh", basis: doubt.Metered, n: len(s.rows),
		coverage: b.share(s, func(i int) float64 { return x.p.Rows[i].SeenShare(b.acc.Cycles[i]) })}
	if rated(x.p.Sources) {
		m.basis = doubt.Estimated
	}
	if m.coverage <= least {
		*dst = append(*dst, unknown(key, "kWh", m.basis, whyUnseen(m.coverage)))
		return -1
	}
	return b.want(dst, key, m, func(t *doubt.Trial) float64 { return part.Census(t.E) })
}

// heat asks for the heat figures of the whole period.
func (b *builder) heat(x *terms, all stretch) {
	h := &b.s.Heat
	b.note("loop_kwh", b.seenHeat(&h.Seen, "loop_kwh", x.loop, all, 0))
	b.note("plant_kwh", b.seenHeat(&h.Seen, "plant_kwh", x.plate, all, 0))
	b.note("element_kwh", b.seenPower(&h.Seen, "element_kwh", x.element, all, 0))
	b.note("wash_kwh", b.seenHeat(&h.Seen, "wash_kwh", x.wash, all, 0))
	b.seenHeat(&h.Seen, "other_use_kwh", x.other, all, 0)
	b.closure(x, all)
	b.wholeHeat("loop_kwh", x.loop)
	b.wholeHeat("plant_kwh", x.plate)
	b.wholePower("element_kwh", x.element)
	b.wholeHeat("wash_kwh", x.wash)
	b.wholeHeat("other_use_kwh", x.other)
	for _, key := range []string{"store_change_kwh", "loss_kwh", "unexplained_kwh"} {
		h.Whole = append(h.Whole, unknown(key, "kWh", doubt.Estimated, "given only for what was seen"))
	}
	h.LowFlowShare = lowFlowShare(x.loop)
}

// note keeps a headline figure's output for the budget.
func (b *builder) note(key string, output int) {
	if output >= 0 {
		b.budget = append(b.budget, budgetOf{key, output})
	}
}

func lowFlowShare(x stream) float64 {
	if !x.known {
		return math.NaN()
	}
	var low, all float64
	for _, r := range x.h.Rows {
		low, all = low+r.LowL, all+r.Litres
	}
	return low / all
}

// closure asks for store change, loss and what stays unexplained.
func (b *builder) closure(x *terms, all stretch) {
	h, a := &b.s.Heat, b.acc
	store, rows := b.storePart()
	if a.Store.Why != "" {
		h.Seen = append(h.Seen, unknown("store_change_kwh", "kWh", doubt.Metered, a.Store.Why))
	} else {
		m := meta{unit: "kWh", basis: doubt.Metered, n: len(rows), coverage: float64(len(rows)) / math.Max(1, float64(len(all.rows)))}
		part := store.Pick(rows)
		b.want(&h.Seen, "store_change_kwh", m, func(t *doubt.Trial) float64 { return part.Census(t.E) })
	}
	loss, lossRows := b.lossPart()
	if a.Loss.Why != "" {
		h.Seen = append(h.Seen, unknown("loss_kwh", "kWh", doubt.Fitted, a.Loss.Why))
	} else {
		m := meta{unit: "kWh", basis: doubt.Fitted, n: a.Loss.Stretches, coverage: float64(len(lossRows)) / math.Max(1, float64(len(all.rows)))}
		part := loss.Pick(lossRows)
		b.want(&h.Seen, "loss_kwh", m, func(t *doubt.Trial) float64 { return part.Census(t.E) })
	}
	b.unexplained(x, store, loss)
}

// unexplained is taken over whole cycles that have every term.
func (b *builder) unexplained(x *terms, store, loss doubt.Part) {
	a, share := b.acc, b.opt.Account.Cycle.CoveredShare
	var rows []int
	for i, c := range a.Cycles {
		if t := a.Row(i, share); c.Whole && !math.IsNaN(t.UnexplainedKWh) {
			rows = append(rows, i)
		}
	}
	if len(rows) == 0 {
		b.s.Heat.Seen = append(b.s.Heat.Seen, unknown("unexplained_kwh", "kWh", doubt.Metered, "no whole cycle has every term: "+b.missingTerm(x)))
		return
	}
	plus := b.knownParts(rows, x.loop, x.plate)
	minus := b.knownParts(rows, x.wash, x.other)
	plus = append(plus, x.element.part.Pick(rows))
	minus = append(minus, store.Pick(rows))
	if a.Loss.Why == "" {
		minus = append(minus, loss.Pick(rows))
	}
	m := meta{unit: "kWh", basis: doubt.Metered, n: len(rows), coverage: float64(len(rows)) / math.Max(1, float64(len(a.Cycles)))}
	b.want(&b.s.Heat.Seen, "unexplained_kwh", m, func(t *doubt.Trial) float64 { return sumOf(plus, t.E) - sumOf(minus, t.E) })
}

func (b *builder) missingTerm(x *terms) string {
	for _, t := range []struct{ name, why string }{
		{"loop", x.loop.why}, {"plate", x.plate.why}, {"wash", x.wash.why}, {"element", x.element.why}, {"tank", b.acc.Store.Why},
	} {
		if t.why != "" && t.why != WhyStage {
			return t.name + ": " + t.why
		}
	}
	return "gaps lie in every one"
}

func (b *builder) knownParts(rows []int, streams ...stream) []doubt.Part {
	var out []doubt.Part
	for _, x := range streams {
		if x.known {
			out = append(out, x.part.Pick(rows))
		}
	}
	return out
}

// storePart is the change of the tanks' heat, and the rows that have it.
func (b *builder) storePart() (doubt.Part, []int) {
	st := &b.acc.Store
	if st.Why != "" {
		return doubt.Part{}, nil
	}
	return doubt.NewPart(st.ChangeKWh, []int{b.reg.key("tank.volume_l")}, nil), finite(st.ChangeKWh)
}

// lossPart is the tanks' loss: kelvin hours times a coefficient that is known
// no better than its scatter over quiet stretches.
func (b *builder) lossPart() (doubt.Part, []int) {
	l := &b.acc.Loss
	if l.Why != "" {
		return doubt.Part{}, nil
	}
	coefficient := b.reg.add(doubt.Source{Name: "tank loss coefficient", Kind: doubt.Random, HalfWidth: z95 * l.WPerKSE / math.Abs(l.WPerK), Relative: true})
	var by []doubt.Effect
	if l.UpperOnly {
		per := make([]float64, len(l.SpreadKelvinH))
		for i, v := range l.SpreadKelvinH {
			per[i] = l.WPerK / 1000 * v
		}
		low := b.reg.add(doubt.Source{Name: "tank below its upper probe: between that and the water that last came in", Kind: doubt.Shared, Dist: doubt.Rectangular, HalfWidth: 1, Assumed: true})
		by = append(by, doubt.Effect{Source: low, Per: per})
	}
	return doubt.NewPart(l.KWh, []int{b.reg.key("tank.volume_l"), coefficient}, by), finite(l.KWh)
}

// wholeHeat asks for the estimate for the whole period.
func (b *builder) wholeHeat(key string, x stream) {
	if !x.known {
		b.s.Heat.Whole = append(b.s.Heat.Whole, unknown(key, "kWh", doubt.Estimated, x.why))
		return
	}
	b.whole(key, x.part, b.acc.FillHeat(x.h, b.opt.Account.Cycle.CoveredShare))
}

func (b *builder) wholePower(key string, x use) {
	if !x.known {
		b.s.Heat.Whole = append(b.s.Heat.Whole, unknown(key, "kWh", doubt.Estimated, x.why))
		return
	}
	b.whole(key, x.part, b.acc.FillPower(x.p, b.opt.Account.Cycle.CoveredShare))
}

// whole scales what was seen and adds the scatter of what was not.
func (b *builder) whole(key string, part doubt.Part, f account.Fill) {
	dst := &b.s.Heat.Whole
	if f.Why != "" || f.SeenKWh == 0 && f.WholeKWh != 0 {
		*dst = append(*dst, unknown(key, "kWh", doubt.Estimated, fmt.Sprintf("what was not seen can't be estimated: %s", f.Why)))
		return
	}
	factor := 1.0
	if f.SeenKWh != 0 {
		factor = f.WholeKWh / f.SeenKWh
	}
	missing := -1
	if f.ExtraVar > 0 {
		missing = b.reg.add(doubt.Source{Name: "time not seen: " + key, Kind: doubt.Random, HalfWidth: z95 * math.Sqrt(f.ExtraVar), Unit: "kWh"})
	}
	m := meta{unit: "kWh", basis: doubt.Estimated, n: f.Cycles, coverage: f.Coverage}
	b.want(dst, key, m, func(t *doubt.Trial) float64 {
		v := factor * part.Census(t.E)
		if missing >= 0 {
			v += t.E[missing]
		}
		return v
	})
}
