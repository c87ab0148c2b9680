package reading

import (
	"math"
	"slices"
	"strings"

	"yardheat/ingest/series"
	"yardheat/ingest/series/room"
)

// CounterFindings are what a running counter did beside counting: indices are
// into the column that was differenced.
type CounterFindings struct {
	Resets, RollOvers, BadReadings, Jumps          int
	FirstReset, FirstRollOver, FirstBad, FirstJump int
	// FallShare: falls per rise, where the farm file says that the column is a
	// counter; a counter nearly never falls.
	FallShare float64
	// LostResets are resets after which the new reading could not be believed.
	LostResets int
}

// rateCap is the fastest that a total of this quantity can honestly grow, in
// base units a millisecond.
func rateCap(q series.Quantity, opt FlagOptions) float64 {
	if name, ok := strings.CutSuffix(string(q), "_energy"); ok {
		if info, ok := series.Lookup(series.Quantity(name + "_power")); ok {
			return info.High / 3.6e6 // kW → kWh a ms
		}
	}
	return opt.MaxFlowLMin / 60000
}

// Bounds within which a column of totals is taken for a running counter.
const (
	fewReadings = 20  // below, only a column that never falls is one
	fallsMost   = 0.1 // falls per rise of a counter with resets
	fewRises    = 5
)

// looksCounted tells a running counter from totals per reading. A counter
// never falls but for rare resets, while a total per reading falls about as
// often as it rises; a column that stands still at more than could have passed
// in one interval is a counter at rest.
func looksCounted(c *Column, capPerMS float64, usualMS int64) bool {
	good := c.good()
	rises, falls, most := 0, 0, 0.0
	for k := 1; k < good.n; k++ {
		d := c.V[good.at(k)] - c.V[good.at(k-1)]
		if d > 0 {
			rises++
			most = max(most, d)
		} else if d < 0 {
			falls++
		}
	}
	switch {
	case good.n < 3:
		return false
	case rises+falls == 0:
		return c.V[good.at(0)] > capPerMS*float64(usualMS)
	case good.n < fewReadings:
		return falls == 0 && rises >= 3 && c.V[good.at(0)] > 2*most
	}
	return rises >= fewRises && float64(falls) <= fallsMost*float64(rises)
}

// counter is a running counter while it is differenced.
type counter struct {
	s    *series.Series
	c    *Column
	good goods
	// per millisecond, and what resolution alone may add
	ratePerMS, slack float64
	factorBase       float64
	refT             int64
	refV             float64
	found            CounterFindings
	// Of a column without a flag each amount ends at the stamp of its reading
	// and begins at the one before, so that the series shares the column's
	// stamps; starts is written only from where a bad reading stood between.
	whole  bool
	starts []int64
}

// difference turns a running counter into amounts: each the difference over
// (From, T], across gaps too. A fall is, in this order,
//
//   - noise: within two steps of the resolution, not towards 0: nothing passed,
//     and the next reading is held against the higher one;
//   - a bad reading: soon after, the counter is back above where it was, in a
//     step faster than could honestly have been counted;
//   - a roll-over: it stood near a full scale (10^n, 2^16, 2^32 of the unit as
//     written or of its decimal parts) and is small now: full scale − old + new;
//   - a reset: the new reading has passed since, if that can be believed by its
//     rate, else the amount is not known and flagged.
//
// A rise faster than can be believed is a bad reading if the counter comes
// back below it soon, else a step of the counter itself (a meter was changed),
// and the amount is flagged.
//
// The amounts take the place of the column's values.
func difference(s *series.Series, c *Column, capPerMS, factorBase float64, opt FlagOptions) CounterFindings {
	k := &counter{s: s, c: c, good: c.good(), factorBase: factorBase}
	s.T, s.From, s.V, s.Flags, s.Origins = nil, nil, nil, series.Flags{}, series.Origins{}
	k.pace(capPerMS, opt)
	s.ResolutionBase = k.slack / 2
	if k.good.n == 0 {
		return k.found
	}
	k.whole = k.good.n == len(c.T)
	s.V = c.V[:0] // an amount is written where no reading is looked at any more
	if !k.whole {
		s.T, s.From = room.Cap[int64](len(c.T)), room.Cap[int64](len(c.T))
	}
	k.refT, k.refV = c.T[k.good.at(0)], c.V[k.good.at(0)]
	for n := 1; n < k.good.n; n = k.step(n) {
	}
	if k.whole {
		k.shareStamps()
		return k.found
	}
	k.addFlagged()
	return k.found
}

// shareStamps gives a series without flags before the column's stamps.
func (k *counter) shareStamps() {
	s, c := k.s, k.c
	n := len(c.T)
	s.T, s.From = c.T[1:n:n], c.T[:n-1:n-1]
	if k.starts != nil {
		s.From = k.starts
	}
	if m := n - 1 - s.Flags.Len(); m > 0 {
		s.Flags.Pad(m)
	}
	s.Origins.AppendPart(&c.Origins, 1, n)
}

// addFlagged puts the readings that were flagged before back in their places,
// with nothing counted.
func (k *counter) addFlagged() {
	for i := range k.c.T {
		if f := k.c.Flags.At(i); f != 0 {
			k.emit(k.c.T[i], i, 0, f)
			k.s.From[len(k.s.From)-1] = k.c.T[i]
		}
	}
	sortSeries(k.s)
}

// sortSeries puts a series in the order of time, rows of one stamp in theirs.
func sortSeries(s *series.Series) {
	order := make([]int, len(s.T))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if s.T[a] != s.T[b] {
			return int(max(-1, min(1, s.T[a]-s.T[b])))
		}
		return int(s.Origins.At(a).Line - s.Origins.At(b).Line)
	})
	s.T, s.V = pick(s.T, order), pick(s.V, order)
	flags, origins := s.Flags, s.Origins
	s.Flags, s.Origins = series.Flags{}, series.Origins{}
	for _, i := range order {
		s.Flags.Append(flags.At(i))
		s.Origins.Append(origins.At(i))
	}
	if s.From != nil {
		s.From = pick(s.From, order)
	}
}

func pick[T any](v []T, order []int) []T {
	out := make([]T, len(order))
	for k, i := range order {
		out[k] = v[i]
	}
	return out
}

// pace finds the smallest step and the fastest believable rate: the cap of the
// quantity, or a margin above the 99th percentile of the rates seen.
func (k *counter) pace(capPerMS float64, opt FlagOptions) {
	k.ratePerMS = capPerMS
	least := math.Inf(1)
	falls, rises := 0, 0
	for n := 1; n < k.good.n; n++ {
		i, j := k.good.at(n-1), k.good.at(n)
		d, dt := k.c.V[j]-k.c.V[i], k.c.T[j]-k.c.T[i]
		if d < 0 {
			falls++
		}
		if d <= 0 || dt <= 0 {
			continue
		}
		rises++
		// Differences of written decimals carry rounding noise far below a step.
		if d > 1e-9*math.Abs(k.c.V[j]) {
			least = min(least, d)
		}
	}
	if rises > 0 {
		k.found.FallShare = float64(falls) / float64(rises)
	}
	if !math.IsInf(least, 1) {
		k.slack = 2 * least
	}
	if rises < fewReadings {
		return
	}
	rates := k.rates(rises)
	slices.Sort(rates)
	k.ratePerMS = min(k.ratePerMS, opt.RateMargin*rates[len(rates)*99/100])
}

// rates are how fast it rose, per ms, in the order of time: of so many rises an
// even part, which knows the percentile.
func (k *counter) rates(rises int) []float64 {
	stride := max(1, rises/mostSteps)
	out := make([]float64, 0, rises/stride)
	rise := 0
	for n := 1; n < k.good.n && len(out) < rises/stride; n++ {
		i, j := k.good.at(n-1), k.good.at(n)
		d, dt := k.c.V[j]-k.c.V[i], k.c.T[j]-k.c.T[i]
		if d <= 0 || dt <= 0 {
			continue
		}
		if rise%stride == 0 {
			out = append(out, d/float64(dt))
		}
		rise++
	}
	return out
}

// believable tells whether so much can have passed in so long.
func (k *counter) believable(amount float64, dtMS int64) bool {
	return amount <= k.ratePerMS*float64(dtMS)+k.slack
}

func (k *counter) emit(from int64, i int, amount float64, f series.Flag) {
	s := k.s
	if k.whole {
		if k.starts == nil && from != k.c.T[i-1] {
			k.starts = append(room.Cap[int64](len(k.c.T)), k.c.T[:i-1]...)
		}
		if k.starts != nil {
			k.starts = append(k.starts, from)
		}
		s.V = append(s.V, amount)
		if f != 0 {
			s.Flags.Pad(i - 1 - s.Flags.Len())
			s.Flags.Append(f)
		}
		return
	}
	s.T, s.From, s.V = append(s.T, k.c.T[i]), append(s.From, from), append(s.V, amount)
	s.Flags.Append(f)
	s.Origins.Append(k.c.Origins.At(i))
}

// count books an amount up to reading i and goes on from there.
func (k *counter) count(i int, amount float64, f series.Flag) {
	k.emit(k.refT, i, amount, f)
	k.refT, k.refV = k.c.T[i], k.c.V[i]
}

// step settles the n-th good reading and gives the next to look at.
func (k *counter) step(n int) int {
	i := k.good.at(n)
	d, dt := k.c.V[i]-k.refV, k.c.T[i]-k.refT
	switch {
	case d >= 0 && k.believable(d, dt):
		k.count(i, d, 0)
	case d >= 0:
		if back := k.backDown(n); back > 0 {
			return k.bad(n, back)
		}
		note(&k.found.Jumps, &k.found.FirstJump, i)
		k.count(i, d, series.Rate)
	case -d <= k.slack && k.c.V[i] > k.refV/2:
		k.emit(k.refT, i, 0, 0)
		k.refT = k.c.T[i] // refV stays: the next reading is held against it
	default:
		if back := k.backUp(n); back > 0 {
			return k.bad(n, back)
		}
		k.fall(i, dt)
	}
	return n + 1
}

// fall tells a roll-over from a reset.
func (k *counter) fall(i int, dt int64) {
	v := k.c.V[i]
	if amount, ok := k.rollOver(v, dt); ok {
		note(&k.found.RollOvers, &k.found.FirstRollOver, i)
		k.count(i, amount, 0)
		return
	}
	note(&k.found.Resets, &k.found.FirstReset, i)
	if v >= 0 && k.believable(v, dt) {
		k.count(i, v, 0)
		return
	}
	k.found.LostResets++
	k.count(i, max(v, 0), series.Rate)
}

func note(n, first *int, i int) {
	if *n == 0 {
		*first = i
	}
	*n++
}

// lookAhead is how many readings a bad spell of a counter lasts at most.
const lookAhead = 50

// backUp finds, behind a fall, the reading at which the counter is back where
// it would have been, by a step that cannot have been counted; 0 = none.
func (k *counter) backUp(n int) int {
	for j := n + 1; j < k.good.n && j <= n+lookAhead; j++ {
		i, before := k.good.at(j), k.good.at(j-1)
		v := k.c.V[i]
		if v < k.refV {
			continue
		}
		if k.believable(v-k.refV, k.c.T[i]-k.refT) && !k.believable(v-k.c.V[before], k.c.T[i]-k.c.T[before]) {
			return j
		}
		return 0
	}
	return 0
}

// backDown finds, behind a rise that cannot be believed, the reading at which
// the counter is back; 0 = none.
func (k *counter) backDown(n int) int {
	for j := n + 1; j < k.good.n && j <= n+lookAhead; j++ {
		i := k.good.at(j)
		v := k.c.V[i]
		if v >= k.refV && v < k.c.V[k.good.at(n)] && k.believable(v-k.refV, k.c.T[i]-k.refT) {
			return j
		}
	}
	return 0
}

// bad flags the readings from the n-th up to the back-th.
func (k *counter) bad(n, back int) int {
	for ; n < back; n++ {
		i := k.good.at(n)
		note(&k.found.BadReadings, &k.found.FirstBad, i)
		k.emit(k.refT, i, 0, series.Spike)
	}
	return back
}

// rollOver finds the full scale that explains a fall: near is within a tenth
// of it. 10^4 and up, 2^16 and 2^32 of the unit as written or of its decimal
// parts; a signed 16-bit count goes from +32767 to −32768.
func (k *counter) rollOver(v float64, dt int64) (amount float64, ok bool) {
	amount = math.Inf(1)
	try := func(full float64) {
		a := full - k.refV + v
		near := k.refV >= 0.9*full && math.Abs(v) <= 0.1*full || v < 0 && k.refV >= 0.45*full && v <= -0.45*full
		if near && a >= 0 && k.believable(a, dt) {
			amount = min(amount, a)
		}
	}
	for n := 4; n <= 12; n++ {
		try(math.Pow10(n) * k.factorBase)
	}
	for n := -3; n <= 1; n++ {
		try(65536 * math.Pow10(n) * k.factorBase)
		try(4294967296 * math.Pow10(n) * k.factorBase)
	}
	return amount, !math.IsInf(amount, 1)
}
