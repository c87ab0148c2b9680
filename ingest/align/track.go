package align

import (
	"math"
	"slices"
)

// The coarse search: lags in bins, stretches of days.
const (
	binS = 60.0
	// wideS is the standard deviation of a match in the coarse search: wide
	// enough for milkings written to five minutes and for the drift in a stretch.
	wideS = 180.0
	// share of the moved events that is expected to have a partner.
	share = 0.6
	// eventsPer is how many moved events a stretch should hold; it is between
	// shortestDays and longestDays long.
	eventsPer                 = 20.0
	shortestDays, longestDays = 3.0, 15.0
	// jumpCost and binCost are the log likelihoods that a jump, and a change by
	// one bin from stretch to stretch, must pay for.
	jumpCost, binCost = 14.0, 0.5
	offPath           = -1e9
)

// track is the log likelihood of every lag in every stretch.
type track struct {
	bins    int     // lags −(bins/2) … +(bins/2), in binS
	widthMS float64 // of a stretch
	fromMS  int64   // where the first begins
	rows    [][]float64
	drift   int // most bins from one stretch to the next
	sc      *scratch
}

func (k *track) lagS(bin int) float64 { return float64(bin-k.bins/2) * binS }

// stretch is the index of the stretch that holds a time.
func (k *track) stretch(atMS int64) int {
	return min(max(int(float64(atMS-k.fromMS)/k.widthMS), 0), len(k.rows)-1)
}

// scratch is what one search after another fills anew.
type scratch struct {
	rows, best, cur, next []float64
	from                  []int32
}

func room[T any](v *[]T, n int) []T {
	if cap(*v) < n {
		*v = make([]T, n)
	}
	*v = (*v)[:n]
	clear(*v)
	return *v
}

// newTrack fills the likelihoods: for each moved event and lag
//
//	log(1 − q + q φ(d)/ρ)
//
// d the distance to the nearest fixed event at that lag, φ a normal density of
// wideS, ρ the rate of fixed events, q = share.
func newTrack(moved, fixed []int64, opt Options, sc *scratch) *track {
	half := int(opt.MostS / binS)
	k := &track{bins: 2*half + 1, fromMS: moved[0], sc: sc}
	span := float64(moved[len(moved)-1]-moved[0]) + 1
	days := min(max(eventsPer*span/dayMS/float64(len(moved)), shortestDays), longestDays)
	n := max(1, int(math.Ceil(span/dayMS/days)))
	k.widthMS = span / float64(n)
	k.drift = 1 + int(opt.MostDriftSPerDay*k.widthMS/dayMS/binS)
	k.rows = make([][]float64, n)
	flat := room(&sc.rows, n*k.bins)
	for w := range k.rows {
		k.rows[w] = flat[w*k.bins : (w+1)*k.bins]
	}
	gain := gains(fixed)
	reach := int64(opt.MostS*secondMS) + int64(len(gain))*binS*secondMS
	best := room(&sc.best, k.bins)
	lo := 0
	for _, a := range moved {
		for lo < len(fixed) && fixed[lo] < a-reach {
			lo++
		}
		row := k.rows[k.stretch(a)]
		first, last := k.bins, -1
		for j := lo; j < len(fixed) && fixed[j] <= a+reach; j++ {
			at := half + int(math.Round(float64(a-fixed[j])/(binS*secondMS)))
			for b := max(at-len(gain)+1, 0); b <= min(at+len(gain)-1, k.bins-1); b++ {
				best[b] = max(best[b], gain[max(b-at, at-b)])
				first, last = min(first, b), max(last, b)
			}
		}
		for b := first; b <= last; b++ {
			row[b] += best[b]
			best[b] = 0
		}
	}
	return k
}

// gains are the log likelihoods of a match by its distance in bins, above that
// of no match.
func gains(fixed []int64) []float64 {
	perS := rate(fixed)
	var out []float64
	for b := 0; ; b++ {
		x := float64(b) * binS / wideS
		g := math.Log(1 + share/(1-share)*math.Exp(-x*x/2)/(wideS*math.Sqrt(2*math.Pi)*perS))
		if g < 0.05 && b > 0 || b > 12 {
			return out
		}
		out = append(out, g)
	}
}

// rate is how many events there are a second.
func rate(at []int64) float64 {
	if len(at) < 2 {
		return 1.0 / 86400
	}
	return float64(len(at)-1) * secondMS / float64(max(at[len(at)-1]-at[0], dayMS))
}

// path finds the best lag of every stretch: the sum of likelihoods, less the
// cost of changes between stretches. Where avoid is not nil the path keeps apart
// from it by more than that many bins everywhere.
func (k *track) path(avoid []int, apart int) []int {
	n := len(k.rows)
	from := room(&k.sc.from, n*k.bins)
	at := func(w, b int) float64 {
		if avoid != nil && b >= avoid[w]-apart && b <= avoid[w]+apart {
			return offPath
		}
		return k.rows[w][b]
	}
	cur, next := room(&k.sc.cur, k.bins), room(&k.sc.next, k.bins)
	for b := range cur {
		cur[b] = at(0, b)
	}
	for w := 1; w < n; w++ {
		k.step(cur, next, from[w*k.bins:(w+1)*k.bins])
		for b := range next {
			next[b] += at(w, b)
		}
		cur, next = next, cur
	}
	out := make([]int, n)
	out[n-1] = argMax(cur)
	for w := n - 1; w > 0; w-- {
		out[w-1] = int(from[w*k.bins+out[w]])
	}
	return out
}

// step carries the best sums on to the next stretch: a lag is reached from the
// same lag, from its neighbours at binCost a bin (a distance transform: once up,
// once down), or from the best of all at jumpCost.
func (k *track) step(cur, next []float64, from []int32) {
	for b, v := range cur {
		next[b], from[b] = v, int32(b)
		if b > 0 && next[b-1]-binCost > v {
			next[b], from[b] = next[b-1]-binCost, from[b-1]
		}
	}
	for b := len(cur) - 2; b >= 0; b-- {
		if v := next[b+1] - binCost; v > next[b] {
			next[b], from[b] = v, from[b+1]
		}
	}
	top := argMax(cur)
	for b := range next {
		if v := cur[top] - jumpCost; v > next[b] {
			next[b], from[b] = v, int32(top)
		}
	}
}

func argMax(v []float64) int {
	best := 0
	for i, x := range v {
		if x > v[best] {
			best = i
		}
	}
	return best
}

// nearest is the index of the event nearest to a time, from a hint at or before
// it.
func nearest(at []int64, t int64) int {
	i, _ := slices.BinarySearch(at, t)
	if i == len(at) || i > 0 && t-at[i-1] <= at[i]-t {
		i--
	}
	return i
}
