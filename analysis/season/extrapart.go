package season

import (
	"slices"

	"yardheat/analysis/baseline"
	"yardheat/analysis/doubt"
	"yardheat/ingest/farm"
)

// extraWork is what the compressor uses more on days with recovery than it would
// without, by the days without: against the milk's heat (or the milk), and the
// outdoor temperature where it is logged.
type extraWork struct {
	b      *builder
	kind   string // of the stretch
	why    string
	m      *baseline.Model
	parts  []doubt.Part // of one day reported on, mean
	cost   float64      // of a kWh; NaN: no price
	source int
	valueD float64 // kWh a day
	report []dayRow
	words  string
	// distinct: more, by more than its own interval.
	distinct bool
}

func (b *builder) extraWork(x *terms, days []dayRow) *extraWork {
	w := &extraWork{b: b, cost: nan, source: -1}
	switch {
	case !x.compressor.known:
		w.why = "the compressor's electricity is not known: " + x.compressor.why
		return w
	case !slices.ContainsFunc(b.rec.Farm.Seasons, func(s farm.Season) bool { return s.Kind != "normal" }):
		w.why = "farm.toml has no [[season]] without recovery to hold the compressor's electricity against"
		return w
	}
	y := make([]float64, len(b.acc.Cycles))
	share := b.opt.Account.Cycle.CoveredShare
	for i := range y {
		y[i] = b.acc.Row(i, share).CompressorKWh
	}
	w.fit(days, y)
	if w.m == nil {
		return w
	}
	w.over(x)
	return w
}

// fit takes the first model that the days allow.
func (w *extraWork) fit(days []dayRow, y []float64) {
	b := w.b
	var sets [][]string
	for _, milk := range []string{milkHeat, farm.VariableMilk} {
		if b.grid.Stream("outdoor_temp") != nil {
			sets = append(sets, []string{farm.VariableConstant, milk, outdoorC})
		}
		sets = append(sets, []string{farm.VariableConstant, milk})
	}
	for _, kind := range heldKinds {
		for _, names := range sets {
			t := b.table(days, names, y)
			base := t.picked(kind)
			if len(base) == 0 {
				continue
			}
			m, why := baseline.Fit(t.rows(base), b.opt.Baseline.Fit)
			if why != "" {
				if w.why == "" {
					w.why = kindDays(kind) + ": " + why
				}
				continue
			}
			if w.report = t.picked("report"); len(w.report) == 0 {
				continue
			}
			w.kind, w.m, w.why = kind, m, ""
			w.words = variableWords[names[1]][0]
			if len(names) > 2 {
				w.words += " and outdoor temperature"
			}
			r := t.rows(w.report)
			w.total(r, base, y)
			return
		}
	}
	if w.why == "" {
		w.why = "no day without recovery, or none with it, has compressor and milk logged"
	}
}

// total readies the mean day's extra work: measured less expected.
func (w *extraWork) total(r baseline.Rows, base []dayRow, y []float64) {
	n := float64(len(w.report))
	total := w.m.Total(r.X, r.Day, nil)
	for _, v := range r.Y {
		w.valueD += v / n
	}
	w.valueD -= total.Value / n
	half := (total.High - total.Low) / 2 / n
	w.distinct = w.valueD > half
	weight := byCycle(base, total.OfDay, len(y))
	for i := range weight {
		weight[i] = -weight[i] / n
	}
	for _, i := range cyclesOf(w.report) {
		weight[i] += 1 / n
	}
	part := w.b.reg.powerPart(&w.b.acc.Compressor, powerKWh)
	w.parts = []doubt.Part{part.Scaled(weight)}
	w.source = w.b.reg.add(doubt.Source{Name: "scatter of the compressor's days (" + w.kind + ")", Kind: doubt.Random, HalfWidth: half})
}

// over prices a kWh of it: the mean of what the compressor's cost.
func (w *extraWork) over(x *terms) {
	kwh, cost := 0.0, 0.0
	for _, i := range cyclesOf(w.report) {
		kwh, cost = kwh+x.compressor.p.Rows[i].KWh, cost+x.compressor.p.Rows[i].Cost
	}
	if kwh > 0 {
		w.cost = cost / kwh
	}
}

// perDay is a trial's extra work a day, kWh.
func (w *extraWork) perDay(e []float64) float64 { return sumOf(w.parts, e) + e[w.source] }

// charge is what so many days bear of it, kWh and money: nothing unless it is
// distinct.
func (w *extraWork) charge(days int) func(e []float64) (kWh, cost float64) {
	if w == nil || !w.distinct {
		return func([]float64) (float64, float64) { return 0, 0 }
	}
	price := w.b.reg.powerPrice()
	return func(e []float64) (float64, float64) {
		kWh := float64(days) * w.perDay(e)
		return kWh, kWh * w.cost * errFactor(e, price)
	}
}
