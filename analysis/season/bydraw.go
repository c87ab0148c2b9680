package season

import (
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/grid"
	"yardheat/analysis/loop"
	"yardheat/ingest"
)

// DrawUA is the loop's coefficient told by one draw, W/K, the bed taken as
// uniform and all else as the fit to all draws of the grid has it.
type DrawUA struct {
	Start, End int64 // Unix ms UTC
	UAWPerK    float64
}

// UAByDraw gives the coefficient of every draw that tells it (as changes of it
// are looked for), from a grid and account that are made already; nil where the
// loop cannot be fitted or its coefficient is not identified. It compares draws
// with each other: the probes' shared errors are in all of them alike.
func UAByDraw(rec *ingest.Record, g *grid.Grid, acc *account.Account, opt Options) []DrawUA {
	b := &builder{rec: rec, grid: g, acc: acc, opt: opt, s: &Season{}}
	b.reg = newRegistry(rec.Farm, g)
	if b.loopWhy() != "" {
		return nil
	}
	in, out, bed := b.loopInlet(), g.Stream("loop_out_temp"), g.Stream("bed_temp")
	l := &loopFit{in: in.Sources, out: out.Sources, bed: bed.Sources, edges: in.Edges != nil && out.Edges != nil}
	fit, err := loop.Run(b.loopInput(in, out, bed), b.loopOptions(l))
	if err != nil || !fit.Identified {
		return nil
	}
	var list []DrawUA
	for i, u := range fit.LnUAByDraw() {
		if d := fit.Draws[i]; u.SD < vagueDraw {
			list = append(list, DrawUA{b.ms(d.FromS), b.ms(d.ToS), math.Exp(u.LnUA)})
		}
	}
	return list
}
