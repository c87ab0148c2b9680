package reading

import (
	"slices"
	"sync"

	"yardheat/ingest/series"
	"yardheat/ingest/series/room"
)

// Meaning is what is known of a column beside its cells.
type Meaning struct {
	Quantity series.Quantity
	// Stamp is "start", "end", "instant" or "" (not stated).
	Stamp string
	// Counter: the farm file says that the column is a running counter.
	Counter bool
	// FactorBase is what one of the unit as written is in the base unit (for
	// the full scale of a counter).
	FactorBase float64
	// Shared keeps the intervals of stamps that several columns share; nil =
	// none do.
	Shared *Intervals
}

// Intervals keeps the ends and starts of the intervals that stamps stand for,
// so that the columns of one table share them. The zero value is ready; it may
// be used from several goroutines.
type Intervals struct {
	mu  sync.Mutex
	all map[intervalKey][2][]int64
}

type intervalKey struct {
	first        *int64
	n            int
	usual, gapMS int64
	stamp        string
}

// of gives the intervals of some stamps, made once.
func (k *Intervals) of(stamps []int64, usualMS, gapMS int64, stamp string) (end, from []int64) {
	if k == nil || len(stamps) == 0 {
		return intervals(stamps, usualMS, gapMS, stamp)
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	key := intervalKey{&stamps[0], len(stamps), usualMS, gapMS, stamp}
	if got, ok := k.all[key]; ok {
		return got[0], got[1]
	}
	end, from = intervals(stamps, usualMS, gapMS, stamp)
	if k.all == nil {
		k.all = map[intervalKey][2][]int64{}
	}
	k.all[key] = [2][]int64{end, from}
	return end, from
}

// Findings are what Series noticed on the way.
type Findings struct {
	// StampAssumed: no stamp was stated and the value is one over an interval;
	// its stamp was taken to be the interval's end.
	StampAssumed bool
	// HeldUntilNext: the rows come at irregular times and a rate was taken to
	// last until the next row.
	HeldUntilNext bool
	// CounterFound: recognised as a running counter, not stated.
	CounterFound bool
	Counter      CounterFindings
}

// Series makes a series of a merged column: it sets Kind, T, From, V, Flags,
// Origins, IntervalMS, HoldMS, Counter and ResolutionBase of s.
func Series(s *series.Series, c *Column, m Meaning, opt FlagOptions) Findings {
	info, _ := series.Lookup(m.Quantity)
	usual, regular := Pace(c.T)
	if c.Flags.Absent() > 0 && (!regular || !onAxis(info.Class) || float64(c.Flags.Absent()) > mostAbsent*float64(len(c.T))) {
		c.Compact()
		usual, regular = Pace(c.T)
	}
	s.IntervalMS = usual
	s.T, s.V, s.Flags, s.Origins = c.T, c.V, c.Flags, c.Origins
	gapMS := int64(opt.GapIntervals * float64(usual))
	switch info.Class {
	case series.OnOff:
		s.Kind = series.State
		if regular {
			s.HoldMS = 2 * usual
		}
	case series.Volume, series.Energy:
		s.Kind = series.Amount
		return amounts(s, c, m, opt)
	case series.Flow, series.Power:
		if m.Stamp == "instant" {
			return Findings{}
		}
		s.Kind = series.Mean
		if m.Stamp == "" && !regular && len(c.T) > 2 {
			s.T, s.From = after(c.T, usual, maxHoldMS)
			return Findings{HeldUntilNext: true}
		}
		s.T, s.From = m.Shared.of(c.T, usual, gapMS, m.Stamp)
		return Findings{StampAssumed: m.Stamp == ""}
	default:
		if m.Stamp == "start" || m.Stamp == "end" {
			s.Kind = series.Mean
			s.T, s.From = m.Shared.of(c.T, usual, gapMS, m.Stamp)
		}
	}
	return Findings{}
}

// mostAbsent is the share of a table's rows without a reading in a column up to
// which the column keeps the table's stamps: its own pace is then theirs.
const mostAbsent = 0.2

// onAxis tells whether a class of readings can stand beside empty places: a
// state holds until its next row, and a total is counted from the last one.
func onAxis(c series.Class) bool {
	switch c {
	case series.OnOff, series.Volume, series.Energy:
		return false
	}
	return true
}

// maxHoldMS is how long a rate in a log of events is held at most: a day; a
// silent logger is not a steady one.
const maxHoldMS = 24 * 3600 * 1000

// amounts makes amounts of a running counter or of totals per reading.
func amounts(s *series.Series, c *Column, m Meaning, opt FlagOptions) Findings {
	var f Findings
	limit := rateCap(m.Quantity, opt)
	s.Counter = m.Counter
	if !m.Counter {
		s.Counter = looksCounted(c, limit, s.IntervalMS)
		f.CounterFound = s.Counter
	}
	if s.Counter {
		if m.Stamp == "start" { // the row's interval ends, and the counter is read, one step later
			c.T = slices.Clone(c.T)
			for i := range c.T {
				c.T[i] += s.IntervalMS
			}
		}
		f.Counter = difference(s, c, limit, m.FactorBase, opt)
		return f
	}
	f.StampAssumed = m.Stamp == ""
	stamp := m.Stamp
	if stamp == "instant" {
		stamp = "end" // a total has no instant
	}
	s.T, s.From = m.Shared.of(c.T, s.IntervalMS, int64(opt.GapIntervals*float64(s.IntervalMS)), stamp)
	return f
}

// intervals gives the ends and starts of the intervals that stamps stand for:
// with stamp = "start" they begin at the stamp, else they end there. An
// interval reaches to the neighbouring stamp, but over a gap only as far as
// the usual interval.
func intervals(stamps []int64, usualMS, gapMS int64, stamp string) (end, from []int64) {
	if stamp == "start" {
		return after(stamps, usualMS, gapMS)
	}
	from = room.Make[int64](len(stamps))
	for i, t := range stamps {
		from[i] = t - usualMS
		if i > 0 && t > stamps[i-1] && t-stamps[i-1] <= gapMS {
			from[i] = stamps[i-1]
		} else if i > 0 && t == stamps[i-1] {
			from[i] = from[i-1]
		}
	}
	return stamps, from
}

// after lets each stamp's interval last until the next stamp, or, where that
// is further than mostMS, for the usual interval.
func after(stamps []int64, usualMS, mostMS int64) (end, from []int64) {
	end = room.Make[int64](len(stamps))
	for i := len(stamps) - 1; i >= 0; i-- {
		t := stamps[i]
		end[i] = t + usualMS
		if i+1 < len(stamps) && stamps[i+1] > t && stamps[i+1]-t <= mostMS {
			end[i] = stamps[i+1]
		} else if i+1 < len(stamps) && stamps[i+1] == t {
			end[i] = end[i+1]
		}
	}
	return end, stamps
}
