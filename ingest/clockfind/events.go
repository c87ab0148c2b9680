package clockfind

import (
	"slices"
	"strings"

	"yardheat/ingest/align"
	"yardheat/ingest/series"
)

// cause is what an event tells of.
type cause string

// The causes. Those of milkings have no series of their own.
const (
	ofLoop         cause = "loop"
	ofPlate        cause = "plate"
	ofWash         cause = "wash"
	ofHotUse       cause = "hot use"
	ofCompressor   cause = "compressor"
	ofElement      cause = "element"
	ofMilk         cause = "milk"
	ofMilkingStart cause = "milking start"
	ofMilkingEnd   cause = "milking end"
)

// train is the events of one series of one log.
type train struct {
	align.Train
	log   int
	cause cause
	// what names the events in words: `draws by "Loop flow"`.
	what string
	// late is by how much they come after their cause.
	late align.Delay
	// first are those of them that end a pause of an hour and a half; big those
	// that move much: what stands beside milkings.
	first, big []int64
}

// sign is how a series shows its cause: an amount, rate or state that starts, or
// a temperature that moves, so many seconds later at most (common practice, no
// source: a probe in or on a pipe answers within two or three minutes).
type sign struct {
	cause cause
	what  string
	rises int // 0 starts, +1 rises, −1 falls, 2 either
	lateS float64
}

var signs = map[series.Quantity]sign{
	"loop_flow": {ofLoop, "draws", 0, 0}, "loop_volume": {ofLoop, "draws", 0, 0}, "loop_valve": {ofLoop, "draws", 0, 0}, "loop_pump": {ofLoop, "draws", 0, 0},
	"loop_in_temp": {ofLoop, "falls", -1, 120}, "mains_temp": {ofLoop, "falls", -1, 120}, "loop_out_temp": {ofLoop, "changes", 2, 180},
	"plate_flow": {ofPlate, "starts", 0, 0}, "plate_volume": {ofPlate, "starts", 0, 0}, "plate_pump": {ofPlate, "starts", 0, 0}, "plate_out_temp": {ofPlate, "rises", 1, 180},
	"wash_flow": {ofWash, "washes", 0, 0}, "wash_volume": {ofWash, "washes", 0, 0}, "wash_temp": {ofWash, "rises", 1, 180}, "tank_temp": {ofWash, "falls", -1, 3600},
	"hot_use_volume":   {ofHotUse, "draws", 0, 0},
	"compressor_power": {ofCompressor, "starts", 0, 0}, "compressor_energy": {ofCompressor, "starts", 0, 0}, "compressor_on": {ofCompressor, "starts", 0, 0}, "gas_in_temp": {ofCompressor, "rises", 1, 180},
	"element_power": {ofElement, "starts", 0, 0}, "element_energy": {ofElement, "starts", 0, 0}, "element_on": {ofElement, "starts", 0, 0},
	"milk_volume": {ofMilk, "starts", 0, 0}, "milk_in_temp": {ofMilk, "rises", 1, 300},
}

// Thresholds of events.
const (
	pauseMS      = 10 * minuteMS // a shorter pause does not end one
	longPauseMS  = 90 * minuteMS
	startShare   = 0.05 // of the 95th percentile
	bigShare     = 0.4  // of the 90th percentile of what one moves
	moveShare    = 0.15 // of a temperature's range
	leastMoveK   = 1.0
	moveWithinMS = 5 * minuteMS
	fewTrain     = 12
	mostSampled  = 20000
)

// trains makes the trains of all series. A temperature stands in only where its
// log has nothing more direct for the cause.
func (f *finder) trains() []*train {
	var out []*train
	type key struct {
		log int
		c   cause
	}
	direct := map[key]bool{}
	for pass := range 2 {
		for _, s := range f.Series {
			g, ok := signs[s.Quantity]
			k := key{s.Log, g.cause}
			if !ok || (g.rises != 0) != (pass == 1) || pass == 1 && direct[k] {
				continue
			}
			t := &train{log: s.Log, cause: g.cause, what: g.what + " of " + series.Quoted(s.Column), late: align.Delay{HighS: g.lateS}}
			t.HalfMS = max(s.IntervalMS/2, 500)
			if g.rises == 0 {
				t.starts(s)
				direct[k] = direct[k] || len(t.AtMS) >= fewTrain
			} else {
				t.moves(s, g.rises)
			}
			if len(t.AtMS) >= fewTrain {
				out = append(out, t)
			}
		}
	}
	return out
}

// starts are where something begins to flow or run after a pause.
func (t *train) starts(s *series.Series) {
	least := startShare * percentile(s, 0.95)
	lastOn, sum, long := int64(0), 0.0, false
	var sums []float64
	begin := func(i int) {
		from := s.T[i] - min(s.IntervalMS, s.T[i]-s.T[i-1])
		if s.From != nil {
			from = s.From[i]
		}
		at := from + (s.T[i]-from)/2
		t.AtMS = append(t.AtMS, at)
		if long {
			t.first = append(t.first, at)
		}
		sums = append(sums, 0)
	}
	pause := max(pauseMS, 2*s.IntervalMS)
	for i, v := range s.V {
		if s.Flags.At(i) != 0 || v <= least {
			continue
		}
		if i == 0 || s.T[i]-lastOn <= pause || s.T[i]-s.T[i-1] > 2*s.IntervalMS && s.HoldMS == 0 && s.Kind != series.State {
			if i > 0 && s.T[i]-lastOn > pause {
				sums = append(sums, 0) // came out of a gap: no start is known
				t.AtMS = append(t.AtMS, -1)
			}
		} else {
			long = s.T[i]-lastOn > longPauseMS
			begin(i)
		}
		lastOn, sum = s.T[i], v
		if n := len(sums); n > 0 {
			sums[n-1] += sum
		}
	}
	t.keepBig(sums)
}

// keepBig drops the starts that are not known and notes those that move much.
func (t *train) keepBig(sums []float64) {
	sorted := slices.Clone(sums)
	slices.Sort(sorted)
	least := 0.0
	if n := len(sorted); n > 0 {
		least = bigShare * sorted[n*9/10]
	}
	known := t.AtMS[:0]
	for i, at := range t.AtMS {
		if at < 0 {
			continue
		}
		known = append(known, at)
		if sums[i] >= least {
			t.big = append(t.big, at)
		}
	}
	t.AtMS = known
}

// moves are where a temperature begins to rise or to fall quickly.
func (t *train) moves(s *series.Series, rises int) {
	if s.IntervalMS <= 0 {
		return
	}
	least := max(leastMoveK, moveShare*(percentile(s, 0.98)-percentile(s, 0.02)))
	back := max(1, int(moveWithinMS/s.IntervalMS))
	moving := false
	last := int64(0)
	for i := back; i < len(s.V); i++ {
		if !s.Flags.Clean(i-back, i+1) || s.T[i]-s.T[i-back] > int64(back+1)*s.IntervalMS {
			moving = true // out of a gap or a bad reading: wait for rest
			continue
		}
		by := s.V[i] - s.V[i-back]
		size := max(by, -by)
		if size < least/3 {
			moving = false
		}
		if moving || size < least || rises == 1 && by < 0 || rises == -1 && by > 0 {
			continue
		}
		moving = true
		j := i - back
		for j+1 < i && (s.V[j+1]-s.V[i-back])/by < moveShare {
			j++
		}
		at := s.T[j] + (s.T[j+1]-s.T[j])/2
		if at-last > longPauseMS {
			t.first = append(t.first, at)
		}
		t.AtMS, last = append(t.AtMS, at), at
	}
	t.big = t.AtMS
}

// percentile of a series' kept readings above zero for flows and the like, of
// all for temperatures; a sample of them where they are many.
func percentile(s *series.Series, p float64) float64 {
	info, _ := series.Lookup(s.Quantity)
	stride := 1 + len(s.V)/mostSampled
	var v []float64
	for i := 0; i < len(s.V); i += stride {
		if s.Flags.At(i) == 0 && (s.V[i] > 0 || info.Class == series.Temperature) {
			v = append(v, s.V[i])
		}
	}
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return v[min(int(p*float64(len(v))), len(v)-1)]
}

// milkingTrains are the starts and ends of the farm's milkings.
func (f *finder) milkingTrains() []*train {
	if len(f.Milkings) < fewTrain {
		return nil
	}
	start := &train{log: -1, cause: ofMilkingStart, what: "a milking's start"}
	end := &train{log: -1, cause: ofMilkingEnd, what: "a milking's end"}
	for _, m := range f.Milkings {
		start.AtMS, end.AtMS = append(start.AtMS, m.StartMS), append(end.AtMS, m.EndMS)
	}
	for _, t := range []*train{start, end} {
		slices.Sort(t.AtMS)
		t.HalfMS, t.Nominal = minuteMS/2, f.Stated
		if f.Stated {
			t.what = strings.Replace(t.what, "a milking", "a stated milking", 1)
		}
	}
	return []*train{start, end}
}
