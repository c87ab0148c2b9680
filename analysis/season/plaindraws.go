package season

import (
	"math"

	"yardheat/analysis/cycle"
	"yardheat/analysis/doubt"
)

// plainDraws lists the draws where the water is not followed through the loop:
// heat, temperatures and effectiveness ask for no fit. It gives the figure of
// the season's effectiveness,
//
//	(T_out − T_in)/(T_bed − T_in),
//
// each temperature the mean over the draws by litres; the bed's probe as it
// reads.
func (b *builder) plainDraws(why string) {
	var litres, in, out, bed float64
	n := 0
	for i, d := range b.acc.Draws {
		r := DrawRow{N: i + 1, Start: d.Start, End: d.End, Litres: d.Litres, LoopVolumes: nan, InC: nan, OutC: nan, BedC: b.bedOver(d),
			HeatKWh: nan, Effectiveness: nan, ApproachK: nan, RMSEK: nan, Why: why}
		if i < len(b.acc.DrawRows) {
			h := b.acc.DrawRows[i]
			r.InC, r.OutC, r.HeatKWh = h.ColdC(), h.HotC(), h.KWh
		}
		if e := (r.OutC - r.InC) / (r.BedC - r.InC); e == e && !math.IsInf(e, 0) {
			r.Effectiveness = e
			litres, in, out, bed = litres+r.Litres, in+r.Litres*r.InC, out+r.Litres*r.OutC, bed+r.Litres*r.BedC
			n++
		}
		b.s.Draws = append(b.s.Draws, r)
	}
	if n == 0 || !(litres > 0) {
		return
	}
	in, out, bed = in/litres, out/litres, bed/litres
	one := []float64{1}
	inPart := doubt.NewPart([]float64{in}, nil, b.reg.effects(b.acc.Loop.Cold, one))
	outPart := doubt.NewPart([]float64{out}, nil, b.reg.effects(b.acc.Loop.Hot, one))
	bedPart := doubt.NewPart([]float64{bed}, nil, b.reg.effects(b.grid.Stream("bed_temp").Sources, one))
	m := meta{unit: "1", basis: doubt.Estimated, n: n, coverage: float64(n) / float64(len(b.acc.Draws)), why: "without a fit, by the bed probe as it reads"}
	k := b.output(func(t *doubt.Trial) float64 {
		i := inPart.Census(t.E)
		return (outPart.Census(t.E) - i) / (bedPart.Census(t.E) - i)
	})
	for i := range b.s.Loop.Figures {
		if b.s.Loop.Figures[i].Key == "effectiveness" {
			b.finish = append(b.finish, func() { b.s.Loop.Figures[i].Figure = b.result.Figure(k, m.unit, m.basis, m.n, m.coverage, m.why) })
		}
	}
}

// bedOver is the bed's mean over a draw; NaN where it is not known.
func (b *builder) bedOver(d cycle.Draw) float64 {
	bed := b.grid.Stream("bed_temp")
	if bed == nil {
		return nan
	}
	sum, n := 0.0, 0
	for _, v := range bed.Values[d.A:d.B] {
		if v == v {
			sum, n = sum+v, n+1
		}
	}
	return sum / float64(n)
}
