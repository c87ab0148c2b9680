package reading

import (
	"math"
	"slices"
	"sort"

	"yardheat/ingest/series"
)

// spikes flags readings, one or a few in a row, that lie off from both
// neighbours while those agree. Pipe probes jump honestly when water starts or stops: there the flow
// beside must be known and unchanged, or, where none is logged, the limit is
// wider.
func spikes(s *series.Series, l Limits, quiet Quiet, b Beside, opt FlagOptions) {
	info, _ := series.Lookup(s.Quantity)
	limitK, maxS := l.SpikeK, opt.SpikeSlowMaxIntervalS
	if s.Quantity != "bed_temp" && s.Quantity != "slab_temp" {
		maxS = opt.SpikeWaterMaxIntervalS
	}
	if info.Pipe && len(b.Flow) == 0 && !l.SpikeStated {
		limitK, maxS = max(limitK, opt.SpikeBlindK), min(maxS, opt.SpikeBlindMaxIntervalS)
	}
	if !l.SpikeStated && float64(s.IntervalMS) > 1000*maxS {
		return
	}
	most := int(opt.SpikeMost)
	mostMS := int64(opt.SpikeMostS * 1000)
	if s.Quantity == "bed_temp" || s.Quantity == "slab_temp" {
		mostMS = math.MaxInt64
	}
	var hit []int
	prev, clean := -1, 0
	for i := 0; i < len(s.V); i++ {
		if prev >= 0 && prev == i-1 {
			if i >= clean {
				clean = s.Flags.Until(i, len(s.V))
			}
			i = stepsTo(s.V, quiet, i, clean, limitK)
			if prev = i - 1; i == len(s.V) {
				break
			}
		}
		if prev >= 0 && math.Abs(s.V[i]-s.V[prev]) <= limitK && s.Flags.At(i) == 0 {
			prev = i
			continue
		}
		if s.Flags.At(i) != 0 {
			continue
		}
		if prev < 0 {
			prev = i
			continue
		}
		group, next := away(s, prev, i, most, limitK)
		last := prev
		prev = i
		if next < 0 || len(group) > 1 && (s.T[group[len(group)-1]]-s.T[group[0]] > mostMS || !outlies(s, group, opt)) ||
			gapBetween(s, last, next, opt) || info.Pipe && len(b.Flow) > 0 && !steady(b.Flow, s.T[last], s.T[next]) {
			continue
		}
		hit = append(hit, group...)
		i, prev = next, next
	}
	for _, i := range hit {
		s.Flags.Or(i, series.Spike)
	}
}

// stepsTo is the end, at most end, of the values from i on that each lie within
// limitK, which is at least the limit that quiet was told, of the one before.
func stepsTo(v []float64, quiet Quiet, i, end int, limitK float64) int {
	for i < end && math.Abs(v[i]-v[i-1]) <= limitK {
		for i++; i+stretch <= end && quiet.at(i, level); {
			i += stretch
		}
	}
	return i
}

// away gathers the good readings from i on that lie off from the one at prev,
// all to the same side, and the next one that agrees with it; next is −1 where
// there are more than most of them or none agrees.
func away(s *series.Series, prev, i, most int, limitK float64) (group []int, next int) {
	up := s.V[i] > s.V[prev]
	for ; i < len(s.V); i++ {
		if s.Flags.At(i) != 0 {
			continue
		}
		switch d := s.V[i] - s.V[prev]; {
		case math.Abs(d) <= limitK && math.Abs(s.V[i]-s.V[group[len(group)-1]]) > limitK:
			return group, i
		case len(group) == most || math.Abs(d) <= limitK || (d > 0) != up:
			return group, -1
		}
		group = append(group, i)
	}
	return group, -1
}

// outlies is Hampel's identifier: each reading of the group lies further from
// the median of the good readings about it than some scaled median deviations
// (1.4826 makes the median deviation of normal scatter its standard deviation;
// Hampel 1974, from memory).
func outlies(s *series.Series, group []int, opt FlagOptions) bool {
	half := int(opt.SpikeWindow) / 2
	about := make([]float64, 0, 2*half+len(group))
	for _, step := range [...]int{-1, 1} {
		from := group[0] - 1
		if step > 0 {
			from = group[0]
		}
		for i, n := from, 0; i >= 0 && i < len(s.V) && n < half; i += step {
			if s.Flags.At(i) == 0 {
				about = append(about, s.V[i])
				n++
			}
		}
	}
	median := medianOf(about)
	off := make([]float64, len(about))
	for k, v := range about {
		off[k] = math.Abs(v - median)
	}
	limit := opt.SpikeMAD * 1.4826 * medianOf(off)
	for _, i := range group {
		if math.Abs(s.V[i]-median) <= limit {
			return false
		}
	}
	return true
}

func medianOf(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Clone(v)
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// steady tells whether the flow beside did not start, stop or change much
// between two times. Not known is not steady.
func steady(flow []*series.Series, fromMS, toMS int64) bool {
	seen := false
	for _, f := range flow {
		low, high, n := extremes(f, fromMS, toMS)
		if n == 0 {
			continue
		}
		seen = true
		if low != high && low < 0.5*high {
			return false
		}
	}
	return seen
}

// extremes gives the lowest and highest kept reading that says something of
// the time from fromMS to toMS, the readings on either side of it included;
// amounts as a rate.
func extremes(f *series.Series, fromMS, toMS int64) (low, high float64, n int) {
	low, high = math.Inf(1), math.Inf(-1)
	i := sort.Search(len(f.T), func(k int) bool { return f.T[k] >= fromMS })
	for i = max(0, i-1); i < len(f.T); i++ {
		start := f.T[i]
		if f.From != nil {
			start = f.From[i]
		}
		if f.Flags.At(i) == 0 {
			v := f.V[i]
			if f.Kind == series.Amount {
				v /= float64(max(f.T[i]-f.From[i], 1))
			}
			low, high = min(low, v), max(high, v)
			n++
		}
		if start > toMS {
			break
		}
	}
	return low, high, n
}

// rate flags readings further from the last good one than the step and the
// hours since allow. The allowance grows with time, so that a new level is
// taken after a while, whatever made it.
func rate(s *series.Series, l Limits, b Beside, opt FlagOptions) {
	last := -1
	for i, v := range s.V {
		if s.Flags.At(i) != 0 {
			continue
		}
		if next := goodAfter(s, i+1); last < 0 && next >= 0 && next < len(s.V)-1 && math.Abs(s.V[next]-v) > opt.RateStepK {
			s.Flags.Or(i, series.Rate) // nothing to begin from until two readings agree
			continue
		}
		if last >= 0 && (b.Quiet == nil || !b.Quiet(s.T[i])) {
			hours := float64(s.T[i]-s.T[last]) / 3.6e6
			if math.Abs(v-s.V[last]) > opt.RateStepK+l.RateKPerH*hours {
				s.Flags.Or(i, series.Rate)
				continue
			}
		}
		last = i
	}
}

// stuck flags runs of equal readings that last longer than the limit while
// something beside the probe moved; the first reading of a run is kept. A
// coarse probe is given longer. Where nothing stands beside it, a run must
// last the longest time of all.
func stuck(s *series.Series, l Limits, quiet Quiet, b Beside, opt FlagOptions) {
	scale := max(1, stepOf(s)/opt.FineStepK)
	limitMS := int64(min(l.StuckH*scale, max(l.StuckH, opt.StuckMostH)) * 3.6e6)
	mostMS := int64(opt.StuckMostH * 3.6e6)
	clean := 0
	for i := 0; i < len(s.V); {
		if quiet.solid(s, i) && quiet.solid(s, i+stretch) && s.T[i+2*stretch-1]-s.T[i] <= limitMS {
			i += stretch // what runs begin here end in this stretch or the next, and too soon
			continue
		}
		if i >= clean {
			clean = s.Flags.Until(i, len(s.V))
		}
		if limitMS >= 0 && i+1 < clean && s.V[i+1] != s.V[i] {
			for i++; i%stretch != 0 && i+1 < clean && s.V[i+1] != s.V[i]; {
				i++ // runs of one
			}
			continue
		}
		if j := runsTo(s.V, i); j < len(s.V) && s.T[j-1]-s.T[i] <= limitMS && s.Flags.At(j) == 0 {
			i = j // ends too soon, whatever is flagged in it
			continue
		}
		if s.Flags.At(i) != 0 {
			i++
			continue
		}
		end := equalRun(s, i)
		if from, to := s.T[i], s.T[end-1]; to-from > limitMS && (moved(s, b, from, to, opt) || to-from > mostMS && alone(s, b)) {
			for k := i + 1; k < end; k++ {
				if s.Flags.At(k) == 0 {
					s.Flags.Or(k, series.Stuck)
				}
			}
		}
		i = end
	}
}

// runsTo is the end of the values that equal that at i; not a number equals
// nothing.
func runsTo(v []float64, i int) int {
	j := i + 1
	for j < len(v) && v[j] == v[i] {
		j++
	}
	return j
}

// alone tells whether nothing beside the probe could tell that it is stuck. A
// tank may honestly be flat and is never judged alone.
func alone(s *series.Series, b Beside) bool {
	return len(b.Flow) == 0 && len(b.Like) == 0 && s.Quantity != "tank_temp"
}

// moved tells whether water passed a pipe probe, or a probe like it moved,
// meanwhile. A bed with no other bed probe is judged by time alone: a bed
// always moves.
func moved(s *series.Series, b Beside, fromMS, toMS int64, opt FlagOptions) bool {
	switch s.Quantity {
	case "bed_temp", "slab_temp", "outdoor_temp", "air_temp":
		if len(b.Like) == 0 {
			return true
		}
	default:
		for _, f := range b.Flow {
			if _, high, n := extremes(f, fromMS, toMS); n > 0 && high > 0 {
				return true
			}
		}
	}
	for _, o := range b.Like {
		if low, high, n := extremes(o, fromMS, toMS); n > 1 && high-low >= opt.MovedK {
			return true
		}
	}
	return false
}

// stepOf is a probe's resolution: the smallest of the steps between readings,
// over at most some ten thousand of them; 0 where it never moved.
func stepOf(s *series.Series) float64 {
	least := math.Inf(1)
	prev := math.NaN()
	for i, n := 0, 0; i < len(s.V) && n < 4*mostSteps; i++ {
		if s.Flags.At(i) != 0 {
			continue
		}
		n++
		if d := math.Abs(s.V[i] - prev); d > 1e-6 {
			least = min(least, d)
		}
		prev = s.V[i]
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}

// quantileOfPositive is the p-quantile of the kept readings above zero; 0
// where there are none.
func quantileOfPositive(s *series.Series, p float64) float64 {
	var v []float64
	for i, x := range s.V {
		if x > 0 && s.Flags.At(i) == 0 {
			v = append(v, x)
		}
	}
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return v[int(p*float64(len(v)-1))]
}
