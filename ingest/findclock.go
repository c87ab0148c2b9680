package ingest

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"yardheat/ingest/align"
	"yardheat/ingest/clock"
	"yardheat/ingest/logs"
	"yardheat/ingest/series"
)

// foundClock is a clock that was found, with what proves it.
type foundClock struct {
	shift        clock.Shift
	below, above float64 // of the offset, to the ends of its 95 % interval
	evidence     string
	hint         bool // the evidence names a zone
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

// findClocks finds the clocks of the logs that ask for it and reads those logs
// again, then holds the other clocks against each other and the milkings.
func (l *loader) findClocks() {
	before := len(l.rec.Problems)
	l.listedMilkings()
	l.ofMilkings = slices.Clone(l.rec.Problems[before:])
	if len(l.faults) > 0 || !l.comparable() {
		l.notFound("there is nothing to hold it against: neither another log with a clock of its own nor milkings")
		return
	}
	all := l.trains()
	milkings := l.milkingsForClocks()
	shifts := map[int]clock.Shift{}
	l.clocks = map[int]*foundClock{}
	why := map[int]string{}
	for again := true; again; {
		again = false
		for i := range l.farm.Logs {
			if l.farm.Logs[i].Clock != "find" || l.clocks[i] != nil || i >= len(l.logs) || len(l.logs[i].Tables) == 0 {
				continue
			}
			c, reason := l.findClock(i, all, append(l.settled(all), milkings...))
			why[i] = reason
			if c != nil {
				l.clocks[i], shifts[i], again = c, c.shift, true
				l.moveTrains(i, all, c.shift)
			}
		}
	}
	if len(shifts) > 0 {
		l.readAgain(shifts)
	}
	l.tellClocks(why)
	l.clocksOff(all, milkings)
}

// comparable tells whether there is anything to hold a clock against.
func (l *loader) comparable() bool {
	n := 0
	for _, g := range l.logs {
		if len(g.Tables) > 0 {
			n++
		}
	}
	m := l.farm.Milkings
	return n > 1 || m.File != "" || len(m.Times) > 0
}

// milkingsForClocks are the milkings' trains; stated times are laid on the days
// of the readings, unflagged as yet, and forgotten.
func (l *loader) milkingsForClocks() []*train {
	if l.rec.MilkingsFrom == "" && len(l.farm.Milkings.Times) > 0 {
		l.span()
		l.statedTimes(l.farm.Milkings.Times)
		slices.SortFunc(l.rec.Milkings, func(a, b Milking) int { return cmp.Compare(a.Start, b.Start) })
		out := l.milkingTrains()
		l.rec.Milkings, l.rec.First, l.rec.Last = nil, 0, 0
		return out
	}
	return l.milkingTrains()
}

// settled are the trains of logs whose clock stands: kept, given or found.
func (l *loader) settled(all []*train) []*train {
	var out []*train
	for _, t := range all {
		if l.farm.Logs[t.log].Clock != "find" || l.clocks[t.log] != nil {
			out = append(out, t)
		}
	}
	return out
}

// moveTrains puts the trains of a log on true time.
func (l *loader) moveTrains(log int, all []*train, s clock.Shift) {
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
func (l *loader) findClock(log int, all, fixed []*train) (*foundClock, string) {
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
				why = fmt.Sprintf("%s beside %s: %s", k.moved.what, l.whose(k.fixed), r.Why)
			}
		case best == nil:
			best, of = &r, k
		case !agree(best, &r, k):
			return nil, fmt.Sprintf("%s beside %s says %s, %s beside %s says %s", of.moved.what, l.whose(of.fixed), align.Hours(best.AheadS), k.moved.what, l.whose(k.fixed), align.Hours(r.AheadS))
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
	return l.settle(log, best, of), ""
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
func (l *loader) whose(t *train) string {
	if t.log < 0 {
		return t.what
	}
	return t.what + " in " + series.Quoted(l.farm.Logs[t.log].Name)
}

// settle makes the clock of what was found. Where the delay between the two
// kinds of event leaves open whether the clock is off at all, it is left alone.
func (l *loader) settle(log int, r *align.Result, k link) *foundClock {
	c := &foundClock{below: r.AheadS - r.LowS, above: r.HighS - r.AheadS}
	zone := l.zoneOf(log)
	l.snap(r, zone)
	note := ""
	if by, ok := l.rightSomewhere(r, zone); k.loose && ok {
		r.AheadS -= by
		c.below, c.above = c.below-by, c.above+by
		note = " The delay between the two is known but roughly and leaves room for a clock that is right: no offset is taken off."
	}
	c.shift = clock.Shift{AheadS: r.AheadS, DriftSPerDay: r.DriftSPerDay, MidMS: r.MidMS}
	for _, j := range r.Jumps {
		c.shift.Jumps = append(c.shift.Jumps, clock.Jump{AtMS: j.AtMS, ByS: j.ByS})
	}
	hint := l.zoneHint(r, zone)
	c.evidence, c.hint = l.evidence(r, k, log)+note+hint, hint != ""
	return c
}

// rightSomewhere gives the clock's error in the stretch between jumps in which
// it may be none: winter time's where the jump is a clock change, else the
// smallest.
func (l *loader) rightSomewhere(r *align.Result, zone *time.Location) (byS float64, ok bool) {
	half := (r.HighS - r.LowS) / 2
	at := []int64{r.MidMS}
	for _, j := range r.Jumps {
		at = append(at, j.AtMS-dayMS, j.AtMS+dayMS)
	}
	best := math.Inf(1)
	for _, t := range at {
		a := r.AheadAt(t)
		if math.Abs(a) > half {
			continue
		}
		rank := math.Abs(a)
		if len(r.Jumps) > 0 && time.UnixMilli(t).In(zone).IsDST() {
			rank += 1e6
		}
		if rank < best {
			best, byS, ok = rank, a, true
		}
	}
	return byS, ok
}

// zoneOf is the zone in which a log's stamps were read.
func (l *loader) zoneOf(log int) *time.Location {
	if z, err := clock.ParseZone(l.logs[log].Tables[0].Zone); err == nil {
		return z
	}
	return l.rec.Zone
}

// change is a zone's clock change near a time: its instant and by how much the
// zone's clocks move; ok where there is one within two days.
func change(zone *time.Location, tMS int64) (atMS int64, byS float64, ok bool) {
	start, end := time.UnixMilli(tMS).In(zone).ZoneBounds()
	for _, c := range []time.Time{start, end} {
		if d := c.UnixMilli() - tMS; !c.IsZero() && d < 2*dayMS && d > -2*dayMS {
			_, before := c.Add(-time.Second).Zone()
			_, after := c.Zone()
			return c.UnixMilli(), float64(after - before), true
		}
	}
	return 0, 0, false
}

// snapS is how near a jump must be to a clock change's size to be one.
const snapS = 180

// snap lays a jump that is a clock change of the zone, backwards, on the change:
// the logger did not follow it. In spring its stamps, read in the zone, show the
// skipped hour and then again what follows the change.
func (l *loader) snap(r *align.Result, zone *time.Location) {
	for i := range r.Jumps {
		j := &r.Jumps[i]
		at, by, ok := change(zone, j.AtMS)
		if !ok || math.Abs(j.ByS+by) > snapS {
			continue
		}
		before := r.MidMS < j.AtMS
		j.AtMS, j.ByS = at+int64(max(by, 0)*1000), -by
		if after := r.MidMS >= j.AtMS; before == after {
			// The jump changed sides of the middle at which the offset is given.
			step := j.ByS
			if before {
				step = -step
			}
			r.AheadS, r.LowS, r.HighS = r.AheadS-step, r.LowS-step, r.HighS-step
		}
	}
}

// zoneHint says which zone would explain what was found.
func (l *loader) zoneHint(r *align.Result, zone *time.Location) string {
	offset := func(t int64) float64 {
		_, z := time.UnixMilli(t).In(zone).Zone()
		return float64(z) + r.AheadAt(t)
	}
	seen := []float64{offset(r.MidMS)}
	for _, j := range r.Jumps {
		if _, by, ok := change(zone, j.AtMS); !ok || math.Abs(j.ByS+by) > snapS {
			return ""
		}
		seen = append(seen, offset(j.AtMS-dayMS), offset(j.AtMS+dayMS))
	}
	const quarterS = 900
	fixed := math.Round(seen[0]/quarterS) * quarterS
	for _, o := range seen {
		if math.Abs(o-fixed) > snapS {
			return ""
		}
	}
	if _, own := time.UnixMilli(r.MidMS).In(zone).Zone(); len(r.Jumps) == 0 && (float64(own) == fixed || math.Abs(r.AheadS) > 4*3600) {
		return ""
	}
	return fmt.Sprintf(" It looks like a logger that keeps one time all year: zone = %q in [[log]] would say so.", offsetText(fixed))
}

func offsetText(s float64) string {
	if s == 0 {
		return "UTC"
	}
	sign := '+'
	if s < 0 {
		sign, s = '-', -s
	}
	return fmt.Sprintf("%c%02d:%02d", sign, int(s)/3600, int(s)/60%60)
}

// evidence says what a finding rests on.
func (l *loader) evidence(r *align.Result, k link, log int) string {
	text := fmt.Sprintf("%d of %d %s lie within %s of %s once the clock is set right", r.Matched, r.Of, k.moved.what, spanText(r.WithinS), l.whose(k.fixed))
	if k.loose {
		text = fmt.Sprintf("%d of %d %s lie within %s of one delay after %s, which may be %s to %s", r.Matched, r.Of, k.moved.what, spanText(r.WithinS), l.whose(k.fixed), align.Hours(k.delay.LowS), align.Hours(k.delay.HighS))
	}
	if r.Next > 0 {
		text += fmt.Sprintf("; at the next best offset %d do", r.Next)
	}
	return fmt.Sprintf("%s. It is %s ahead at the middle of the log (95 %%: %s to %s)%s.", text, align.Hours(r.AheadS), align.Hours(r.LowS), align.Hours(r.HighS), l.stepsText(r, log))
}

func spanText(s float64) string {
	if s < 120 {
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.1f min", s/60)
}

func (l *loader) stepsText(r *align.Result, log int) string {
	text := ""
	if r.DriftSPerDay != 0 {
		text += fmt.Sprintf(", gaining %+.2g s a day", r.DriftSPerDay)
	}
	for _, j := range r.Jumps {
		text += fmt.Sprintf(", moved by %s about %s", align.Hours(j.ByS), time.UnixMilli(j.AtMS).In(l.zoneOf(log)).Format("2006-01-02 15:04"))
	}
	return text
}

// readAgain reads all logs with the clocks that were found: row order tells
// apart stamps that a jump shows twice, so the stamps themselves are read anew.
func (l *loader) readAgain(shifts map[int]clock.Shift) {
	l.rec.Series, l.probes = nil, nil
	l.rec.Problems = nil
	l.readLogs(shifts)
	l.makeSeries()
	l.rec.Problems = append(l.rec.Problems, l.ofMilkings...)
}

// readLogs reads the logs, found clocks taken off.
func (l *loader) readLogs(shifts map[int]clock.Shift) {
	read, found := logs.Read(l.root, l.farm, logs.Options{Now: l.opt.Now, Workers: l.opt.Workers, Progress: l.opt.Progress, Flags: l.opt.Flags, Clocks: shifts})
	l.logs = read
	l.faults = append(l.faults, found.Faults...)
	l.rec.Problems = append(l.rec.Problems, found.Problems...)
}

// tellClocks lists what was found and what was not.
func (l *loader) tellClocks(why map[int]string) {
	for i, g := range l.logs {
		if g.Farm.Clock != "find" || len(g.Tables) == 0 {
			continue
		}
		c := l.clocks[i]
		if c == nil {
			l.problem(series.CodeClockNotFound, series.Doubt, g.Tables[0].Name, "", "clock = \"find\" (farm.toml, line %d): not found, the clock is kept as it stands: %s", g.Farm.Line, why[i])
			continue
		}
		l.problem(series.CodeClockFound, series.Note, g.Tables[0].Name, "", "%s", c.evidence)
		for _, t := range g.Tables {
			t.Corrections = append(t.Corrections, "clock found: "+c.evidence)
		}
	}
}

func (l *loader) notFound(why string) {
	for _, g := range l.logs {
		if g.Farm.Clock == "find" && len(g.Tables) > 0 {
			l.problem(series.CodeClockNotFound, series.Doubt, g.Tables[0].Name, "", "clock = \"find\" (farm.toml, line %d): not found, the clock is kept as it stands: %s", g.Farm.Line, why)
		}
	}
}

// ownClock completes a file's clock where it was found.
func (l *loader) ownClock(log int, c *Clock) {
	if f := l.clocks[log]; f != nil {
		c.From, c.Low, c.High = "found", c.AheadS-f.below, c.AheadS+f.above
	}
}

// Bounds below which clocks are taken to agree.
const (
	offS      = 180.0
	offStepsS = 300.0
	// mostChecks is how many pairs of trains are tried before two logs are taken to
	// say nothing of each other.
	mostChecks = 2
)

// off is one clock that disagrees with another, or with the milkings.
type off struct {
	log, other int
	text       string
	hint       bool // it says which zone would explain it
}

// clocksOff lists logs whose kept clock the evidence says is off: against the
// milkings by more than the delay can be, against another log's same events. Of
// two logs that disagree the one that disagrees with more is named.
func (l *loader) clocksOff(all, milkings []*train) {
	var list []off
	for i := range l.logs {
		if l.keeps(i) {
			list = append(list, l.disagreements(i, all, milkings)...)
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
			back, ok := l.heldAgainst(o.other, o.log, all, of(o.log, all))
			if ok && (votes[o.other] > votes[o.log] || back.hint && !o.hint) {
				o = back
			}
		}
		told[o.log] = true
		g := l.logs[o.log]
		l.problem(series.CodeClockOff, series.Doubt, g.Tables[0].Name, "", "the clock looks off, or that of what it is held against: %s clock = \"find\" in [[log]] (farm.toml, line %d) takes it off", o.text, g.Farm.Line)
	}
}

// keeps tells whether a log was read with a clock that the farm file settles.
func (l *loader) keeps(log int) bool {
	return l.farm.Logs[log].Clock != "find" && log < len(l.logs) && len(l.logs[log].Tables) > 0
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
func (l *loader) disagreements(log int, all, milkings []*train) []off {
	var out []off
	if o, ok := l.heldAgainst(log, -1, all, milkings); ok {
		out = append(out, o)
	}
	for j := log + 1; j < len(l.logs); j++ {
		if !l.keeps(j) {
			continue
		}
		if o, ok := l.heldAgainst(log, j, all, of(j, all)); ok {
			out = append(out, o)
		}
	}
	return out
}

// heldAgainst holds a log's clock against another's, or against the milkings
// (other −1), by their sharpest trains.
func (l *loader) heldAgainst(log, other int, all, fixed []*train) (off, bool) {
	links := linksOf(log, all, fixed)
	for _, k := range links[:min(len(links), mostChecks)] {
		if k.agrees() {
			return off{}, false
		}
		r := align.Find(k.movedAt, k.fixed.Train, k.delay, middle(log, all), align.DefaultOptions())
		if !r.Found {
			continue
		}
		if !l.isOff(&r, k) {
			return off{}, false
		}
		c := l.settle(log, &r, k)
		return off{log: log, other: other, text: c.evidence, hint: c.hint}, true
	}
	return off{}, false
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

func (l *loader) isOff(r *align.Result, k link) bool {
	slack := offS + 2*float64(k.moved.HalfMS+k.fixed.HalfMS)/1000
	for _, j := range r.Jumps {
		if math.Abs(j.ByS) > offStepsS {
			return true
		}
	}
	return r.LowS > slack || r.HighS < -slack
}
