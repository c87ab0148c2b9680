package simfarm

import (
	"math"
	"math/rand/v2"
)

// readings are a logger's rows before they become text.
type readings struct {
	stamp  []int64   // by the logger's clock
	trueS  []float64 // seconds after the start
	values [][]float64
	odd    []map[int]string // by column: rows that say something else
}

func (r *readings) bad(column, row int) (cell string, ok bool) {
	cell, ok = r.odd[column][row]
	return cell, ok
}

// readings takes every column's readings at the logger's own times.
func (f *Farm) readings(li int) *readings {
	l := &f.s.Loggers[li]
	r := &readings{}
	f.times(l, r)
	for ci := range l.Columns {
		rng := rand.New(rand.NewPCG(f.s.Seed, uint64(0x10000+100*li+ci)))
		r.values = append(r.values, f.column(l, &l.Columns[ci], r, f.columnErrs[li][ci], rng))
		r.odd = append(r.odd, odd(&l.Columns[ci], len(r.stamp), rng))
	}
	if l.StampAt == "start" {
		for i := range r.stamp {
			r.stamp[i] -= int64(l.IntervalS)
		}
	}
	return r
}

// times are the logger's rows: on whole intervals by its own clock, gaps left
// out.
func (f *Farm) times(l *Logger, r *readings) {
	step := int64(l.IntervalS)
	mid := float64(f.start+f.end) / 2
	gaps := l.Gaps
	gaps = append(gaps[:len(gaps):len(gaps)], f.idleGaps(l)...)
	end := float64(f.end - f.start)
	leg := func(from, to, aheadS float64) {
		for s := (f.start + int64(from+aheadS)) / step * step; ; s += step {
			at := float64(s) - aheadS - l.DriftSPerDay*(float64(s)-mid)/86400 - float64(f.start)
			if at < from {
				continue
			}
			if at >= to {
				return
			}
			if !inGap(gaps, at/86400) {
				r.stamp = append(r.stamp, s)
				r.trueS = append(r.trueS, at)
			}
		}
	}
	if jump := l.JumpDay * 86400; l.JumpS != 0 {
		leg(0, jump, l.AheadS)
		leg(jump, end, l.AheadS+l.JumpS)
		return
	}
	leg(0, end, l.AheadS)
}

func inGap(gaps [][2]float64, day float64) bool {
	for _, g := range gaps {
		if day > g[0] && day < g[0]+g[1]/24 {
			return true
		}
	}
	return false
}

// idleGaps are short gaps at times when no water moves in loop, plate or wash,
// half an hour around.
func (f *Farm) idleGaps(l *Logger) [][2]float64 {
	rng := f.noise(0x6a95)
	var gaps [][2]float64
	n := len(f.signal[LoopL])
	for try := 0; try < 500 && len(gaps) < l.IdleGaps; try++ {
		length := 5 + rng.IntN(25)
		a := 60 + rng.IntN(n-200)
		b := a + length
		idle := true
		for _, s := range [...]Signal{LoopL, PlateL, WashL, ElementKWh} {
			idle = idle && f.signal[s][b+30] == f.signal[s][a-30]
		}
		if idle {
			gaps = append(gaps, [2]float64{float64(a) / 1440, float64(length) / 60})
		}
	}
	return gaps
}

// state: on or off.
func (s Signal) state() bool { return s >= PumpOn }

// at is a signal between its samples; states hold.
func (f *Farm) at(s Signal, seconds float64) float64 {
	v, x := f.signal[s], seconds/60
	if f.quick[s] != nil {
		v, x = f.quick[s], seconds/stepS
	}
	i := min(max(int(x), 0), len(v)-2)
	if s.state() {
		if x >= float64(len(v)-1) {
			i++
		}
		return v[i]
	}
	return v[i] + (min(max(x, 0), float64(len(v)-1))-float64(i))*(v[i+1]-v[i])
}

// column takes one column's readings.
func (f *Farm) column(l *Logger, c *Column, r *readings, e float64, rng *rand.Rand) []float64 {
	out := make([]float64, len(r.trueS))
	total := func(s float64) float64 { return quantum(f.at(c.Signal, s)*(1+e), c.Step) }
	every := float64(l.IntervalS)
	reset := total(c.ResetDay * 86400)
	for i, s := range r.trueS {
		switch c.Mode {
		case MeanPerMinute:
			out[i] = (total(s) - total(s-every)) * 60 / every
		case MeanKW:
			out[i] = (total(s) - total(s-every)) * 3600 / every
		case Counter:
			out[i] = c.StartAt + total(s)
			if c.ResetDay > 0 && s > c.ResetDay*86400 {
				out[i] = total(s) - reset
			}
		case MeanOver:
			out[i] = c.read(f.meanOver(c.Signal, s, every), e, rng)
		default:
			out[i] = f.instant(c, s, e, rng)
		}
	}
	stuck(c, r, out)
	return out
}

func (f *Farm) instant(c *Column, s, e float64, rng *rand.Rand) float64 {
	v := f.at(c.Signal, s)
	if c.Signal.state() {
		return v
	}
	return c.read(v, e, rng)
}

// read is what the probe shows of v.
func (c *Column) read(v, e float64, rng *rand.Rand) float64 {
	v += e
	if c.NoiseK > 0 {
		v += c.NoiseK * rng.NormFloat64()
	}
	if c.Step > 0 {
		v = math.Round(v/c.Step) * c.Step
	}
	return v
}

// quantum is what a counter shows: whole steps only.
func quantum(x, step float64) float64 {
	if step == 0 {
		return x
	}
	return math.Floor(x/step) * step
}

// stuck lets a probe repeat its reading for a stretch.
func stuck(c *Column, r *readings, v []float64) {
	if c.Stuck[1] == 0 {
		return
	}
	held := math.NaN()
	for i, s := range r.trueS {
		day := s / 86400
		if day < c.Stuck[0] || day > c.Stuck[0]+c.Stuck[1]/24 {
			continue
		}
		if held != held {
			held = v[i]
		}
		v[i] = held
	}
}

func odd(c *Column, rows int, rng *rand.Rand) map[int]string {
	if c.Sentinels+c.Empty == 0 {
		return nil
	}
	m := map[int]string{}
	for range c.Sentinels {
		m[1+rng.IntN(rows-2)] = c.Sentinel
	}
	for range c.Empty {
		m[1+rng.IntN(rows-2)] = ""
	}
	return m
}
