package chart

import (
	"math"
	"time"

	"gonum.org/v1/plot"
)

// ticks are round numbers, about as many as fit.
type ticks struct{ most int }

// Ticks implements plot.Ticker.
func (t ticks) Ticks(low, high float64) []plot.Tick {
	step := niceStep((high - low) / float64(t.most))
	decimals := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	var out []plot.Tick
	for k := math.Ceil(low/step - 1e-9); k*step <= high+1e-9*step; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: Number(k*step, decimals)})
	}
	return out
}

// niceStep is the smallest 1, 2 or 5 times a power of ten not below least.
func niceStep(least float64) float64 {
	if !(least > 0) || math.IsInf(least, 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(least)))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= least*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// days are local midnights (or firsts of months), about as many as fit. The
// axis is Unix seconds.
type days struct {
	zone *time.Location
	most int
}

// Ticks implements plot.Ticker.
func (d days) Ticks(low, high float64) []plot.Tick {
	from := time.Unix(int64(low), 0).In(d.zone)
	span := (high - low) / 86400
	if span > float64(31*d.most) {
		return d.months(from, low, high, int(math.Ceil(span/30.4/float64(d.most))))
	}
	step := 1
	for _, s := range []int{1, 2, 4, 7, 14, 28} {
		step = s
		if span/float64(s) <= float64(d.most) {
			break
		}
	}
	var out []plot.Tick
	at := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, d.zone)
	for ; float64(at.Unix()) <= high; at = at.AddDate(0, 0, step) {
		out = appendTick(out, at, low, "2 Jan")
	}
	return out
}

func (d days) months(from time.Time, low, high float64, step int) []plot.Tick {
	var out []plot.Tick
	at := time.Date(from.Year(), from.Month(), 1, 0, 0, 0, 0, d.zone)
	for ; float64(at.Unix()) <= high; at = at.AddDate(0, step, 0) {
		out = appendTick(out, at, low, "Jan 06")
	}
	return out
}

func appendTick(out []plot.Tick, at time.Time, low float64, layout string) []plot.Tick {
	if float64(at.Unix()) < low {
		return out
	}
	return append(out, plot.Tick{Value: float64(at.Unix()), Label: at.Format(layout)})
}

// decimate keeps, of each of the columns that a line crosses, its first, least,
// greatest and last point: what the eye would see of it. xs ascend; NaN breaks
// the line and stays as a break.
func decimate(xs, ys []float64, low, high float64, columns int) (x, y []float64) {
	if len(xs) <= 4*columns || !(high > low) {
		return xs, ys
	}
	column := func(v float64) int { return int(float64(columns) * (v - low) / (high - low)) }
	for from := 0; from < len(xs); {
		to := from + 1
		for to < len(xs) && column(xs[to]) == column(xs[from]) && math.IsNaN(ys[to]) == math.IsNaN(ys[from]) {
			to++
		}
		for _, i := range corners(ys, from, to) {
			x, y = append(x, xs[i]), append(y, ys[i])
		}
		from = to
	}
	return x, y
}

// corners are first, least, greatest and last of ys[from:to], in order, once
// each.
func corners(ys []float64, from, to int) []int {
	least, greatest := from, from
	for i := from; i < to; i++ {
		if ys[i] < ys[least] {
			least = i
		}
		if ys[i] > ys[greatest] {
			greatest = i
		}
	}
	out := []int{from}
	for _, i := range []int{min(least, greatest), max(least, greatest), to - 1} {
		if i > out[len(out)-1] {
			out = append(out, i)
		}
	}
	return out
}
