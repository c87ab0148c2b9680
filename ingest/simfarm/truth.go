package simfarm

import "math"

// Figures are the answers over a stretch of the season. Money is in the
// farm's currency; RecoveryFraction and UA are bare numbers.
type Figures struct {
	LoopKWh          float64 `json:"loop_kwh"`
	PlantKWh         float64 `json:"plant_kwh"`
	ElementKWh       float64 `json:"element_kwh"`
	WashKWh          float64 `json:"wash_kwh"`
	SavedKWh         float64 `json:"saved_kwh"`
	UAWPerK          float64 `json:"ua_w_per_k"`
	RecoveryFraction float64 `json:"recovery_fraction"`
	BaselineKWh      float64 `json:"baseline_kwh"`
	UsedKWh          float64 `json:"used_kwh"`
	PumpKWh          float64 `json:"pump_kwh"`
	CompressorKWh    float64 `json:"compressor_kwh"`
	MilkHeatKWh      float64 `json:"milk_heat_kwh"`
	StandingGainKWh  float64 `json:"standing_gain_kwh"`
	Money            float64 `json:"money"`
	CO2Kg            float64 `json:"co2_kg"`
}

// Headline are the seven headline figures by their results.json keys.
func (g Figures) Headline() map[string]float64 {
	return map[string]float64{
		"loop_kwh": g.LoopKWh, "plant_kwh": g.PlantKWh, "element_kwh": g.ElementKWh, "wash_kwh": g.WashKWh,
		"saved_kwh": g.SavedKWh, "ua_w_per_k": g.UAWPerK, "recovery_fraction": g.RecoveryFraction,
	}
}

// Truth is what a farm's season comes to: bare (Farm.Truth) or as an exact
// method would report it through the drawn errors (Farm.Seen). A month holds
// the cycles that begin in it.
type Truth struct {
	Figures
	Months []MonthTruth `json:"months"`
	Errors []Drawn      `json:"errors"`
	// Litres, Draws, Washes, Milkings that happened; FrontL the loop's thermal
	// volume, Beta the wall's share, BedOffsetK probe minus bed at the pipe,
	// averaged over the litres.
	LoopL         float64 `json:"loop_l"`
	ThermalL      float64 `json:"thermal_l"`
	Beta          float64 `json:"beta"`
	BedOffsetK    float64 `json:"bed_probe_minus_bed_k"`
	FlowGainError float64 `json:"loop_flow_error"`
	Draws         int     `json:"draws"`
	Washes        int     `json:"washes"`
	Milkings      int     `json:"milkings"`
	// SupplyWPerK, SlabKJPerK of a loop in a slab; 0 where it has none.
	SupplyWPerK float64 `json:"supply_w_per_k,omitempty"`
	SlabKJPerK  float64 `json:"slab_kj_per_k,omitempty"`
}

// MonthTruth is one local month.
type MonthTruth struct {
	Month string `json:"month"`
	Figures
}

// Truth is what happened.
func (f *Farm) Truth() Truth {
	t := f.answers(errorsOf{})
	t.UAWPerK = f.uaMean
	for i := range t.Months {
		t.Months[i].UAWPerK = f.uaMean
	}
	return t
}

// Seen is the truth through the drawn errors; see the package comment. It
// takes a fit of UA, some tenths of a second.
func (f *Farm) Seen() Truth {
	t := f.answers(f.errs)
	t.UAWPerK = f.seenUA(f.errs)
	for i := range t.Months {
		t.Months[i].UAWPerK = t.UAWPerK
	}
	return t
}

// SeenSums is Seen without the fit: its ua_w_per_k is 0.
func (f *Farm) SeenSums() Truth { return f.answers(f.errs) }

// answers are all figures but UA through errors e.
func (f *Farm) answers(e errorsOf) Truth {
	t := Truth{
		Errors: f.drawn, ThermalL: f.waterL * (1 + f.beta), Beta: f.beta,
		SupplyWPerK: f.s.Slab.SupplyWPerK, SlabKJPerK: f.s.Slab.CapacityKJPerK,
		FlowGainError: f.errs[gLoop], Milkings: len(f.milkings), Draws: f.loop.runs(), Washes: f.washes(),
	}
	sums := f.sums(e)
	whole := Figures{}
	for i, name := range f.months {
		g := f.finish(sums[i], e)
		t.Months = append(t.Months, MonthTruth{name, g})
		whole = whole.plus(sums[i])
	}
	t.Figures = f.finish(whole, e)
	w := 0.0
	for i, v := range f.loop.litres {
		at := int(f.loop.step[i]) / sampleEvery
		t.LoopL += v
		w += v * (f.signal[BedProbe][at] - f.signal[BedAtPipe][at])
	}
	if t.LoopL > 0 {
		t.BedOffsetK = w / t.LoopL
	}
	return t
}

func (f *Farm) washes() int {
	n := 0
	for _, u := range f.uses {
		if u.refill && u.start < f.end {
			n++
		}
	}
	return n
}

// runs counts stretches of flow told apart by ten minutes.
func (t *trace) runs() int {
	n := 0
	for i, s := range t.step {
		if i == 0 || s-t.step[i-1] > 600/stepS {
			n++
		}
	}
	return n
}

func (g Figures) plus(h Figures) Figures {
	g.LoopKWh += h.LoopKWh
	g.PlantKWh += h.PlantKWh
	g.ElementKWh += h.ElementKWh
	g.WashKWh += h.WashKWh
	g.BaselineKWh += h.BaselineKWh
	g.PumpKWh += h.PumpKWh
	g.CompressorKWh += h.CompressorKWh
	g.MilkHeatKWh += h.MilkHeatKWh
	g.StandingGainKWh += h.StandingGainKWh
	g.Money += h.Money
	return g
}

// sums are the additive figures by month. Until finish, BaselineKWh is the
// heat that counts for it and Money the cost of the electricity.
func (f *Farm) sums(e errorsOf) []Figures {
	out := make([]Figures, len(f.months))
	f.sumStream(out, &f.loop, e[gLoop], e[eMains], e[eLoopOut], func(g *Figures, kWh float64) { g.LoopKWh += kWh })
	f.sumStream(out, &f.plate, e[gPlate], e[ePlateIn], e[ePlateOut], func(g *Figures, kWh float64) { g.PlantKWh += kWh })
	f.sumWash(out, e)
	pumpKW := f.pumpKW * (1 + e[gPump])
	for i := range out {
		g := &out[i]
		g.ElementKWh = f.elementKWh[i] * (1 + e[gElement])
		g.PumpKWh = f.pumpH[i] * pumpKW
		g.CompressorKWh = f.compressorKWh[i] * (1 + e[gCompressor])
		g.StandingGainKWh = f.gainKWh[i] * (1 + e[xGain])
		g.Money = f.elementMoney[i]*(1+e[gElement]) + f.pumpHMoney[i]*pumpKW
	}
	capacity := f.milkKJPerLK * (1 + e[xHeatC]) * (1 + e[xDensity])
	for _, m := range f.milkings {
		if m.end <= f.end {
			out[m.month].MilkHeatKWh += m.litres * (1 + e[gMilk]) * capacity * (m.inC + e[eMilkIn] - m.outC - e[eMilkOut]) / 3600
		}
	}
	return out
}

// monthOf is the month to which a step of a cycle is booked.
func (f *Farm) monthOf(cycle int16) int {
	if cycle < 0 {
		return 0
	}
	return f.milkings[cycle].month
}

// sumStream adds Q = V (1+g) rho(T_cold) (h(T_hot) - h(T_cold)), the meter on
// the cold side.
func (f *Farm) sumStream(out []Figures, t *trace, gain, coldE, hotE float64, add func(*Figures, float64)) {
	for i, v := range t.litres {
		cold, hot := t.coldC[i]+coldE, t.hotC[i]+hotE
		add(&out[f.monthOf(t.cycle[i])], v*(1+gain)*rhoAt(cold)*(hAt(hot)-hAt(cold))/3.6e6)
	}
}

// sumWash adds the heat in wash water above its cycle's feed, metered hot; for
// the baseline no water counts above heat_to_c.
func (f *Farm) sumWash(out []Figures, e errorsOf) {
	feed := f.feeds()
	t := &f.wash
	for i, v := range t.litres {
		hot := t.hotC[i] + e[eWash]
		feedH := hAt(feed[max(t.cycle[i], 0)] + e[eMains])
		kg := v * (1 + e[gWash]) * rhoAt(hot) / 1000
		g := &out[f.monthOf(t.cycle[i])]
		g.WashKWh += kg * (hAt(hot) - feedH) / 3600
		g.BaselineKWh += kg * (hAt(min(hot, f.s.Wash.HeatToC)) - feedH) / 3600
	}
}

// feeds are the flow-weighted mains temperatures of each cycle's draws; a
// cycle without one takes the nearest.
func (f *Farm) feeds() []float64 {
	n := max(len(f.milkings), 1)
	litres, sum := make([]float64, n), make([]float64, n)
	for i, v := range f.loop.litres {
		c := max(f.loop.cycle[i], 0)
		litres[c] += v
		sum[c] += v * f.loop.coldC[i]
	}
	out := make([]float64, n)
	for c := range out {
		out[c] = math.NaN()
		for away := 0; away < n; away++ {
			if k := c - away; k >= 0 && litres[k] > 0 {
				out[c] = sum[k] / litres[k]
				break
			}
			if k := c + away; k < n && litres[k] > 0 {
				out[c] = sum[k] / litres[k]
				break
			}
		}
	}
	return out
}

// finish turns sums into ratios, saving, money and CO2.
func (f *Farm) finish(g Figures, e errorsOf) Figures {
	p := &f.s.Money
	g.BaselineKWh /= f.efficiency + e[xEfficiency]
	g.UsedKWh = g.ElementKWh + g.PumpKWh
	g.SavedKWh = g.BaselineKWh - g.UsedKWh
	g.Money = g.BaselineKWh*p.PricePerKWh - g.Money
	g.CO2Kg = g.BaselineKWh*p.CO2KgPerKWh - g.UsedKWh*p.PowerCO2KgKWh
	if rejected := g.MilkHeatKWh + g.CompressorKWh + g.StandingGainKWh; rejected > 0 {
		g.RecoveryFraction = g.PlantKWh / rejected
	}
	return g
}

// LinearWidths are the full widths 2·1.96·u of the headline figures by linear
// propagation (JCGM 100) of the errors that the farm file states: central
// differences at one standard uncertainty of each source on the truth.
func (f *Farm) LinearWidths() map[string]float64 {
	varOf := map[string]float64{}
	for r := range roles {
		if f.sd[r] == 0 {
			continue
		}
		var up, down errorsOf
		up[r], down[r] = f.sd[r], -f.sd[r]
		a, b := f.answers(up).Headline(), f.answers(down).Headline()
		for k := range a {
			d := (a[k] - b[k]) / 2
			varOf[k] += d * d
		}
	}
	varOf["ua_w_per_k"] = f.uaVariance()
	out := map[string]float64{}
	for k, v := range varOf {
		out[k] = 2 * z95 * math.Sqrt(v)
	}
	return out
}
