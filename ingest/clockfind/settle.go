package clockfind

import (
	"fmt"
	"math"
	"time"

	"yardheat/ingest/align"
	"yardheat/ingest/clock"
)

// settle makes the clock of what was found. Where the delay between the two
// kinds of event leaves open whether the clock is off at all, it is left alone.
func (f *finder) settle(log int, r *align.Result, k link) *Found {
	c := &Found{BelowS: r.AheadS - r.LowS, AboveS: r.HighS - r.AheadS}
	zone := f.zoneOf(log)
	f.snap(r, zone)
	note := ""
	if by, ok := f.rightSomewhere(r, zone); k.loose && ok {
		r.AheadS -= by
		c.BelowS, c.AboveS = c.BelowS-by, c.AboveS+by
		note = " The delay between the two is known but roughly and leaves room for a clock that is right: no offset is taken off."
	}
	c.Shift = clock.Shift{AheadS: r.AheadS, DriftSPerDay: r.DriftSPerDay, MidMS: r.MidMS}
	for _, j := range r.Jumps {
		c.Shift.Jumps = append(c.Shift.Jumps, clock.Jump{AtMS: j.AtMS, ByS: j.ByS})
	}
	hint := f.zoneHint(r, zone)
	c.Evidence, c.hint = f.evidence(r, k, log)+note+hint, hint != ""
	return c
}

// rightSomewhere gives the clock's error in the stretch between jumps in which
// it may be none: winter time's where the jump is a clock change, else the
// smallest.
func (f *finder) rightSomewhere(r *align.Result, zone *time.Location) (byS float64, ok bool) {
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
func (f *finder) zoneOf(log int) *time.Location {
	if z, err := clock.ParseZone(f.Logs[log].ZoneName); err == nil {
		return z
	}
	return f.Zone
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
func (f *finder) snap(r *align.Result, zone *time.Location) {
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
func (f *finder) zoneHint(r *align.Result, zone *time.Location) string {
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
func (f *finder) evidence(r *align.Result, k link, log int) string {
	text := fmt.Sprintf("%d of %d %s lie within %s of %s once the clock is set right", r.Matched, r.Of, k.moved.what, spanText(r.WithinS), f.whose(k.fixed))
	if k.loose {
		text = fmt.Sprintf("%d of %d %s lie within %s of one delay after %s, which may be %s to %s", r.Matched, r.Of, k.moved.what, spanText(r.WithinS), f.whose(k.fixed), align.Hours(k.delay.LowS), align.Hours(k.delay.HighS))
	}
	if r.Next > 0 {
		text += fmt.Sprintf("; at the next best offset %d do", r.Next)
	}
	return fmt.Sprintf("%s. It is %s ahead at the middle of the log (95 %%: %s to %s)%s.", text, align.Hours(r.AheadS), align.Hours(r.LowS), align.Hours(r.HighS), f.stepsText(r, log))
}

func spanText(s float64) string {
	if s < 120 {
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.1f min", s/60)
}

func (f *finder) stepsText(r *align.Result, log int) string {
	text := ""
	if r.DriftSPerDay != 0 {
		text += fmt.Sprintf(", gaining %+.2g s a day", r.DriftSPerDay)
	}
	for _, j := range r.Jumps {
		text += fmt.Sprintf(", moved by %s about %s", align.Hours(j.ByS), time.UnixMilli(j.AtMS).In(f.zoneOf(log)).Format("2006-01-02 15:04"))
	}
	return text
}
