package season

import (
	"fmt"
	"math"
	"sort"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
)

// BalanceWeek is the heat balance of the tank over seven local days: what went
// in less what came out, was lost and stayed.
type BalanceWeek struct {
	From, To int64
	// Cycles that start in it; Used of them are whole and have every term.
	Cycles, Used int
	// Figures: in_kwh (loop, plate and element), out_kwh (wash and other use),
	// loss_kwh, store_change_kwh, unexplained_kwh, over the cycles used.
	Figures []Named
	// Explained: the interval of what is unexplained, by the errors of the
	// sensors, holds 0.
	Explained bool
}

// Words of the audit's own figures.
var auditLabels = map[string]string{
	"in_kwh": "Heat in", "out_kwh": "Heat drawn off", "loss_kwh": "Lost from the tanks", "store_change_kwh": "Stayed in the tanks", "unexplained_kwh": "Unexplained",
}

// lineFigure is a line as a figure.
func (b *builder) lineFigure(l doubt.Line, unit string, basis doubt.Basis, n int, coverage float64) Figure {
	low, high := l.Interval(b.reg.sources)
	return doubt.Make(l.Value, low, high, unit, basis, n, coverage, "")
}

// lineOf adds up parts over some rows.
func (b *builder) lineOf(rows []int, parts ...doubt.Part) doubt.Line {
	n := len(b.reg.sources)
	sum := doubt.Line{Per: make([]float64, n)}
	for _, p := range parts {
		if p.Rows() > 0 {
			sum = sum.Plus(p.Pick(rows).Line(n), 1)
		}
	}
	return sum
}

// balanceWeeks closes the balance week by week.
func (b *builder) balanceWeeks() {
	x, a := b.kept.x, b.acc
	store, _ := b.storePart()
	loss, _ := b.lossPart()
	b.s.Audit.WeeksLoss = a.Loss.Why == ""
	share := b.opt.Account.Cycle.CoveredShare
	week, rows := BalanceWeek{}, []int(nil)
	flush := func() {
		if week.Cycles > 0 {
			b.s.Audit.Weeks = append(b.s.Audit.Weeks, b.balanceWeek(week, rows, x, store, loss))
		}
		rows = nil
	}
	edges := grid.Days(a.FromMS, a.ToMS, a.Zone)
	for i, c := range a.Cycles {
		if week.To == 0 || c.Start >= week.To {
			flush()
			d := sort.Search(len(edges), func(k int) bool { return edges[k] > c.Start }) - 1
			d = max(0, d/7*7)
			week = BalanceWeek{From: edges[d], To: edges[min(d+7, len(edges)-1)]}
			if week.To <= c.Start { // a cycle at the very end
				week.To = c.End
			}
		}
		week.Cycles++
		if t := a.Row(i, share); c.Whole && !math.IsNaN(t.UnexplainedKWh) {
			rows = append(rows, i)
		}
	}
	flush()
	b.s.Audit.WeeksWords = weeksWords(b.s.Audit.Weeks)
}

// oneSign: what is left has one sign in so many weeks, all there are: worth
// saying.
const oneSign = 4

// weeksWords says of the weeks what of them the errors explain; "" where none
// is known.
func weeksWords(weeks []BalanceWeek) string {
	all, explained, less := 0, 0, 0
	for _, w := range weeks {
		if w.Used == 0 {
			continue
		}
		all++
		if w.Explained {
			explained++
		}
		if w.Figures[len(w.Figures)-1].Figure.Value < 0 {
			less++
		}
	}
	if all == 0 {
		return ""
	}
	text := fmt.Sprintf("In %d of %d weeks the errors of the sensors explain what is left: its interval holds 0.", explained, all)
	if (less == 0 || less == all) && all >= oneSign {
		text += " What is left has one sign in all weeks. They share their sensors, and so their errors: this speaks of one lasting cause, not of as many as there are weeks."
	}
	return text
}

func (b *builder) balanceWeek(w BalanceWeek, rows []int, x *terms, store, loss doubt.Part) BalanceWeek {
	w.Used = len(rows)
	keys := []string{"in_kwh", "out_kwh", "loss_kwh", "store_change_kwh", "unexplained_kwh"}
	if len(rows) == 0 {
		for _, k := range keys {
			n := unknown(k, "kWh", doubt.Metered, "no whole cycle of the week has every term: "+b.missingTerm(x))
			n.Label = auditLabels[k]
			w.Figures = append(w.Figures, n)
		}
		return w
	}
	in := b.lineOf(rows, x.loop.part, x.plate.part, x.element.part)
	out := b.lineOf(rows, x.wash.part, x.other.part)
	lost, stayed := b.lineOf(rows, loss), b.lineOf(rows, store)
	left := in.Plus(out, -1).Plus(lost, -1).Plus(stayed, -1)
	coverage := float64(len(rows)) / float64(w.Cycles)
	for i, l := range []doubt.Line{in, out, lost, stayed, left} {
		f := b.lineFigure(l, "kWh", doubt.Metered, len(rows), coverage)
		if keys[i] == "loss_kwh" {
			f.Basis = doubt.Fitted
			if b.acc.Loss.Why != "" {
				f = unknown("loss_kwh", "kWh", doubt.Fitted, b.acc.Loss.Why).Figure
			}
		}
		w.Figures = append(w.Figures, Named{Key: keys[i], Label: auditLabels[keys[i]], Figure: f})
		if keys[i] == "unexplained_kwh" {
			w.Explained = f.Low <= 0 && f.High >= 0
		}
	}
	return w
}

// StreamAudit is what of one total was filled in, held over or measured where a
// meter says little.
type StreamAudit struct {
	Key, Label string
	// SeenKWh metered; FilledKWh is added for the whole period, FilledShare its
	// part of that estimate, FilledH the hours without readings. As seen, nothing
	// is filled.
	SeenKWh, FilledKWh, FilledShare, FilledH float64
	// HeldShare of the litres counted were booked at a reading held to the start
	// of flow; LowFlowShare ran below the flow that counts as a draw;
	// LowRiseLitres and LowRiseHeat passed at a temperature difference below
	// LowRiseK. NaN for electricity.
	HeldShare, LowFlowShare, LowRiseLitres, LowRiseHeat float64
}

func (b *builder) streams() {
	x, share := b.kept.x, b.opt.Account.Cycle.CoveredShare
	add := func(key string, f account.Fill, h *account.Heat) {
		s := StreamAudit{Key: key, Label: labels[key], SeenKWh: f.SeenKWh, FilledKWh: f.WholeKWh - f.SeenKWh, FilledShare: 1 - f.SeenKWh/f.WholeKWh,
			FilledH: f.MissingH, HeldShare: nan, LowFlowShare: nan, LowRiseLitres: nan, LowRiseHeat: nan}
		if f.WholeKWh == f.SeenKWh {
			s.FilledShare = 0
		}
		if h != nil {
			s.shares(h)
		}
		b.s.Audit.Streams = append(b.s.Audit.Streams, s)
	}
	for _, h := range []struct {
		key string
		stream
	}{{"loop_kwh", x.loop}, {"plant_kwh", x.plate}, {"wash_kwh", x.wash}, {"other_use_kwh", x.other}} {
		if h.known {
			add(h.key, b.acc.FillHeat(h.h, share), h.h)
		}
	}
	for _, u := range []struct {
		key string
		use
	}{{"element_kwh", x.element}, {"pump_kwh", x.pumps}, {"compressor_kwh", x.compressor}} {
		if u.known {
			add(u.key, b.acc.FillPower(u.p, share), nil)
		}
	}
}

func (s *StreamAudit) shares(h *account.Heat) {
	var all, counted, held, low, lowRise, heat, lowHeat float64
	for _, r := range h.Rows {
		all, counted, held, low = all+r.Litres, counted+r.CountedL, held+r.HeldL, low+r.LowL
		lowRise, heat, lowHeat = lowRise+r.LowRiseL, heat+math.Abs(r.KWh), lowHeat+math.Abs(r.LowRiseKWh)
	}
	s.HeldShare, s.LowFlowShare, s.LowRiseLitres, s.LowRiseHeat = held/counted, low/all, lowRise/counted, lowHeat/heat
}

// Boundary is one of the boundaries at which the same season can be told, with
// its heat or energy and what each kWh of electricity used inside it gave.
type Boundary struct {
	Letter, Key, Label, Is string
	KWh                    Figure
	// PerKWh: KWh over the electricity of Per, over the same cycles.
	PerKWh Figure
	Per    string
}

// Boundaries are told over the cycles that have all of their terms.
func (b *builder) boundaries() {
	rows := b.boundaryRows()
	x, a := b.kept.x, b.acc
	coverage := float64(len(rows)) / math.Max(1, float64(len(a.Cycles)))
	add := func(letter, key, label, is, why string, basis doubt.Basis, l, per doubt.Line, of string) {
		f := unknown(key, "kWh", basis, why).Figure
		q := unknown(key, "1", basis, why).Figure
		switch {
		case why == "" && len(rows) == 0:
			f = unknown(key, "kWh", basis, "no cycle has every term").Figure
			q = unknown(key, "1", basis, "no cycle has every term").Figure
		case why == "":
			f = b.lineFigure(l, "kWh", basis, len(rows), coverage)
			q = unknown(key, "1", basis, "no electricity is known inside this boundary").Figure
			if of != "" && per.Value > 0 {
				q = b.lineFigure(l.Over(per), "1", basis, len(rows), coverage)
			}
		}
		b.s.Audit.Boundaries = append(b.s.Audit.Boundaries, Boundary{letter, key, label, is, f, q, of})
	}
	line := func(parts ...doubt.Part) doubt.Line { return b.lineOf(rows, parts...) }
	loss, _ := b.lossPart()
	loop, plate, element, pumps, compressor := line(x.loop.part), line(x.plate.part), line(x.element.part), line(x.pumps.part), line(x.compressor.part)
	used, drawn := element.Plus(pumps, 1), line(x.wash.part, x.other.part)
	into := loop.Plus(plate, 1).Plus(element, 1).Plus(line(loss), -1)
	pumpsOf, usedOf := "pumps", "element and pumps"
	if !x.pumps.known {
		pumpsOf, usedOf = "", "element"
	}
	whyInto, is := firstOf(x.loop.why, x.plate.why, lacking(x.element)), "loop + plate + element − loss of the tanks"
	if a.Loss.Why != "" {
		is = "loop + plate + element; the loss of the tanks is not known and is in it"
	}
	metered, estimated := doubt.Metered, doubt.Estimated
	add("a", "from_bed_kwh", "Heat taken from the bed", "water through the loop", x.loop.why, metered, loop, pumps, pumpsOf)
	add("b", "from_refrigeration_kwh", "Heat taken from the refrigeration", "water across the plate", x.plate.why, metered, plate, pumps, pumpsOf)
	add("c", "into_tank_kwh", "Net heat into the tank", is, whyInto, metered, into, used, usedOf)
	add("d", "drawn_off_kwh", "Heat drawn off as hot water", "wash + other use, above the cold feed", x.wash.why, metered, drawn, used, usedOf)
	add("d+", "drawn_off_compressor_kwh", "The same, with the compressor inside", "as (d); the compressor runs for the milk in any case", firstOf(x.wash.why, x.compressor.why), metered, drawn, used.Plus(compressor, 1), usedOf+" and compressor")
	saved := b.savingLines(rows)
	add("e", "displaced_kwh", "Energy displaced", "(d), no more than would have been heated, through the alternative, in kWh of its carrier", b.kept.s.why, estimated, saved[0], used, usedOf)
	add("f", "parasitic_kwh", "Parasitic electricity", "pumps; controls are not logged", x.pumps.why, metered, pumps, doubt.Line{}, "")
	add("g", "net_kwh", "Net saving", b.netWords(), b.kept.s.why, estimated, saved[1], used, usedOf)
}

// savingLines are what the alternative would have used, and that less the
// electricity: baseline = heat/η + standing losses.
func (b *builder) savingLines(rows []int) [2]doubt.Line {
	s := b.kept.s
	if s.why != "" || len(rows) == 0 {
		return [2]doubt.Line{}
	}
	in := b.rec.Farm.Instead
	heat := b.lineOf(rows, s.heat...)
	eta := doubt.Line{Value: in.Efficiency, Per: make([]float64, len(b.reg.sources))}
	if s.efficiency >= 0 {
		eta.Per[s.efficiency] = 1
	}
	base := heat.Over(eta)
	for _, i := range rows {
		base.Value += in.StandingLossKWhPerDay * b.acc.Cycles[i].Hours() / 24
	}
	return [2]doubt.Line{base, base.Plus(b.lineOf(rows, s.used...), -1)}
}

// boundaryRows are the cycles in which every known term is covered.
func (b *builder) boundaryRows() []int {
	x, a, share := b.kept.x, b.acc, b.opt.Account.Cycle.CoveredShare
	var rows []int
	for i := range a.Cycles {
		t := a.Row(i, share)
		sum := 0.0
		for _, v := range []struct {
			known bool
			kwh   float64
		}{{x.loop.known, t.LoopKWh}, {x.plate.known, t.PlateKWh}, {x.wash.known, t.WashKWh}, {x.other.known, t.OtherUseKWh},
			{x.element.known, t.ElementKWh}, {x.pumps.known, t.PumpKWh}, {x.compressor.known, t.CompressorKWh}, {a.Loss.Why == "", t.LossKWh}} {
			if v.known {
				sum += v.kwh
			}
		}
		if sum == sum {
			rows = append(rows, i)
		}
	}
	return rows
}

// lacking is why a use of electricity is not known; "" for one that the farm
// does not have.
func lacking(u use) string {
	if u.p.Absent {
		return ""
	}
	return u.why
}

// firstOf is the first reason that is more than "no such stage": a stage that
// the farm lacks counts 0 in a sum.
func firstOf(whys ...string) string {
	for _, w := range whys {
		if w != "" && w != WhyStage {
			return w
		}
	}
	return ""
}
