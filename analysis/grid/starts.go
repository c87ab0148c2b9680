package grid

// Start is when water began to flow in a pipe.
type Start struct {
	// AtMS is the moment, inside the log's interval by the litres found in it;
	// EndMS when it stopped.
	AtMS, EndMS int64
	// QuietMS is for how long before it the pipe is known to have stood, at
	// most an hour.
	QuietMS int64
	// LMin is the flow of the first minutes.
	LMin float64
}

// Starts lists the beginnings of the stretches of flow above the threshold.
func (r *Runs) Starts() []Start {
	const longestMS, firstMS = 3600_000, 300_000
	var out []Start
	step := r.Grid.StepMS()
	interval := max(1, int(r.Flow.UsualS/r.Grid.StepS+0.5))
	for _, x := range r.runs {
		if x.trickle {
			continue
		}
		s := Start{AtMS: x.start, EndMS: x.end, QuietMS: x.start - r.Grid.EdgeMS(r.Cells[x.lo])}
		for i := r.Cells[x.lo] - 1; i >= 0 && r.Flow.Values[i] == 0 && s.QuietMS < longestMS; i-- {
			s.QuietMS += step
		}
		n := 0.0
		for j := x.lo + interval; j < x.hi && r.Grid.EdgeMS(r.Cells[j]) < x.start+firstMS; j++ {
			s.LMin, n = s.LMin+r.LMin[j], n+1
		}
		if n > 0 {
			s.LMin /= n
			out = append(out, s)
		}
	}
	return out
}

// Read gives a probe's readings between two times, both included: Unix ms and
// base unit. Of a stream of several probes they are those of the slowest.
func (s *Stream) Read(fromMS, toMS int64) (atMS []int64, value []float64) {
	r := &s.Readings
	for i := r.from(fromMS); i < r.hi && r.at(i) <= toMS; i = r.next(i + 1) {
		atMS, value = append(atMS, r.at(i)), append(value, r.s.V[i])
	}
	return atMS, value
}
