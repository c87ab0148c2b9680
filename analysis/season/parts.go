package season

import (
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
)

// effect is a stream's response to sources that share a column of
// sensitivities, each by its weight.
func (r *registry) effects(sources []grid.Source, per []float64) []doubt.Effect {
	var out []doubt.Effect
	for _, s := range sources {
		i := r.probe(s)
		if i < 0 {
			continue
		}
		column := make([]float64, len(per))
		for k, v := range per {
			column[k] = v * s.Weight
		}
		out = append(out, doubt.Effect{Source: i, Per: column})
	}
	return out
}

// meter splits the sources of litres or power into a gain (one meter: its
// relative error multiplies) or effects (several: each moves its share).
func (r *registry) meter(sources []grid.Source, value []float64) (gains []int, by []doubt.Effect) {
	if len(sources) == 1 && sources[0].Weight == 1 {
		return []int{r.probe(sources[0])}, nil
	}
	return nil, r.effects(sources, value)
}

// heatPart is a stream's heat with its response to every error; of maps a row
// to the heat that counts (all of it, or what is below wash.heat_to_c), perHot
// to its response to the hot side, scale (nil = 1) turns a row's kWh into money or CO2.
func (r *registry) heatPart(h *account.Heat, o Options, of, perHot func(account.HeatRow) float64, scale []float64) doubt.Part {
	scaled := func(h *account.Heat, of func(account.HeatRow) float64) []float64 {
		c := h.Column(of)
		for i := range scale {
			c[i] *= scale[i]
		}
		return c
	}
	column := func(of func(account.HeatRow) float64) []float64 { return scaled(h, of) }
	value := column(of)
	gains, by := r.meter(h.Flow, value)
	by = append(by, r.effects(h.Hot, column(perHot))...)
	by = append(by, r.effects(h.Cold, column(func(x account.HeatRow) float64 { return x.PerColdK }))...)
	by = append(by,
		doubt.Effect{Source: r.lag(r.nameOf(h.Hot), h.HotLagS, o.LagError), Per: column(func(x account.HeatRow) float64 { return x.PerHotLagS })},
		doubt.Effect{Source: r.lag(r.nameOf(h.Cold), h.ColdLagS, o.LagError), Per: column(func(x account.HeatRow) float64 { return x.PerColdLagS })},
		doubt.Effect{Source: r.held(h.Name, r.nameOf(h.Hot), o.HeldK), Per: column(heldPerK)},
		doubt.Effect{Source: r.slow(h), Per: column(func(x account.HeatRow) float64 { return x.SlowKWh })})
	if h.Name == "loop" {
		by = append(by, doubt.Effect{Source: r.lead(o.LeadMostL), Per: column(func(x account.HeatRow) float64 { return x.PerLeadL })})
	}
	if h.OpenSD > 0 {
		open := r.add(doubt.Source{Name: h.Name + ": how long it was open, by a state read every so often", Kind: doubt.Random, HalfWidth: z95 * h.OpenSD})
		by = append(by, doubt.Effect{Source: open, Per: value})
	}
	by = append(by, r.drawnEarly(h, o, scaled)...)
	for _, d := range r.draws {
		by = append(by, clockEffect(h, func(h *account.Heat) []float64 { return scaled(h, of) }, d)...)
	}
	by = append(by, r.clockEffects(h, func(h *account.Heat) []float64 { return scaled(h, of) })...)
	return doubt.NewPart(value, gains, by)
}

// drawnEarly is the doubt about how much of a refill was drawn before the tank was
// hot, where no wash is metered.
func (r *registry) drawnEarly(h *account.Heat, o Options, scaled func(*account.Heat, func(account.HeatRow) float64) []float64) []doubt.Effect {
	per := scaled(h, func(x account.HeatRow) float64 { return x.PerEarlier })
	within := h.EarlierWithin
	dist := map[account.EarlierDist]doubt.Dist{account.EarlierLimits: doubt.Rectangular, account.EarlierUpTo: doubt.OneSided, account.EarlierNormal: doubt.Normal}[h.EarlierDist]
	for _, v := range per {
		if v != 0 && within > 0 {
			i := r.add(doubt.Source{Name: h.Name + ": share of a refill drawn before the tank was hot", Kind: doubt.Shared,
				Dist: dist, HalfWidth: within, Assumed: true})
			return []doubt.Effect{{Source: i, Per: per}}
		}
	}
	return nil
}

// held is the doubt about readings held back to the start of a run: one error
// for all runs of a stream, since the cause is the same each time.
func (r *registry) held(name, probe string, halfK float64) int {
	if halfK <= 0 {
		return -1
	}
	return r.add(doubt.Source{Name: name + ": readings held back to the start of flow", Kind: doubt.Shared, HalfWidth: halfK, Unit: "K", Assumed: true, Sensors: []string{probe}})
}

// slow is the doubt about water that no reading of a slow log saw flowing: one
// for all runs of a stream, since the cause is the same each time; −1 where
// there is none.
func (r *registry) slow(h *account.Heat) int {
	for _, x := range h.Rows {
		if x.SlowKWh > 0 {
			return r.add(doubt.Source{Name: h.Name + ": the log is too slow to see the water flow", Kind: doubt.Shared, HalfWidth: 1, Assumed: true, Sensors: []string{r.nameOf(h.Hot)}})
		}
	}
	return -1
}

// leadName is the pipe between the bed and the loop's outlet probe where nobody
// states it.
const leadName = "loop.lead_l (not stated)"

// lead is the place of the doubt about the water that stood, and cooled, before
// the loop's outlet probe: from 0 to so many litres where the farm file does not
// say (it makes the loop's heat read high, never low), else what is stated.
func (r *registry) lead(mostL float64) int {
	l := r.farm.Loop
	if l == nil || !l.HasLead {
		if mostL <= 0 {
			return -1
		}
		return r.add(doubt.Source{Name: leadName, Kind: doubt.Shared, Dist: doubt.OneSided, HalfWidth: mostL, Unit: "L", Assumed: true})
	}
	e, assumed := r.farm.KeyError("loop.lead_l")
	if e.HalfWidth <= 0 || l.LeadL <= 0 {
		return -1
	}
	s := stated("loop.lead_l", "L", e, assumed)
	if s.Relative {
		s.Relative, s.HalfWidth = false, s.HalfWidth*l.LeadL
	}
	return r.add(s)
}

// heldPerK: of a row's response to its hot side, the part booked at held
// readings.
func heldPerK(x account.HeatRow) float64 {
	if x.CountedL <= 0 {
		return 0
	}
	return x.PerHotK * x.HeldL / x.CountedL
}

func heatKWh(x account.HeatRow) float64     { return x.KWh }
func heatPerHotK(x account.HeatRow) float64 { return x.PerHotK }

// baselineKWh is a row's heat that the alternative would have had to give.
func baselineKWh(x account.HeatRow) float64     { return x.KWh - x.AboveKWh }
func baselinePerHotK(x account.HeatRow) float64 { return x.PerHotK - x.AbovePerHotK }

// powerPart is a use of electricity (or its cost) with its meters' errors.
func (r *registry) powerPart(p *account.Power, of func(account.PowerRow) float64) doubt.Part {
	value := p.Column(of)
	gains, by := r.meter(p.Sources, value)
	return doubt.NewPart(value, gains, by)
}

func powerKWh(x account.PowerRow) float64  { return x.KWh }
func powerCost(x account.PowerRow) float64 { return x.Cost }

// sumOf adds parts under a trial's errors.
func sumOf(parts []doubt.Part, e []float64) float64 {
	sum := 0.0
	for _, p := range parts {
		sum += p.Census(e)
	}
	return sum
}

func pickAll(parts []doubt.Part, rows []int) []doubt.Part {
	out := make([]doubt.Part, len(parts))
	for i, p := range parts {
		out[i] = p.Pick(rows)
	}
	return out
}

// finite lists the rows whose value is a number.
func finite(v []float64) []int {
	var rows []int
	for i, x := range v {
		if !math.IsNaN(x) {
			rows = append(rows, i)
		}
	}
	return rows
}
