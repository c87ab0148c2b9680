package account

import (
	"math"

	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/analysis/water"
)

// Heat is the heat of one metered stream, a row a cycle.
type Heat struct {
	// Name: "loop", "plate", "wash", "other use".
	Name string
	// Absent: the farm does not have this stage. Else Why, if not empty, says
	// why its heat is not known; then Rows is nil.
	Absent bool
	Why    string
	// Estimated: litres or temperatures are not metered at the stream itself.
	Estimated bool
	// Note says what an estimate rests on, in words.
	Note string
	// FlowName is the way the litres are logged, in words.
	FlowName string
	// The sources of litres and of both temperatures, with their weights.
	Flow, Hot, Cold []grid.Source
	// OpenSD is the relative standard deviation of the time that a pipe was open,
	// where its valve or pump is only read every so often; 0 else.
	OpenSD float64
	// Washes without a meter: how far the share of a refill taken as drawn before
	// the tank was hot may be off (see Account.EarlierShare).
	EarlierWithin float64
	EarlierDist   EarlierDist
	// HotLagS, ColdLagS: the time constants taken.
	HotLagS, ColdLagS float64
	Rows              []HeatRow
}

// HeatRow is one cycle's sums of a stream. All are zero where nothing flowed.
type HeatRow struct {
	// Litres metered; CountedL of them with both temperatures; LowL below the
	// draw threshold; HeldL booked at a reading held back or on.
	Litres, CountedL, LowL, HeldL float64
	// KWh is Σ V ρ(T_meter) (h(T_hot) − h(T_cold)) over the litres counted: its
	// derivative with respect to the meter's relative error is KWh itself.
	KWh float64
	// PerHotK and PerColdK: kWh per kelvin of error of the hot and the cold
	// side; PerHotLagS and PerColdLagS: kWh per second of their time constants.
	PerHotK, PerColdK, PerHotLagS, PerColdLagS float64
	// PerLeadL: kWh per litre of cooled pipe before the hot probe, beside what is
	// stated; 0 where the log resolves the start of flow.
	PerLeadL float64
	// SlowKWh: half-width at 95 % of what is booked of water that no reading of a
	// slow log saw flowing.
	SlowKWh float64
	// AboveKWh: the part above wash.heat_to_c; AbovePerHotK its response to an
	// error of the hot side.
	AboveKWh, AbovePerHotK float64
	// PerEarlier: washes without a meter, kWh per unit of the share of a refill
	// that was drawn before the tank was hot.
	PerEarlier float64
	// LowRiseL of the litres counted, and LowRiseKWh of the heat: cells whose
	// temperatures differ by less than Options.LowRiseK.
	LowRiseL, LowRiseKWh float64
	// LitreHotC, LitreColdC: Σ V T over the litres counted.
	LitreHotC, LitreColdC float64
	// LitreLMin: Σ V q over the litres counted, q the flow in L/min.
	LitreLMin float64
	// LateKWh: plate only, heat later than Options.LateAfterS after the last
	// compressor stop.
	LateKWh float64
	// FlowingS: time with flow; CountedS of it with both temperatures;
	// UnknownS: time in which the flow itself is not covered.
	FlowingS, CountedS, UnknownS float64
}

// Covered: the flow is known for at least share of the cycle and both
// temperatures for at least share of the flowing time.
func (r HeatRow) Covered(c cycle.Cycle, share float64) bool {
	length := float64(c.End-c.Start) / 1000
	return r.UnknownS <= (1-share)*length+1e-6 && r.CountedS >= share*r.FlowingS-1e-6
}

// SeenShare is the part of the cycle's heat that was seen, by time and, within
// it, by litres: 0 to 1.
func (r HeatRow) SeenShare(c cycle.Cycle) float64 {
	length := float64(c.End-c.Start) / 1000
	if length <= 0 {
		return 0
	}
	share := max(0, 1-r.UnknownS/length)
	if r.Litres > 0 {
		share *= r.CountedL / r.Litres
	}
	return share
}

// HotC and ColdC are flow-weighted means; NaN where nothing was counted.
func (r HeatRow) HotC() float64  { return ratio(r.LitreHotC, r.CountedL) }
func (r HeatRow) ColdC() float64 { return ratio(r.LitreColdC, r.CountedL) }

func ratio(a, b float64) float64 {
	if b == 0 {
		return math.NaN()
	}
	return a / b
}

// Column takes one sum of every row, for the budget's partial sums.
func (h *Heat) Column(of func(HeatRow) float64) []float64 {
	out := make([]float64, len(h.Rows))
	for i, r := range h.Rows {
		out[i] = of(r)
	}
	return out
}

// Stream is a metered stream with booked temperatures on both sides.
type Stream struct {
	Runs      *grid.Runs
	Hot, Cold *grid.Booked
	// MeterHot: the meter stands on the hot side.
	MeterHot bool
	// AboveC: heat above this is summed apart; NaN = none.
	AboveC float64
	// Late: cells whose heat is late; nil = none.
	Late []bool
	// LowLMin: flow below this counts as LowL; LowRiseK: a smaller difference of
	// the temperatures counts as LowRiseL.
	LowLMin, LowRiseK float64
}

// Sum adds up the stream by cycle. cycles are ascending spans of cells.
func (s Stream) Sum(cycles []cycle.Cycle) []HeatRow {
	rows := make([]HeatRow, len(cycles))
	j, cells := 0, s.Runs.Cells
	for i, c := range cycles {
		for j < len(cells) && cells[j] < c.A {
			j++
		}
		for ; j < len(cells) && cells[j] < c.B; j++ {
			s.add(&rows[i], j)
		}
		unknown := 0
		for _, v := range s.Runs.Flow.Values[c.A:c.B] {
			if v != v {
				unknown++
			}
		}
		outside := float64(c.End-c.Start)/1000 - float64(c.B-c.A)*s.Runs.Grid.StepS
		rows[i].UnknownS = float64(unknown)*s.Runs.Grid.StepS + max(0, outside-s.Runs.Grid.StepS)
	}
	return rows
}

// add books one flowing cell:
//
//	Q = V ρ(T_m) (h(T_hot) − h(T_cold))
//	∂Q/∂T_hot = V ρ c_p(T_hot) + [meter hot] V ρ′(T_hot) (h_hot − h_cold)
//
// and likewise for the cold side, with the sign turned. V in m3, ρ kg/m3,
// h kJ/kg, c_p kJ/(kg K).
func (s Stream) add(r *HeatRow, j int) {
	v, hot, cold := s.Runs.L[j], s.Hot.TempC[j], s.Cold.TempC[j]
	step := s.Runs.Grid.StepS
	r.Litres += v
	r.FlowingS += step
	if s.Runs.LMin[j] < s.LowLMin {
		r.LowL += v
	}
	meter := cold
	if s.MeterHot {
		meter = hot
	}
	rise := water.EnthalpyKJPerKg(hot) - water.EnthalpyKJPerKg(cold)
	rho := water.DensityKgPerM3(meter)
	q := v / 1000 * rho * rise / 3600
	if q != q {
		return
	}
	r.CountedL += v
	r.CountedS += step
	if s.Hot.Held[j] || s.Cold.Held[j] {
		r.HeldL += v
	}
	r.KWh += q
	if math.Abs(hot-cold) < s.LowRiseK {
		r.LowRiseL, r.LowRiseKWh = r.LowRiseL+v, r.LowRiseKWh+q
	}
	perK := v / 1000 * rho / 3600
	hotK, coldK := perK*water.SpecificHeatKJPerKgK(hot), -perK*water.SpecificHeatKJPerKgK(cold)
	thinner := q * (water.DensityKgPerM3(meter+0.5) - water.DensityKgPerM3(meter-0.5)) / rho
	if thinner != thinner {
		thinner = 0 // within half a kelvin of the table's ends
	}
	if s.MeterHot {
		hotK += thinner
	} else {
		coldK += thinner
	}
	r.PerHotK += hotK
	r.PerColdK += coldK
	if k := s.Hot.LeadK[j]; k == k && v > 0 {
		r.PerLeadL += hotK / v * k
	}
	r.SlowKWh += hotK*s.Hot.DoubtK[j] - coldK*s.Cold.DoubtK[j]
	r.PerHotLagS += hotK * s.Hot.PerS[j]
	r.PerColdLagS += coldK * s.Cold.PerS[j]
	r.LitreHotC += v * hot
	r.LitreColdC += v * cold
	r.LitreLMin += v * s.Runs.LMin[j]
	if hot > s.AboveC {
		r.AboveKWh += perK * (water.EnthalpyKJPerKg(hot) - water.EnthalpyKJPerKg(s.AboveC))
		r.AbovePerHotK += perK * water.SpecificHeatKJPerKgK(hot)
	}
	if s.Late != nil && s.Late[s.Runs.Cells[j]] {
		r.LateKWh += q
	}
}
