package clockfind

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// logged is a series of one reading a minute from minute 0.
func logged(q series.Quantity, kind series.Kind, v []float64) *series.Series {
	s := &series.Series{Quantity: q, Kind: kind, V: v, Flags: series.NewFlags(len(v)), IntervalMS: minuteMS}
	for i := range v {
		s.T = append(s.T, int64(i)*minuteMS)
		if kind == series.Mean || kind == series.Amount {
			s.From = append(s.From, int64(i-1)*minuteMS)
		}
	}
	return s
}

// TestStarts: by hand. Flow from minute 100 with a pause of 5 min, a small draw
// at 300, a big one at 500; a reading out of a gap starts nothing.
func TestStarts(t *testing.T) {
	v := make([]float64, 900)
	fill := func(from, to int, x float64) {
		for i := from; i < to; i++ {
			v[i] = x
		}
	}
	fill(100, 130, 9)
	fill(135, 160, 9)
	fill(300, 305, 9)
	fill(500, 560, 9)
	fill(700, 720, 9)
	s := logged("loop_flow", series.Mean, v)
	for i := 640; i <= 700; i++ {
		s.Flags.Or(i, series.Absent)
	}
	// Without those readings: the series as it stands when none were written.
	cut := *s
	cut.T, cut.From, cut.V = append(append([]int64{}, s.T[:640]...), s.T[701:]...), append(append([]int64{}, s.From[:640]...), s.From[701:]...), append(append([]float64{}, v[:640]...), v[701:]...)
	cut.Flags = series.NewFlags(len(cut.V))
	var tr train
	tr.starts(&cut)
	half := int64(minuteMS / 2)
	require.Equal(t, []int64{100*minuteMS - half, 300*minuteMS - half, 500*minuteMS - half}, tr.AtMS, "a mean of minute 100 covers 99 to 100")
	assert.Equal(t, []int64{100*minuteMS - half, 500*minuteMS - half}, tr.big)
	assert.Equal(t, tr.AtMS, tr.first)
}

// TestMoves: a feed at 14 °C falls to 9 within 3 min when water starts at minute
// 50, creeps back, and falls again; a rise is none.
func TestMoves(t *testing.T) {
	v := make([]float64, 400)
	for i := range v {
		v[i] = 14
	}
	for _, at := range []int{50, 250} {
		v[at+1], v[at+2] = 12, 10
		for i := at + 3; i < at+30; i++ {
			v[i] = 9
		}
		for i := at + 30; i < at+130; i++ {
			v[i] = 9 + float64(i-at-30)*0.05
		}
	}
	var tr train
	tr.moves(logged("mains_temp", series.Instant, v), -1)
	half := int64(minuteMS / 2)
	assert.Equal(t, []int64{50*minuteMS + half, 250*minuteMS + half}, tr.AtMS)
	var up train
	up.moves(logged("mains_temp", series.Instant, v), 1)
	assert.Empty(t, up.AtMS)
}

// TestLinks: which of two trains comes later, and how open the delay is.
func TestLinks(t *testing.T) {
	flow, fall := &train{cause: ofLoop}, &train{cause: ofLoop}
	fall.late.HighS = 120
	k, ok := linkOf(fall, flow)
	require.True(t, ok)
	assert.Equal(t, [2]float64{0, 120}, [2]float64{k.delay.LowS, k.delay.HighS})
	k, _ = linkOf(flow, fall)
	assert.Equal(t, [2]float64{-120, 0}, [2]float64{k.delay.LowS, k.delay.HighS})
	assert.False(t, k.loose)
	_, ok = linkOf(flow, &train{cause: ofElement})
	assert.False(t, ok, "an element and a draw have no delay that is known")
}
