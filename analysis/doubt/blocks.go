package doubt

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

const (
	// MinBlockDays is the shortest block: weather and habit hold for days.
	MinBlockDays = 3
	// MinBlocks is the fewest blocks that an interval is made from.
	MinBlocks = 8
	// manyBlocks: with fewer, Student's t stands for the normal distribution.
	manyBlocks = 40
)

// Blocks is a plan to resample days in whole blocks, so that neighbouring
// days, which are alike, stay together (circular block bootstrap, Politis and
// Romano 1992, from memory). Only days that have rows count; the last joins
// the first.
type Blocks struct {
	// Rows and Days are counts; Length is in days; Count = Days/Length.
	Rows, Days, Length, Count int
	// Lag1 is the lag-one correlation that Length came from.
	Lag1 float64
	// Inflate widens the spread where blocks are few: t(97.5 %, G − p)/1.96 ·
	// √(G/(G − p)); 1 from 40 blocks on.
	Inflate float64

	dayOf []int
	ones  []float64
}

// NewBlocks plans for rows that fall on the local days given (any whole
// numbers that rise by one a day; several rows may share a day). lag1 is the
// correlation of neighbouring days (see Lag1 and DayMeans), params the number
// of parameters p of what is inferred (1 for a mean or a ratio).
func NewBlocks(day []int, lag1 float64, params int) *Blocks {
	b := &Blocks{Rows: len(day), Lag1: lag1, dayOf: make([]int, len(day)), ones: make([]float64, len(day))}
	days := distinct(day)
	for r, d := range day {
		b.dayOf[r] = sort.SearchInts(days, d)
		b.ones[r] = 1
	}
	b.Days = len(days)
	b.Length = BlockLength(b.Days, lag1)
	b.Count = b.Days / b.Length
	b.Inflate = inflate(b.Count, params)
	return b
}

// Why says why there are too few blocks for an interval; "" where there are
// enough.
func (b *Blocks) Why() string {
	if b.Count >= MinBlocks {
		return ""
	}
	return fmt.Sprintf("%d days make %d of the %d blocks of %d days that an interval needs", b.Days, b.Count, MinBlocks, b.Length)
}

// draw fills w, one weight a row: how often the row's day was chosen, scaled
// so that the days' weights have the mean 1, and widened by Inflate. With few
// blocks a weight can be a little below 0: use it in sums, not under roots.
func (b *Blocks) draw(rng *rand.Rand, w, day []float64) {
	if b.Days == 0 {
		return
	}
	clear(day)
	k := b.chosen()
	for range k {
		start := rng.IntN(b.Days)
		for j, d := 0, start; j < b.Length; j++ {
			day[d]++
			if d++; d == b.Days {
				d = 0
			}
		}
	}
	scale := float64(b.Days) / float64(k*b.Length)
	for r, d := range b.dayOf {
		w[r] = 1 + b.Inflate*(day[d]*scale-1)
	}
}

// chosen is how many blocks make one resample.
func (b *Blocks) chosen() int { return (b.Days + b.Length - 1) / b.Length }

// BlockLength is the length in days of the blocks for a series of so many
// days whose neighbours correlate by lag1: the length that makes the block
// bootstrap's variance of a mean nearest the truth for a first-order
// autoregression,
//
//	l = (6 ρ²/(1 − ρ²)²)^(1/3) · n^(1/3)
//
// (Politis and White 2004 with the correction by Patton and others 2009, both
// from memory), rounded up, at least MinBlockDays, at most half the days.
func BlockLength(days int, lag1 float64) int {
	l := MinBlockDays
	if rho := math.Min(lag1, 0.99); rho > 0 {
		l = max(l, int(math.Ceil(math.Cbrt(6*rho*rho/math.Pow(1-rho*rho, 2)*float64(days)))))
	}
	return min(l, max(MinBlockDays, days/2))
}

func inflate(blocks, params int) float64 {
	df := float64(blocks - params)
	if blocks >= manyBlocks || df < 1 {
		return 1
	}
	return StudentT(0.975, df) / z95 * math.Sqrt(float64(blocks)/df)
}

// StudentT is the quantile of Student's t at p with df degrees of freedom.
func StudentT(p, df float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
}

// Lag1 is the lag-one autocorrelation as NIST certifies it,
// r1 = Σ (x_i − m)(x_{i−1} − m) / Σ (x_i − m)²; 0 for a constant series and
// for fewer than three values.
func Lag1(x []float64) float64 {
	return autocovariance(x, 1, 0)
}

// autocovariance at lag k over that at lag 0, or with divisor n where n > 0.
func autocovariance(x []float64, lag int, n float64) float64 {
	if len(x) < 3 {
		return 0
	}
	m := stat.Mean(x, nil)
	var top, bottom float64
	for i, v := range x {
		bottom += (v - m) * (v - m)
		if i >= lag {
			top += (v - m) * (x[i-lag] - m)
		}
	}
	switch {
	case n > 0:
		return top / n
	case bottom == 0:
		return 0
	}
	return top / bottom
}

// EffectiveN is the number of independent values that n related ones are
// worth, n (1 − ρ)/(1 + ρ) (Zwiers and von Storch 1995; ASHRAE Guideline 14).
func EffectiveN(n int, lag1 float64) float64 {
	return float64(n) * (1 - lag1) / (1 + lag1)
}

// NeweyWest is the standard error of the mean of related values,
//
//	se² = (γ_0 + 2 Σ_{j=1..L} (1 − j/(L+1)) γ_j)/n
//
// with γ_j the autocovariance with divisor n (Newey and West 1987).
func NeweyWest(x []float64, lags int) float64 {
	n := float64(len(x))
	sum := autocovariance(x, 0, n)
	for j := 1; j <= lags && j < len(x); j++ {
		sum += 2 * (1 - float64(j)/float64(lags+1)) * autocovariance(x, j, n)
	}
	return math.Sqrt(math.Max(0, sum) / n)
}

// DayMeans are the means of x by day, in the order of the days: what Lag1 is
// taken of. NaN values are left out.
func DayMeans(day []int, x []float64) []float64 {
	days := distinct(day)
	sum, n := make([]float64, len(days)), make([]float64, len(days))
	for i, d := range day {
		if k := sort.SearchInts(days, d); !math.IsNaN(x[i]) {
			sum[k] += x[i]
			n[k]++
		}
	}
	means := make([]float64, 0, len(days))
	for k := range days {
		if n[k] > 0 {
			means = append(means, sum[k]/n[k])
		}
	}
	return means
}

func distinct(day []int) []int {
	days := append([]int(nil), day...)
	sort.Ints(days)
	n := 0
	for i, d := range days {
		if i == 0 || d != days[i-1] {
			days[n] = d
			n++
		}
	}
	return days[:n]
}
