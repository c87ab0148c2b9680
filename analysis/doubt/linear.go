package doubt

import "math"

// Slope is what output k moves by per unit of source i's error, from both sides
// of it; NaN for a choice of days.
func (r *Result) Slope(i, k int) float64 {
	if r.slopes[i] == nil {
		return math.NaN()
	}
	return r.slopes[i][k]
}

// Variance is that of output k which source i makes alone.
func (r *Result) Variance(i, k int) float64 { return r.variances[i][k] }

// Under is every output under given errors, one a source: what a record with
// these errors left in would say. Errors made of others are taken as given, not
// made again.
func (r *Result) Under(e []float64) []float64 {
	t, out := r.run.newTrial(), make([]float64, len(r.Outputs))
	copy(t.E, e)
	r.run.model(t, out)
	return out
}

// Narrowed is the interval of output k if its variance were less by so much:
// both sides shrink as the standard uncertainty does,
//
//	u' = u √(1 − less/Σ v_i)
//
// with v_i the variance that each source makes alone (JCGM 100:2008, 5.1.2).
// NaN where the trials gave none.
func (r *Result) Narrowed(k int, less float64) (low, high float64) {
	o := r.Outputs[k]
	f := 1.0
	if all := o.AloneSD * o.AloneSD; all > 0 {
		f = math.Sqrt(max(0, 1-less/all))
	}
	return o.Nominal - f*(o.Nominal-o.Low), o.Nominal + f*(o.High-o.Nominal)
}

// VarianceOf is the variance of Σ slope_i e_i over the sources, with what they
// have in common; slopes is one a source. Days have none.
func VarianceOf(sources []Source, slopes []float64) float64 {
	own := append([]float64(nil), slopes...)
	for i := len(sources) - 1; i >= 0; i-- {
		for _, l := range sources[i].Of {
			own[l.Source] += l.Weight * own[i]
		}
	}
	sum := 0.0
	for i, s := range sources {
		if u := s.U(); len(s.Of) == 0 && s.Dist != Resample {
			sum += own[i] * own[i] * u * u
		}
	}
	return sum
}

// SensorRow is one instrument's share of an output's variance.
type SensorRow struct {
	Sensor string
	Kind   Kind
	Share  float64
	// Largest is the source that makes the most of it.
	Largest int
}

// BySensor adds up the budget of output k by instrument, shared and random
// apart, the largest first. What several instruments have in common, or between
// them, is parted by the squares of their slopes times their loads:
//
//	share_i = v_f (g_i w_if)² / Σ_j (g_j w_jf)²
//
// so that no share is negative and all add up to 1.
func (r *Result) BySensor(k int) []SensorRow {
	var rows []SensorRow
	at := map[SensorRow]int{}
	largest := map[int]float64{}
	add := func(name string, kind Kind, source int, share float64) {
		key := SensorRow{Sensor: name, Kind: kind}
		i, ok := at[key]
		if !ok {
			i = len(rows)
			at[key] = i
			rows = append(rows, key)
			rows[i].Largest = source
		}
		rows[i].Share += share
		if share > largest[i] {
			largest[i], rows[i].Largest = share, source
		}
	}
	for _, b := range r.Budget(k) {
		s := r.Sources[b.Source]
		parts := r.parts(b.Source, k)
		for j, name := range s.sensors() {
			add(name, s.Kind, b.Source, b.Share*parts[j])
		}
	}
	sortShares(rows)
	return rows
}

func (s Source) sensors() []string {
	if len(s.Sensors) == 0 {
		return []string{s.Name}
	}
	return s.Sensors
}

// parts says how a source's variance in output k is parted among its sensors:
// by those sources of the sensors that are made of it, evenly where there are
// none.
func (r *Result) parts(source, k int) []float64 {
	names := r.Sources[source].sensors()
	parts, sum := make([]float64, len(names)), 0.0
	for j, name := range names {
		for i, s := range r.Sources {
			if s.Name != name {
				continue
			}
			for _, l := range s.Of {
				if l.Source == source {
					g := known(math.Abs(r.slopes[i][k] * l.Weight))
					parts[j] += g * g
					sum += g * g
				}
			}
		}
	}
	for j := range parts {
		if sum > 0 {
			parts[j] /= sum
		} else {
			parts[j] = 1 / float64(len(parts))
		}
	}
	return parts
}
