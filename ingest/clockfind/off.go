package clockfind

import (
	"math"
	"slices"

	"yardheat/ingest/align"
	"yardheat/ingest/series"
)

// Bounds below which clocks are taken to agree.
const (
	offS      = 180.0
	offStepsS = 300.0
	// mostChecks is how many pairs of trains are tried before two logs are taken to
	// say nothing of each other.
	mostChecks = 2
)

// disagreement is one clock that disagrees with another, or with the milkings.
type disagreement struct {
	log, other int
	text       string
	hint       bool // it says which zone would explain it
}

// off lists logs whose kept clock the evidence says is off: against the
// milkings by more than the delay can be, against another log's same events. Of
// two logs that disagree the one that disagrees with more is named.
func (f *finder) off(all, milkings []*train) {
	var list []disagreement
	for i := range f.Logs {
		if f.keeps(i) {
			list = append(list, f.disagreements(i, all, milkings)...)
		}
	}
	votes := map[int]int{}
	for _, o := range list {
		votes[o.log]++
		if o.other >= 0 {
			votes[o.other]++
		}
	}
	told := map[int]bool{}
	for _, o := range list {
		if told[o.log] || o.other >= 0 && told[o.other] {
			continue
		}
		if o.other >= 0 && votes[o.other] >= votes[o.log] {
			back, ok := f.heldAgainst(o.other, o.log, all, of(o.log, all))
			if ok && (votes[o.other] > votes[o.log] || back.hint && !o.hint) {
				o = back
			}
		}
		told[o.log] = true
		g := f.Logs[o.log]
		f.found.Problem(series.CodeClockOff, series.Doubt, g.File, "", "the clock looks off, or that of what it is held against: %s clock = \"find\" in [[log]] (farm.toml, line %d) takes it off", o.text, g.Farm.Line)
	}
}

// keeps tells whether a log was read with a clock that the farm file settles.
func (f *finder) keeps(log int) bool {
	return f.Logs[log].Farm.Clock != "find" && log < len(f.Logs) && f.Logs[log].File != ""
}

// of are the trains of one log.
func of(log int, all []*train) []*train {
	var out []*train
	for _, t := range all {
		if t.log == log {
			out = append(out, t)
		}
	}
	return out
}

// disagreements are what a log's clock fails against: the milkings, and the logs
// after it.
func (f *finder) disagreements(log int, all, milkings []*train) []disagreement {
	var out []disagreement
	if o, ok := f.heldAgainst(log, -1, all, milkings); ok {
		out = append(out, o)
	}
	for j := log + 1; j < len(f.Logs); j++ {
		if !f.keeps(j) {
			continue
		}
		if o, ok := f.heldAgainst(log, j, all, of(j, all)); ok {
			out = append(out, o)
		}
	}
	return out
}

// heldAgainst holds a log's clock against another's, or against the milkings
// (other −1), by their sharpest trains.
func (f *finder) heldAgainst(log, other int, all, fixed []*train) (disagreement, bool) {
	links := linksOf(log, all, fixed)
	for _, k := range links[:min(len(links), mostChecks)] {
		if k.agrees() {
			return disagreement{}, false
		}
		r := align.Find(k.movedAt, k.fixed.Train, k.delay, middle(log, all), align.DefaultOptions())
		if !r.Found {
			continue
		}
		if !f.isOff(&r, k) {
			return disagreement{}, false
		}
		c := f.settle(log, &r, k)
		return disagreement{log: log, other: other, text: c.Evidence, hint: c.hint}, true
	}
	return disagreement{}, false
}

// agrees tells at little cost whether the clock is right as it stands: in every
// eighth of the log most events have the other's where they should be.
func (k *link) agrees() bool {
	const parts, few, most = 8, 5, 0.6
	at, fixed := k.movedAt.AtMS, k.fixed.AtMS
	slackS := offS/2 + float64(k.moved.HalfMS+k.fixed.HalfMS)/1000
	low, high := int64((k.delay.LowS-slackS)*1000), int64((k.delay.HighS+slackS)*1000)
	for p := range parts {
		n, hit := 0, 0
		for _, t := range at[p*len(at)/parts : (p+1)*len(at)/parts] {
			if t < fixed[0] || t > fixed[len(fixed)-1] {
				continue
			}
			n++
			if i, _ := slices.BinarySearch(fixed, t-high); i < len(fixed) && fixed[i] <= t-low {
				hit++
			}
		}
		if n >= few && float64(hit) < most*float64(n) {
			return false
		}
	}
	return true
}

func (f *finder) isOff(r *align.Result, k link) bool {
	slack := offS + 2*float64(k.moved.HalfMS+k.fixed.HalfMS)/1000
	for _, j := range r.Jumps {
		if math.Abs(j.ByS) > offStepsS {
			return true
		}
	}
	return r.LowS > slack || r.HighS < -slack
}
