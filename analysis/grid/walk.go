package grid

import "math"

// Stamps are the times of the stream's readings within [fromMS, toMS], Unix ms
// UTC (of several probes: of the one read least often); flagged ones are left
// out. Temperatures only; nil otherwise.
func (s *Stream) Stamps(fromMS, toMS int64) []int64 {
	r := &s.Readings
	if r.s == nil {
		return nil
	}
	var out []int64
	for i := r.from(fromMS); i < r.hi; i = r.next(i + 1) {
		at := r.at(i)
		if at > toMS {
			break
		}
		out = append(out, at)
	}
	return out
}

// ReadAt is a pipe probe's value at a time: the reading that stands there, else
// the straight line between its neighbours as the grid has it; NaN where the
// grid does not cover it.
func (g *Grid) ReadAt(s *Stream, ms int64) float64 {
	if s.One {
		if v, ok := s.Readings.value(ms); ok {
			return v
		}
	}
	row := s.Edges
	x := float64(ms-g.StartMS) / float64(g.StepMS())
	i := int(math.Floor(x))
	f := x - float64(i)
	switch {
	case i < 0 || i >= len(row):
		return math.NaN()
	case f == 0 || i+1 == len(row):
		return row[i]
	}
	return row[i] + f*(row[i+1]-row[i])
}
