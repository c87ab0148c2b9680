package align

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// All of this is invented: milking days drawn by a seed, seen by two loggers.

// farm is what a case is drawn from.
type farm struct {
	r      *rand.Rand
	days   int
	times  []float64 // hours of the day
	jitter float64   // minutes
}

var epoch = time.Date(2026, 1, 10, 0, 0, 0, 0, time.UTC).UnixMilli()

// events are true times: the day's times with a jitter from day to day, and the
// slow shift that a season brings.
func (f *farm) events() []int64 {
	slow := f.r.NormFloat64() * 10
	var out []int64
	for d := range f.days {
		for _, h := range f.times {
			m := 60*h + f.jitter*f.r.NormFloat64() + slow*math.Sin(float64(d)/40)
			out = append(out, epoch+int64(d)*dayMS+int64(m*60*secondMS))
		}
	}
	slices.Sort(out)
	return out
}

// clock is a logger's error.
type clock struct {
	aheadS, driftS float64
	jumpMS         int64
	jumpS          float64
	midMS          int64
}

func (c *clock) at(trueMS int64) float64 {
	a := c.aheadS + c.driftS*float64(trueMS-c.midMS)/dayMS
	if c.jumpS != 0 && trueMS >= c.jumpMS && c.midMS < c.jumpMS {
		a += c.jumpS
	}
	if c.jumpS != 0 && trueMS < c.jumpMS && c.midMS >= c.jumpMS {
		a -= c.jumpS
	}
	return a
}

// seen are the events as a logger of that interval tells of them: some missing,
// some that nobody else sees, each in the middle of the interval that it fell in.
func (f *farm) seen(events []int64, c clock, everyS int64, missing, spurious, scatterS float64) Train {
	var out []int64
	every := everyS * secondMS
	put := func(t int64) {
		stamp := t + int64(c.at(t)*secondMS)
		out = append(out, stamp/every*every+every/2)
	}
	for _, t := range events {
		if f.r.Float64() >= missing {
			put(t + int64(scatterS*secondMS*f.r.NormFloat64()))
		}
	}
	span := events[len(events)-1] - events[0]
	for range int(spurious * float64(len(events))) {
		put(events[0] + f.r.Int64N(span))
	}
	slices.Sort(out)
	return Train{AtMS: slices.Compact(out), HalfMS: every / 2}
}

var days = [][]float64{{5.2, 16.3}, {4.5, 17}, {6, 15.5}, {5, 12.75, 20}, {6.1, 17.8}}

func pick[T any](r *rand.Rand, of ...T) T { return of[r.IntN(len(of))] }

func drawFarm(seed uint64) *farm {
	r := rand.New(rand.NewPCG(seed, 77))
	return &farm{r: r, days: 25 + r.IntN(200), times: days[r.IntN(len(days))], jitter: 4 + 8*r.Float64()}
}

func (f *farm) mid() int64 { return epoch + int64(f.days)*dayMS/2 }

func (f *farm) clock(jump bool) clock {
	c := clock{aheadS: (2*f.r.Float64() - 1) * 13.4 * 3600, driftS: 6 * f.r.NormFloat64(), midMS: f.mid()}
	if jump {
		c.jumpMS = epoch + int64(pick(f.r, 0.2+0.25*f.r.Float64(), 0.55+0.25*f.r.Float64())*float64(f.days)*dayMS)
		c.jumpS = pick(f.r, 3600.0, -3600, 1800, -1800, 300, -420, 2*3600)
	}
	return c
}

// statistics passes a test over in the short run, which looks for races: one
// goroutine counts cases here.
func statistics(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("counts many cases; not in the short run")
	}
}

// TestFindsWhatWasDrawn: offset, drift and jump of 200 drawn farms, the same
// event in both logs. Beside finding them the interval must hold the truth as
// often as it says.
func TestFindsWhatWasDrawn(t *testing.T) {
	statistics(t)
	const cases = 200
	found, near, held, jumps, jumpsRight, drifts := 0, 0, 0, 0, 0, 0
	for seed := range uint64(cases) {
		f := drawFarm(seed)
		withJump := seed%3 == 0
		c := f.clock(withJump)
		events := f.events()
		everyA, everyB := pick[int64](f.r, 60, 120, 240, 600), pick[int64](f.r, 60, 120, 300)
		scatter := pick(f.r, 0.0, 15, 60)
		a := f.seen(events, c, everyA, 0.3*f.r.Float64(), 0.4*f.r.Float64(), scatter)
		b := f.seen(events, clock{}, everyB, 0.3*f.r.Float64(), 0.3*f.r.Float64(), 0)
		mid := c.midMS + int64(c.aheadS*secondMS)
		r := Find(a, b, Delay{}, mid, DefaultOptions())
		if !r.Found {
			t.Logf("seed %d: not found: %s (score %.0f, other %.0f, %d of %d)", seed, r.Why, r.Score, r.Other, r.Matched, r.Of)
			continue
		}
		found++
		miss := math.Abs(r.AheadS - c.aheadS)
		if miss <= max(30, float64(max(everyA, everyB))) {
			near++
		} else {
			t.Logf("seed %d: ahead %.0f, true %.0f, jumps %v true %+v", seed, r.AheadS, c.aheadS, r.Jumps, c)
		}
		if c.aheadS >= r.LowS && c.aheadS <= r.HighS {
			held++
		}
		if math.Abs(r.DriftSPerDay-c.driftS) < 1.5 {
			drifts++
		}
		if withJump {
			jumps++
		}
		if withJump && len(r.Jumps) == 1 && math.Abs(r.Jumps[0].ByS-c.jumpS) < 90 || !withJump && len(r.Jumps) == 0 {
			jumpsRight++
		} else {
			t.Logf("seed %d: jumps %v, true %+v", seed, r.Jumps, c)
		}
	}
	t.Logf("found %d of %d, near %d, interval holds %d (%.1f %%), drift within 1.5 s/d %d, jumps right %d", found, cases, near, held, 100*float64(held)/float64(found), drifts, jumpsRight)
	assert.GreaterOrEqual(t, found, cases*95/100)
	assert.GreaterOrEqual(t, near, found*98/100, "within a sample or 30 s")
	assert.GreaterOrEqual(t, held, found*93/100)
	assert.LessOrEqual(t, held, found*985/1000)
	assert.GreaterOrEqual(t, jumpsRight, found*95/100)
}

// TestNothingWithoutRelation: logs that have nothing to do with each other,
// 220 drawn: at random times, at their own times of the day with a jitter of
// their own, many a day, and one event a day. None may be found.
func TestNothingWithoutRelation(t *testing.T) {
	statistics(t)
	accepted := 0
	for seed := range uint64(220) {
		f := drawFarm(seed + 5000)
		events := f.events()
		b := f.seen(events, clock{}, 60, 0.1, 0.1, 0)
		g := &farm{r: f.r, days: f.days, jitter: f.jitter}
		switch seed % 5 {
		case 0: // at random
			g.times = nil
			for range f.days * 3 {
				g.times = append(g.times, 0)
			}
		case 1: // milked elsewhere, at the same times of the day
			g.times = f.times
		case 2:
			g.times = days[f.r.IntN(len(days))]
		case 3: // a compressor at its own pace
			for h := 0.0; h < 24; h += 1.3 {
				g.times = append(g.times, h)
			}
		case 4:
			g.times = []float64{24 * f.r.Float64()}
		}
		other := g.events()
		if seed%5 == 0 {
			other = nil
			for range f.days * 3 {
				other = append(other, epoch+f.r.Int64N(int64(f.days)*dayMS))
			}
			slices.Sort(other)
		}
		a := f.seen(other, f.clock(false), 60, 0.1, 0.1, 0)
		if r := Find(a, b, Delay{}, f.mid(), DefaultOptions()); r.Found {
			accepted++
			t.Logf("seed %d: accepted %.0f s: score %.0f, other %.0f, %d of %d", seed, r.AheadS, r.Score, r.Other, r.Matched, r.Of)
		}
	}
	assert.Zero(t, accepted)
}

// TestSymmetricDay: milkings just 12 h apart. To the minute every day, 02:00
// cannot be told from 14:00; with the jitter of real days it can.
func TestSymmetricDay(t *testing.T) {
	statistics(t)
	for seed := range uint64(40) {
		f := drawFarm(seed + 9000)
		f.times = []float64{5.5, 17.5}
		c := f.clock(false)
		mid := c.midMS + int64(c.aheadS*secondMS)
		a := f.seen(f.events(), c, 60, 0.05, 0.05, 0)
		stated := &farm{r: f.r, days: f.days, times: f.times}
		r := Find(a, Train{AtMS: exact(stated), Nominal: true}, Delay{}, mid, DefaultOptions())
		assert.False(t, r.Found, "seed %d: stated times 12 h apart give %+v", seed, r)

		events := f.events()
		a, b := f.seen(events, c, 60, 0.05, 0.05, 0), f.seen(events, clock{}, 60, 0.05, 0.05, 0)
		r = Find(a, b, Delay{}, mid, DefaultOptions())
		assert.True(t, r.Found, "seed %d: %s", seed, r.Why)
		assert.InDelta(t, c.aheadS, r.AheadS, 60, "seed %d", seed)

		f.jitter = 0
		a = f.seen(exact(f), c, 60, 0.05, 0.05, 0)
		b = f.seen(exact(f), clock{}, 60, 0.05, 0.05, 0)
		r = Find(a, b, Delay{}, mid, DefaultOptions())
		assert.False(t, r.Found, "seed %d: two timers 12 h apart give %+v", seed, r)
	}
}

// exact are a farm's times without jitter and season.
func exact(f *farm) []int64 {
	var out []int64
	for d := range f.days {
		for _, h := range f.times {
			out = append(out, epoch+int64(d)*dayMS+int64(h*float64(hourMS)))
		}
	}
	return out
}

// TestStatedTimes: the day is not symmetric, so the pattern alone tells two
// o'clock from fourteen; the interval is as wide as the delay is unknown, and as
// the season moves the real milkings about the stated times.
func TestStatedTimes(t *testing.T) {
	statistics(t)
	found, held := 0, 0
	const cases = 100
	for seed := range uint64(cases) {
		f := drawFarm(seed + 20000)
		f.times = pick(f.r, []float64{5.2, 16.3}, []float64{4.5, 17.5}, []float64{6, 14.5}, []float64{5, 12.75, 20})
		c := f.clock(false)
		c.aheadS = (2*f.r.Float64() - 1) * 9 * 3600
		c.driftS /= 6
		mid := c.midMS + int64(c.aheadS*secondMS)
		delayS := f.r.Float64() * 5400
		events := f.events()
		for i := range events {
			events[i] += int64(delayS * secondMS)
		}
		a := f.seen(events, c, 60, 0.1, 0.2, 120)
		r := Find(a, Train{AtMS: exact(&farm{days: f.days, times: f.times}), Nominal: true}, Delay{-900, 6300}, mid, DefaultOptions())
		if !r.Found {
			t.Logf("seed %d: %s", seed, r.Why)
			continue
		}
		found++
		if c.aheadS >= r.LowS && c.aheadS <= r.HighS {
			held++
		}
		require.Greater(t, r.HighS-r.LowS, 0.9*7200.0)
	}
	t.Logf("found %d of %d, interval holds %d", found, cases, held)
	assert.GreaterOrEqual(t, found, 90)
	assert.GreaterOrEqual(t, held, found*93/100)
}

// TestMilkingsAndDraws: a list written to the minute or to five minutes, and a
// draw that follows each milking's end after a while that scatters.
func TestMilkingsAndDraws(t *testing.T) {
	statistics(t)
	found, held, cases := 0, 0, 120
	for seed := range uint64(cases) {
		f := drawFarm(seed + 30000)
		c := f.clock(seed%4 == 0)
		mid := c.midMS + int64(c.aheadS*secondMS)
		ends := f.events()
		delayS := f.r.Float64() * 7200
		draws := slices.Clone(ends)
		for i := range draws {
			draws[i] += int64(delayS * secondMS)
		}
		a := f.seen(draws, c, 60, 0.1, 0.2, 30+150*f.r.Float64())
		b := f.seen(ends, clock{}, pick[int64](f.r, 60, 300), 0.02, 0.02, 60)
		r := Find(a, b, Delay{0, 7200}, mid, DefaultOptions())
		if !r.Found {
			t.Logf("seed %d: %s (%d days, jitter %.0f min)", seed, r.Why, f.days, f.jitter)
			continue
		}
		found++
		if c.aheadS >= r.LowS && c.aheadS <= r.HighS {
			held++
		}
		assert.InDelta(t, c.aheadS, r.AheadS, 3700, "seed %d: no alias", seed)
	}
	t.Logf("found %d of %d, interval holds %d", found, cases, held)
	assert.GreaterOrEqual(t, found, cases*85/100)
	assert.GreaterOrEqual(t, held, found*92/100)
}

func TestHalfWidth(t *testing.T) {
	// A normal alone; an even distribution alone: 95 % of its half-width.
	assert.InDelta(t, 1.96, halfWidth(1.96, 0), 1e-12)
	assert.InDelta(t, 95, halfWidth(1e-6, 100), 1e-3)
	// Both: by a million draws of the standard library's generator.
	r := rand.New(rand.NewPCG(3, 4))
	in, h := 0, halfWidth(1.959964*20, 30)
	for range 1_000_000 {
		if math.Abs(20*r.NormFloat64()+30*(2*r.Float64()-1)) <= h {
			in++
		}
	}
	assert.InDelta(t, 950_000, in, 1500)
	// Student's t, 97.5 %: NIST/SEMATECH handbook, table 1.3.6.7.2.
	for df, want := range map[float64]float64{5: 2.571, 10: 2.228, 30: 2.042, 100: 1.984} {
		assert.InDelta(t, want, studentT(df), 0.01*want)
	}
}

func BenchmarkFind(b *testing.B) {
	f := drawFarm(1)
	f.days = 240
	c := f.clock(true)
	events := f.events()
	x, y := f.seen(events, c, 60, 0.1, 0.2, 20), f.seen(events, clock{}, 60, 0.1, 0.1, 0)
	mid := c.midMS + int64(c.aheadS*secondMS)
	r := Find(x, y, Delay{}, mid, DefaultOptions())
	require.True(b, r.Found)
	require.InDelta(b, c.aheadS, r.AheadS, 60)
	for b.Loop() {
		Find(x, y, Delay{}, mid, DefaultOptions())
	}
}
