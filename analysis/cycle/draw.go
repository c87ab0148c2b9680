package cycle

import (
	"yardheat/analysis/grid"
	"yardheat/analysis/rank"
	"yardheat/ingest/series/room"
)

// Draw is one refill through the loop.
type Draw struct {
	Span
	Start, End int64
	Litres     float64
	// Complete: the flow is covered from its first to its last cell and in the
	// cells beside them.
	Complete bool
	// Estimated: no meter saw it; it shows in the probes, the litres are
	// loop.draw_l.
	Estimated bool
}

// Threshold is the flow above which a draw or a wash is looked for: the larger
// of a share of the 95th percentile of the flow while it flows, and a floor.
func Threshold(flowLMin []float64, share, floorLMin float64) float64 {
	n := 0
	for _, v := range flowLMin {
		if v > 0 {
			n++
		}
	}
	q := room.Cap[float64](n)
	for _, v := range flowLMin {
		if v > 0 {
			q = append(q, v)
		}
	}
	if len(q) == 0 {
		return floorLMin
	}
	return max(floorLMin, share*rank.Nth(q, int(0.95*float64(len(q)-1))))
}

// Draws are the stretches above the threshold, pauses up to PauseS joined, that
// hold at least MinDrawS of unbroken flow.
func Draws(g *grid.Grid, flowLMin []float64, opt Options) []Draw {
	limit := Threshold(flowLMin, opt.ThresholdShare, opt.ThresholdLMin)
	above := func(v float64) bool { return v > limit }
	var out []Draw
	for _, s := range Spans(flowLMin, int(opt.PauseS/g.StepS+1e-9), above) {
		if !lasts(flowLMin[s.A:s.B], above, opt.MinDrawS/g.StepS) {
			continue
		}
		out = append(out, Draw{
			Span: s, Start: g.EdgeMS(s.A), End: g.EdgeMS(s.B), Litres: integral(flowLMin, s, g.StepS/60),
			Complete: complete(flowLMin, s),
		})
	}
	return out
}

// lasts: some unbroken stretch has at least so many cells.
func lasts(values []float64, on func(float64) bool, cells float64) bool {
	for _, s := range Spans(values, 0, on) {
		if float64(s.B-s.A) >= cells-1e-9 {
			return true
		}
	}
	return false
}

func complete(values []float64, s Span) bool {
	for i := max(0, s.A-1); i < min(len(values), s.B+1); i++ {
		if v := values[i]; v != v {
			return false
		}
	}
	return s.A > 0 && s.B < len(values)
}
