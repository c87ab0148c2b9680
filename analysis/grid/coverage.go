package grid

import "time"

// Days are the local midnights from the one at or before fromMS to the one at
// or after toMS: day i runs from Days[i] to Days[i+1], 23, 24 or 25 hours.
func Days(fromMS, toMS int64, zone *time.Location) []int64 {
	d := time.UnixMilli(fromMS).In(zone)
	y, m, day := d.Date()
	var out []int64
	for i := 0; ; i++ {
		t := midnight(y, m, day+i, zone)
		out = append(out, t)
		if t >= toMS {
			return out
		}
	}
}

// midnight is the first instant of a local day. Where the clocks skip midnight
// itself, time.Date may give the last hour of the day before: then the day
// starts an hour on.
func midnight(y int, m time.Month, d int, zone *time.Location) int64 {
	t := time.Date(y, m, d, 0, 0, 0, 0, zone)
	noon := time.Date(y, m, d, 12, 0, 0, 0, zone)
	for t.Day() != noon.Day() {
		t = t.Add(30 * time.Minute)
	}
	return t.UnixMilli()
}

// GapS is the time in seconds that a channel or stream does not cover.
func (g *Grid) GapS(values []float64) float64 {
	return float64(len(values)-covered(values)) * g.StepS
}

// Coverage is the share of each span [edges[i], edges[i+1]) that the values
// cover, 0 to 1; spans outside the grid count as not covered.
func (g *Grid) Coverage(values []float64, edges []int64) []float64 {
	var out []float64
	for i := 0; i+1 < len(edges); i++ {
		n := covered(values[g.Cell(edges[i]):g.Cell(edges[i+1])])
		out = append(out, min(1, float64(n)*g.StepS*1000/float64(edges[i+1]-edges[i])))
	}
	return out
}
