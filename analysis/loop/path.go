package loop

import (
	"cmp"
	"math"
	"slices"
)

// path is the record made ready for the model: still stretches thinned, litres
// summed, inlet held back to the start of each run, holes in the bed bridged.
// It does not depend on the parameters.
type path struct {
	node []int // node of the Input, ascending
	t    []float64
	bed  []float64
	in   []float64 // as the parcels see it
	out  []float64
	// w: litres since the segment's start; flow, still: seconds of each since
	// then; bridged: seconds in which the bed was interpolated.
	w, flow, still, bridged []float64
	// q0, q1: L/s at both ends of interval i; stands: the water stands in it.
	q0, q1 []float64
	stands []bool
	segs   []segment
	runs   []run
	draws  []Draw
	// thresholdLMin above which flow is a draw.
	thresholdLMin float64
	leftOutL      float64 // litres outside all segments
}

// segment is a stretch nodes[from..to] (both included) with flow and bed
// covered throughout.
type segment struct {
	from, to int
	waits    []wait
}

// wait is a place in the water column where the inlet stood still: water that
// entered at a, before the stop, borders on water that entered at b.
type wait struct {
	w    float64
	a, b int // nodes
}

// run is a stretch of unbroken flow, nodes from..to, within one segment; draw
// is -1 where it is too short to be one.
type run struct {
	from, to, seg, draw int
}

// threshold is the larger of a share of the 95th percentile of the flow (by
// time) and a floor (method, section 2).
func threshold(in *Input, o Options) float64 {
	var q [][2]float64 // L/min, s
	total := 0.0
	for i := range in.Flow0 {
		if m := (in.Flow0[i] + in.Flow1[i]) / 2; m > 0 {
			h := in.T[i+1] - in.T[i]
			q, total = append(q, [2]float64{m, h}), total+h
		}
	}
	slices.SortFunc(q, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
	sum := 0.0
	for _, v := range q {
		if sum += v[1]; sum >= 0.95*total {
			return max(o.ThresholdLMin, o.ThresholdShare*v[0])
		}
	}
	return o.ThresholdLMin
}

// newPath prepares in; its validity has been checked.
func newPath(in *Input, o Options) *path {
	p := &path{thresholdLMin: threshold(in, o)}
	p.grow(in, o)
	bed, bridged := bridge(in.T, in.BedC, o.BridgeS)
	inlet := heldBack(in, p.thresholdLMin, o)
	for from := 0; from < len(in.Flow0); {
		to := from
		for to < len(in.Flow0) && covered(in, bed, to) {
			to++
		}
		if to > from {
			p.addSegment(in, bed, inlet, bridged, from, to, o)
		}
		from = to + 1
	}
	p.findDraws(in, o)
	p.leftOutL = uncoveredLitres(in, bed)
	return p
}

// grow makes room for about as many nodes as there will be.
func (p *path) grow(in *Input, o Options) {
	n := 0
	for i := range in.Flow0 {
		if !idle(in, i) {
			n++
		}
	}
	if len(in.T) > 0 && o.StillStepS > 0 {
		n += int(1.2 * (in.T[len(in.T)-1] - in.T[0]) / o.StillStepS)
	}
	n = min(n, len(in.T)) + 64
	p.node, p.stands = make([]int, 0, n), make([]bool, 0, n)
	for _, x := range []*[]float64{&p.t, &p.bed, &p.in, &p.out, &p.w, &p.flow, &p.still, &p.bridged, &p.q0, &p.q1} {
		*x = make([]float64, 0, n)
	}
}

func covered(in *Input, bed []float64, i int) bool {
	return !math.IsNaN(in.Flow0[i]+in.Flow1[i]) && !math.IsNaN(bed[i]+bed[i+1])
}

func uncoveredLitres(in *Input, bed []float64) float64 {
	sum := 0.0
	for i := range in.Flow0 {
		q := (in.Flow0[i] + in.Flow1[i]) / 2
		if !covered(in, bed, i) && q > 0 {
			sum += q / 60 * (in.T[i+1] - in.T[i])
		}
	}
	return sum
}

// bridge fills holes of at most longestS between two readings by a straight
// line and marks the intervals that it filled.
func bridge(t, bed []float64, longestS float64) (filled []float64, made []bool) {
	filled, made = slices.Clone(bed), make([]bool, len(bed))
	last := -1
	for i, v := range bed {
		if math.IsNaN(v) {
			continue
		}
		if last >= 0 && i > last+1 && t[i]-t[last] <= longestS {
			for j := last; j < i; j++ {
				made[j] = true
				f := (t[j] - t[last]) / (t[i] - t[last])
				filled[j] = bed[last] + f*(v-bed[last])
			}
		}
		last = i
	}
	return filled, made
}

// heldBack is the inlet as the water entering had it: in each run of flow the
// readings before the probe was flushed (3 lags) are replaced by the first
// flushed one, and the node after the last flowing one by that one. A probe
// that stood in still water says nothing of the water that enters next.
func heldBack(in *Input, thresholdLMin float64, o Options) []float64 {
	c := slices.Clone(in.InC)
	if o.InletLagS == 0 && in.EdgeS == 0 {
		return c
	}
	flush := max(3*o.InletLagS, in.EdgeS)
	for i := 0; i < len(in.Flow0); {
		if !flows(in, i, thresholdLMin) {
			i++
			continue
		}
		end := i
		for end < len(in.Flow0) && flows(in, end, thresholdLMin) {
			end++
		}
		holdRun(in, c, i, end, flush)
		i = end
	}
	return c
}

// holdRun works on the nodes from..end of one run.
func holdRun(in *Input, c []float64, from, end int, flushS float64) {
	first := from
	for first < end-1 && (in.T[first]-in.T[from] < flushS || math.IsNaN(c[first])) {
		first++
	}
	for j := from; j < first; j++ {
		c[j] = c[first]
	}
	c[end] = c[max(end-1, from)]
}

func flows(in *Input, i int, thresholdLMin float64) bool {
	return (in.Flow0[i]+in.Flow1[i])/2 > thresholdLMin
}

// addSegment copies nodes from..to into the path, thinning still stretches.
func (p *path) addSegment(in *Input, bed, inlet []float64, bridged []bool, from, to int, o Options) {
	s := segment{from: len(p.t)}
	p.addNode(in, inlet, from, bed[from])
	p.w, p.flow, p.still, p.bridged = append(p.w, 0), append(p.flow, 0), append(p.still, 0), append(p.bridged, 0)
	for i := from; i < to; {
		j := i + 1
		if idle(in, i) {
			for j < to && idle(in, j) && in.T[j+1]-in.T[i] <= o.StillStepS {
				j++
			}
		}
		p.addInterval(in, bed, inlet, bridged, i, j, j < to && j > i+1)
		i = j
	}
	s.to = len(p.t) - 1
	p.q0, p.q1, p.stands = append(p.q0, 0), append(p.q1, 0), append(p.stands, true)
	s.waits = p.findWaits(s)
	p.segs = append(p.segs, s)
	p.findRuns(len(p.segs) - 1)
}

func idle(in *Input, i int) bool { return in.Flow0[i] <= 0 && in.Flow1[i] <= 0 }

func (p *path) addNode(in *Input, inlet []float64, i int, bedC float64) {
	p.node, p.t = append(p.node, i), append(p.t, in.T[i])
	p.bed, p.in, p.out = append(p.bed, bedC), append(p.in, inlet[i]), append(p.out, in.OutC[i])
}

// addInterval appends the interval from node i to node j (more than one step
// only where the water stands) and node j.
func (p *path) addInterval(in *Input, bed, inlet []float64, bridged []bool, i, j int, smooth bool) {
	last := len(p.t) - 1
	h := in.T[j] - in.T[i]
	q0, q1 := max(in.Flow0[i], 0)/60, max(in.Flow1[j-1], 0)/60
	stands := !flows(in, i, p.thresholdLMin)
	p.q0, p.q1, p.stands = append(p.q0, q0), append(p.q1, q1), append(p.stands, stands)
	b := bed[j]
	if smooth { // a thinned node speaks for its neighbours
		b = around(bed, i, j)
	}
	p.addNode(in, inlet, j, b)
	made := 0.0
	for k := i; k < j; k++ {
		if bridged[k] {
			made += in.T[k+1] - in.T[k]
		}
	}
	flow, still := h, 0.0
	if stands {
		flow, still = 0, h
	}
	p.w = append(p.w, p.w[last]+(q0+q1)/2*h)
	p.flow, p.still = append(p.flow, p.flow[last]+flow), append(p.still, p.still[last]+still)
	p.bridged = append(p.bridged, p.bridged[last]+made)
}

// around is the mean of the bed about node j, half the thinned step each way.
func around(bed []float64, i, j int) float64 {
	half := (j - i) / 2
	sum, n := 0.0, 0
	for k := j - half; k <= j+half && k < len(bed); k++ {
		if !math.IsNaN(bed[k]) {
			sum, n = sum+bed[k], n+1
		}
	}
	return sum / float64(n)
}

// findWaits lists the stretches in which no litre passed.
func (p *path) findWaits(s segment) []wait {
	var out []wait
	for i := s.from; i < s.to; i++ {
		if p.w[i+1] > p.w[i] {
			continue
		}
		j := i + 1
		for j < s.to && p.w[j+1] == p.w[i] {
			j++
		}
		out = append(out, wait{p.w[i], i, j})
		i = j
	}
	return out
}

// findRuns lists the runs of flow of a segment.
func (p *path) findRuns(seg int) {
	s := p.segs[seg]
	for i := s.from; i < s.to; i++ {
		if p.stands[i] {
			continue
		}
		j := i
		for j < s.to && !p.stands[j] {
			j++
		}
		p.runs = append(p.runs, run{from: i, to: j, seg: seg, draw: -1})
		i = j
	}
}

// findDraws joins runs to draws: those of the Input, or by the pauses.
func (p *path) findDraws(in *Input, o Options) {
	spans := in.Draws
	if spans == nil {
		spans = p.joinRuns(o)
	}
	k := 0
	for _, sp := range spans {
		d := Draw{FromS: sp[0], ToS: sp[1]}
		for k < len(p.runs) && p.t[p.runs[k].to] <= sp[0] {
			k++
		}
		any := false
		for ; k < len(p.runs) && p.t[p.runs[k].from] < sp[1]; k++ {
			r := &p.runs[k]
			r.draw, any = len(p.draws), true
			d.Litres += p.w[r.to] - p.w[r.from]
		}
		if any || in.Draws != nil {
			p.draws = append(p.draws, d)
		}
	}
}

func (p *path) joinRuns(o Options) [][2]float64 {
	var out [][2]float64
	var flowing []float64
	for _, r := range p.runs {
		from, to := p.t[r.from], p.t[r.to]
		if n := len(out); n > 0 && from-out[n-1][1] <= o.PauseS {
			out[n-1][1] = to
			flowing[n-1] += to - from
			continue
		}
		out, flowing = append(out, [2]float64{from, to}), append(flowing, to-from)
	}
	kept := out[:0]
	for i, sp := range out {
		if flowing[i] >= o.MinDrawS {
			kept = append(kept, sp)
		}
	}
	return kept
}
