package account

import "math"

// Terms are one cycle's row of the account, NaN where a term is not covered.
// A stage that the farm does not have counts 0.
type Terms struct {
	LoopKWh, PlateKWh, ElementKWh, WashKWh, OtherUseKWh float64
	StoreChangeKWh, LossKWh                             float64
	PumpKWh, CompressorKWh, MilkKWh                     float64
	// UnexplainedKWh = loop + plate + element − wash − other use − loss − store
	// change; a loss that is not known at all stays inside it.
	UnexplainedKWh float64
	// BaselineHeatKWh = wash + other use without what is above heat_to_c: to be
	// divided by the alternative's efficiency. UsedKWh = element + pumps.
	BaselineHeatKWh, UsedKWh float64
	// Coverage: the smallest seen share of the terms that the farm has.
	Coverage float64
}

// Row is the account of cycle i.
func (a *Account) Row(i int, coveredShare float64) Terms {
	t := Terms{Coverage: 1, StoreChangeKWh: math.NaN(), LossKWh: math.NaN(), MilkKWh: math.NaN()}
	t.LoopKWh, t.PlateKWh = a.heat(&a.Loop, i, coveredShare, &t), a.heat(&a.Plate, i, coveredShare, &t)
	t.WashKWh, t.OtherUseKWh = a.heat(&a.Wash, i, coveredShare, &t), a.heat(&a.OtherUse, i, coveredShare, &t)
	t.ElementKWh, t.PumpKWh = a.power(&a.Element, i, coveredShare, &t), a.power(&a.Pumps, i, coveredShare, &t)
	t.CompressorKWh = a.power(&a.Compressor, i, coveredShare, &t)
	if a.Store.Why == "" {
		t.StoreChangeKWh = a.Store.ChangeKWh[i]
	}
	loss := 0.0
	if a.Loss.Why == "" {
		t.LossKWh = a.Loss.KWh[i]
		loss = t.LossKWh
	}
	if a.Milk.Rows != nil {
		t.MilkKWh = a.Milk.Rows[i].KWh
	}
	t.UnexplainedKWh = t.LoopKWh + t.PlateKWh + t.ElementKWh - t.WashKWh - t.OtherUseKWh - loss - t.StoreChangeKWh
	t.BaselineHeatKWh = t.WashKWh + t.OtherUseKWh
	if a.Wash.Rows != nil {
		t.BaselineHeatKWh -= a.Wash.Rows[i].AboveKWh
	}
	t.UsedKWh = t.ElementKWh + t.PumpKWh
	return t
}

// heat of one stream in cycle i: 0 where the farm has none, NaN where it is not
// covered.
func (a *Account) heat(h *Heat, i int, coveredShare float64, t *Terms) float64 {
	switch {
	case h.Absent:
		return 0
	case h.Why != "":
		return math.NaN()
	}
	r, c := h.Rows[i], a.Cycles[i]
	t.Coverage = min(t.Coverage, r.SeenShare(c))
	if !r.Covered(c, coveredShare) {
		return math.NaN()
	}
	return r.KWh
}

// power is the electricity of one use in cycle i, by the same rules.
func (a *Account) power(p *Power, i int, coveredShare float64, t *Terms) float64 {
	switch {
	case p.Absent:
		return 0
	case p.Why != "":
		return math.NaN()
	}
	r, c := p.Rows[i], a.Cycles[i]
	t.Coverage = min(t.Coverage, r.SeenShare(c))
	if !r.Covered(c, coveredShare) {
		return math.NaN()
	}
	return r.KWh
}

// Fill estimates what a total would be over the whole period from the cycles
// seen.
type Fill struct {
	// SeenKWh is the total as seen, WholeKWh the estimate for all the time.
	SeenKWh, WholeKWh float64
	// MissingH of PeriodH were not seen; Coverage = 1 − MissingH/PeriodH.
	MissingH, PeriodH, Coverage float64
	// ExtraVar is the variance, kWh², that the estimate has beyond the total as
	// seen: the missing cycles' own scatter and the mean's.
	ExtraVar float64
	// Cycles behind the mean.
	Cycles int
	// Why, if not empty: no cycle was covered and WholeKWh is NaN.
	Why string
}

// FillUp fills missing time with the covered cycles' mean by time share:
//
//	whole = seen + r · D_miss,   r = Σ q / Σ d over covered cycles
//	var   = s² D_miss (1/d̄) (1 + D_miss/D_cov) (1+ρ)/(1−ρ)
//
// q kWh and d hours of a covered cycle, D_miss the hours not seen, d̄ and s² the
// covered cycles' mean length and the variance of q about r d, ρ their lag-one
// correlation (between 0 and 0.9): n' = n(1−ρ)/(1+ρ), common practice. kWh,
// hours, share (0 to 1 of its heat that was seen) have one value a cycle.
func FillUp(kWh, hours, share []float64, covered []bool) Fill {
	f := Fill{}
	var q, d float64
	for i, v := range kWh {
		f.PeriodH += hours[i]
		f.MissingH += hours[i] * (1 - share[i])
		f.SeenKWh += v
		if covered[i] && share[i] > 0 {
			q, d = q+v, d+hours[i]*share[i]
			f.Cycles++
		}
	}
	f.Coverage = 1 - f.MissingH/math.Max(f.PeriodH, 1e-9)
	f.WholeKWh = f.SeenKWh
	if f.MissingH < 1e-9*math.Max(f.PeriodH, 1) {
		return f
	}
	if f.Cycles < 2 {
		f.WholeKWh, f.ExtraVar, f.Why = math.NaN(), math.NaN(), "fewer than two cycles were covered"
		return f
	}
	r := q / d
	f.WholeKWh += r * f.MissingH
	var ss, cross, last float64
	have := false
	for i, v := range kWh {
		if !covered[i] || share[i] <= 0 {
			have = false
			continue
		}
		e := v - r*hours[i]*share[i]
		ss += e * e
		if have {
			cross += e * last
		}
		last, have = e, true
	}
	rho := 0.0
	if ss > 0 {
		rho = math.Max(0, math.Min(0.9, cross/ss))
	}
	n := float64(f.Cycles)
	s2 := ss / (n - 1)
	f.ExtraVar = s2 * f.MissingH / (d / n) * (1 + f.MissingH/d) * (1 + rho) / (1 - rho)
	return f
}

// FillHeat is FillUp for a stream.
func (a *Account) FillHeat(h *Heat, coveredShare float64) Fill {
	kwh, hours, share, ok := a.columns()
	for i, r := range h.Rows {
		kwh[i], share[i], ok[i] = r.KWh, r.SeenShare(a.Cycles[i]), r.Covered(a.Cycles[i], coveredShare)
	}
	return FillUp(kwh, hours, share, ok)
}

// FillPower is FillUp for electricity.
func (a *Account) FillPower(p *Power, coveredShare float64) Fill {
	kwh, hours, share, ok := a.columns()
	for i, r := range p.Rows {
		kwh[i], share[i], ok[i] = r.KWh, r.SeenShare(a.Cycles[i]), r.Covered(a.Cycles[i], coveredShare)
	}
	return FillUp(kwh, hours, share, ok)
}

func (a *Account) columns() (kwh, hours, share []float64, ok []bool) {
	n := len(a.Cycles)
	hours = make([]float64, n)
	for i, c := range a.Cycles {
		hours[i] = c.Hours()
	}
	return make([]float64, n), hours, make([]float64, n), make([]bool, n)
}

// NotCovered names what the farm logs but cycle i does not cover well enough to
// be counted, in the order of the account.
func (a *Account) NotCovered(i int, coveredShare float64) []string {
	c := a.Cycles[i]
	var out []string
	for _, h := range []*Heat{&a.Loop, &a.Plate, &a.Wash, &a.OtherUse} {
		if h.Rows != nil && !h.Rows[i].Covered(c, coveredShare) {
			out = append(out, h.Name)
		}
	}
	for _, p := range []*Power{&a.Element, &a.Pumps, &a.Compressor} {
		if p.Rows != nil && !p.Rows[i].Covered(c, coveredShare) {
			out = append(out, p.Name)
		}
	}
	if a.Store.ChangeKWh != nil && math.IsNaN(a.Store.ChangeKWh[i]) {
		out = append(out, "tank at its ends")
	}
	if a.Loss.KWh != nil && math.IsNaN(a.Loss.KWh[i]) {
		out = append(out, "tank loss")
	}
	return out
}
