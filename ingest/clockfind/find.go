// Package clockfind finds the clocks of loggers on a farm: it turns series into
// trains of events (draws, starts, falls of temperature), holds those of one log
// against those of the others and the milkings, and says how far a clock is off,
// what proves it, and which kept clocks disagree. It stands between the series as
// read by their stamps and the reading of those stamps with the clock put right.
//
// Flow: Input (series, milkings) → trains (events.go) → links between trains →
// align.Find → Found, problems (find.go, settle.go, off.go). Times are Unix ms by the
// stamp of each log; ahead = stamp minus true time, seconds.
package clockfind

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"yardheat/ingest/align"
	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// Units of time.
const (
	minuteMS = 60 * 1000
	dayMS    = 24 * 60 * minuteMS
)

// Log is one [[log]] as read by its own clock.
type Log struct {
	Farm *farm.Log
	// File is the file that problems name; "" where nothing of the log is used.
	File string
	// ZoneName is the zone in which its stamps were read.
	ZoneName string
}

// Milking is a milking's start and end, true time.
type Milking struct{ StartMS, EndMS int64 }

// Input is what clocks are found from.
type Input struct {
	Logs   []Log
	Series []*series.Series
	// Milkings, ascending; Stated: they are stated times, the same every day.
	Milkings []Milking
	Stated   bool
	Zone     *time.Location
}

// Result is what was found, by log, and what is to be listed.
type Result struct {
	Clocks   map[int]*Found
	Problems []series.Problem
}

// finder is one run of Find.
type finder struct {
	Input
	clocks map[int]*Found
	found  series.Found
}

// Find finds the clocks of the logs that ask for it, then holds the other clocks
// against each other and the milkings.
func Find(in Input) Result {
	f := &finder{Input: in, clocks: map[int]*Found{}}
	why := map[int]string{}
	if f.comparable() {
		all, milkings := f.trains(), f.milkingTrains()
		f.findAll(all, milkings, why)
		f.tell(why)
		f.off(all, milkings)
	} else {
		for i := range f.Logs {
			why[i] = "there is nothing to hold it against: neither another log nor milkings"
		}
		f.tell(why)
	}
	return Result{Clocks: f.clocks, Problems: f.found.Problems}
}

// comparable tells whether there is anything to hold a clock against.
func (f *finder) comparable() bool {
	n := 0
	for i := range f.Logs {
		if f.Logs[i].File != "" {
			n++
		}
	}
	return n > 1 || n == 1 && len(f.Milkings) > 0
}

// findAll finds one clock after another: one that is found settles others.
func (f *finder) findAll(all, milkings []*train, why map[int]string) {
	for again := true; again; {
		again = false
		for i := range f.Logs {
			if f.Logs[i].Farm.Clock != "find" || f.clocks[i] != nil || f.Logs[i].File == "" {
				continue
			}
			c, reason := f.findClock(i, all, append(f.settled(all), milkings...))
			why[i] = reason
			if c != nil {
				f.clocks[i], again = c, true
				moveTrains(i, all, c.Shift)
			}
		}
	}
}

// tell lists what was found and what was not.
func (f *finder) tell(why map[int]string) {
	for i, g := range f.Logs {
		if g.Farm.Clock != "find" || g.File == "" {
			continue
		}
		if c := f.clocks[i]; c != nil {
			f.found.Problem(series.CodeClockFound, series.Note, g.File, "", "%s", c.Evidence)
		} else {
			f.found.Problem(series.CodeClockNotFound, series.Doubt, g.File, "", "clock = \"find\" (farm.toml, line %d): not found, the clock is kept as it stands: %s", g.Farm.Line, why[i])
		}
	}
}

// Found is a clock that was found, with what proves it.
type Found struct {
	Shift clock.Shift
	// BelowS, AboveS: from the offset to the ends of its 95 % interval.
	BelowS, AboveS float64
	// Evidence says what it rests on.
	Evidence string
	hint     bool // the evidence names a zone
}

// link is one train of a log beside one that its clock is held against.
type link struct {
	moved, fixed *train
	movedAt      align.Train
	delay        align.Delay
	// loose: the delay between the two is known but roughly.
	loose bool
}

// causeDelays are how long after the second cause the first comes: milk is
// cooled within the hour, washes follow the milking, refills follow the wash
// (common practice, no source).
var causeDelays = map[[2]cause]align.Delay{
	{ofMilk, ofMilkingStart}:       {LowS: -900, HighS: 1800},
	{ofCompressor, ofMilkingStart}: {LowS: -900, HighS: 3600},
	{ofPlate, ofMilkingStart}:      {LowS: -900, HighS: 4500},
	{ofWash, ofMilkingEnd}:         {LowS: -900, HighS: 7200},
	{ofLoop, ofMilkingEnd}:         {LowS: -900, HighS: 10800},
	{ofLoop, ofWash}:               {LowS: -120, HighS: 3600},
	{ofWash, ofLoop}:               {LowS: -3600, HighS: 120},
	{ofPlate, ofCompressor}:        {LowS: -120, HighS: 900},
	{ofCompressor, ofPlate}:        {LowS: -900, HighS: 120},
}

// linkOf says whether two trains tell of the same, or of what follows from it.
func linkOf(m, f *train) (link, bool) {
	k := link{moved: m, fixed: f, movedAt: m.Train}
	if m.cause == f.cause {
		k.delay = align.Delay{LowS: m.late.LowS - f.late.HighS, HighS: m.late.HighS - f.late.LowS}
		k.loose = k.delay.HighS-k.delay.LowS > looseS
		return k, true
	}
	d, ok := causeDelays[[2]cause{m.cause, f.cause}]
	k.delay = align.Delay{LowS: d.LowS + m.late.LowS - f.late.HighS, HighS: d.HighS + m.late.HighS - f.late.LowS}
	k.loose = true
	switch f.cause {
	case ofMilkingStart:
		k.movedAt.AtMS = m.first
	case ofMilkingEnd:
		k.movedAt.AtMS = m.big
	}
	return k, ok && len(k.movedAt.AtMS) >= fewTrain
}

// looseS: a delay that is open by more than this may hide a clock's error.
const looseS = 600

// mostLinks is how many pairs of trains are tried for one log.
const mostLinks = 6

// linksOf are the pairs that can settle a log's clock, the sharpest first.
func linksOf(log int, all, fixed []*train) []link {
	var out []link
	for _, m := range all {
		if m.log != log {
			continue
		}
		for _, f := range fixed {
			if k, ok := linkOf(m, f); ok && f.log != log {
				out = append(out, k)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b link) int { return cmp.Compare(a.widthS(), b.widthS()) })
	return out[:min(len(out), mostLinks)]
}

func (k *link) widthS() float64 {
	return k.delay.HighS - k.delay.LowS + 2*float64(k.moved.HalfMS+k.fixed.HalfMS)/1000
}

// settled are the trains of logs whose clock stands: kept, given or found.
func (f *finder) settled(all []*train) []*train {
	var out []*train
	for _, t := range all {
		if f.Logs[t.log].Farm.Clock != "find" || f.clocks[t.log] != nil {
			out = append(out, t)
		}
	}
	return out
}

// moveTrains puts the trains of a log on true time.
func moveTrains(log int, all []*train, s clock.Shift) {
	for _, t := range all {
		if t.log != log {
			continue
		}
		for _, list := range []*[]int64{&t.AtMS, &t.first, &t.big} {
			moved := make([]int64, len(*list))
			for i, at := range *list {
				moved[i] = s.True(at)
			}
			slices.Sort(moved)
			*list = moved
		}
	}
}

// findClock finds the clock of one log; nil and why where it is not found.
func (f *finder) findClock(log int, all, fixed []*train) (*Found, string) {
	links := linksOf(log, all, fixed)
	if len(links) == 0 {
		return nil, "none of its columns shows events (draws, starts, falls of temperature) that another log or the milkings show too"
	}
	mid := middle(log, all)
	var best *align.Result
	var of link
	why := ""
	for _, k := range links {
		r := align.Find(k.movedAt, k.fixed.Train, k.delay, mid, align.DefaultOptions())
		switch {
		case !r.Found:
			if why == "" {
				why = fmt.Sprintf("%s beside %s: %s", k.moved.what, f.whose(k.fixed), r.Why)
			}
		case best == nil:
			best, of = &r, k
		case !agree(best, &r, k):
			return nil, fmt.Sprintf("%s beside %s says %s, %s beside %s says %s", of.moved.what, f.whose(of.fixed), align.Hours(best.AheadS), k.moved.what, f.whose(k.fixed), align.Hours(r.AheadS))
		case best.HighS-best.LowS > 1.5*(r.HighS-r.LowS):
			best, of = &r, k
		}
		if best != nil && !of.loose {
			break // a sharper one does not follow
		}
	}
	if best == nil {
		return nil, why
	}
	return f.settle(log, best, of), ""
}

// middle is the middle of a log's events: of its stamps a few may be far off.
func middle(log int, all []*train) int64 {
	low, high := int64(math.MaxInt64), int64(math.MinInt64)
	for _, t := range all {
		if t.log == log {
			low, high = min(low, t.AtMS[0]), max(high, t.AtMS[len(t.AtMS)-1])
		}
	}
	return low + (high-low)/2
}

// agree tells whether two findings can both be right.
func agree(a, b *align.Result, k link) bool {
	slack := 60 + float64(k.moved.HalfMS+k.fixed.HalfMS)/1000
	return a.LowS-slack <= b.HighS && b.LowS-slack <= a.HighS
}

// whose names the events that a clock was held against.
func (f *finder) whose(t *train) string {
	if t.log < 0 {
		return t.what
	}
	return t.what + " in " + series.Quoted(f.Logs[t.log].Farm.Name)
}
