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

// UnusedKWh is the heat that went in and was neither used nor stored; NaN where
// a term is not covered.
func (t Terms) UnusedKWh() float64 {
	return t.LoopKWh + t.PlateKWh + t.ElementKWh - t.WashKWh - t.OtherUseKWh - t.StoreChangeKWh
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
