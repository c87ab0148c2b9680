package grid

import (
	"math"
	"slices"
)

// A log too slow to see a probe while water moves sees it afterwards: the pipe
// then stands, and goes from what last flowed towards the air about it,
//
//	T(t) = A + (T_end − A) exp(−(t − end)/θ).
//
// θ is one figure for a probe, from all its still stretches; A is each
// stretch's own. Read back to the end of flow it says what flowed last.

// coolingLeast: so many still stretches of three readings give a θ.
const coolingLeast = 5

// still are readings after a stretch of flow in water that stands, and what
// follows from them.
type still struct {
	atMS  []int64
	tempC []float64
}

// after are the first n readings of still water after a run whose intervals lie
// wholly behind its end and so long after it.
func (k *booker) after(ri, n int, waitS float64) still {
	x, r := &k.runs[ri], &k.p.Readings
	until := int64(math.MaxInt64)
	if ri+1 < len(k.runs) {
		y := &k.runs[ri+1]
		until = max(y.start-y.looseMS/2, k.r.Grid.EdgeMS(k.r.Cells[y.lo]))
	}
	half, usual := int64(k.p.HalfS*1000), int64(k.p.UsualS*1000)
	slack := usual / 20
	var out still
	for i := r.from(x.end + x.looseMS/2 + half - slack + int64(1000*waitS)); i < r.hi && len(out.atMS) < n; i = r.next(i + 1) {
		at := r.at(i)
		last := x.end + half + int64(1000*waitS)
		if m := len(out.atMS); m > 0 {
			last = out.atMS[m-1]
		}
		if at+half > until || at-last > usual+usual/2 {
			break
		}
		out.atMS, out.tempC = append(out.atMS, at), append(out.tempC, k.read(i))
	}
	return out
}

// read is the probe's reading i, where there are several their mean then.
func (k *booker) read(i int) float64 {
	r := &k.p.Readings
	if k.p.One {
		return r.s.V[i]
	}
	g, at := k.r.Grid, r.at(i)
	if d := at - g.StartMS; mod(d, g.StepMS()) == g.StepMS()/2 && d >= 0 && d < int64(g.N)*g.StepMS() {
		return k.p.Values[d/g.StepMS()]
	}
	return k.valueAt(at)
}

// settledS after the water stopped an instant no longer shows that the probe
// followed it late; in a mean it hardly stands.
func (k *booker) settledS() float64 {
	if k.p.HalfS > 0 {
		return 0
	}
	return k.o.FlushTaus * k.o.TauS
}

// cooling finds θ in s, by least squares of the second fall of each still
// stretch on its first; +Inf where the record doesn't say.
func (k *booker) cooling() float64 {
	var xx, xy float64
	n := 0
	for i := range k.runs {
		if k.runs[i].trickle {
			continue
		}
		s := k.after(i, 3, k.settledS())
		if len(s.atMS) < 3 {
			continue
		}
		a, b := s.tempC[0]-s.tempC[1], s.tempC[1]-s.tempC[2]
		if v := a + b; v != v {
			continue
		}
		xx, xy, n = xx+a*a, xy+a*b, n+1
	}
	ratio := xy / xx
	if n < coolingLeast || !(ratio > 0.02 && ratio < 0.995) {
		return math.Inf(1)
	}
	return -k.p.UsualS / math.Log(ratio)
}

// airs is A of each run by its first two still readings, by the usual one where
// it has not as many.
func (k *booker) airs() []float64 {
	out := make([]float64, len(k.runs))
	var all []float64
	for i := range k.runs {
		out[i] = math.NaN()
		if math.IsInf(k.thetaS, 1) || k.runs[i].trickle {
			continue
		}
		if s := k.after(i, 2, k.settledS()); len(s.atMS) == 2 {
			ratio := math.Exp(-float64(s.atMS[1]-s.atMS[0]) / 1000 / k.thetaS)
			if a := (s.tempC[1] - ratio*s.tempC[0]) / (1 - ratio); a == a {
				out[i] = a
				all = append(all, a)
			}
		}
	}
	usual := math.NaN()
	if len(all) > 0 {
		slices.Sort(all)
		usual = all[len(all)/2]
	}
	for i, a := range out {
		if a != a {
			out[i] = usual
		}
	}
	return out
}

// endC reads the first still reading after a run back to a time at its end; ok
// is false where there is none.
func (k *booker) endC(ri int, endMS int64) (tempC float64, ok bool) {
	s := k.after(ri, 1, 0)
	if len(s.atMS) == 0 {
		return 0, false
	}
	air, v := k.airC[ri], s.tempC[0]
	if air != air || math.IsInf(k.thetaS, 1) {
		return v, v == v
	}
	half := k.p.HalfS / k.thetaS
	mean := 1.0
	if half > 0 {
		mean = math.Sinh(half) / half
	}
	back := float64(s.atMS[0]-endMS) / 1000 / k.thetaS
	v = air + (v-air)/mean*math.Exp(back)
	return v, v == v
}
