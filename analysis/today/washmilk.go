package today

import (
	"math"
	"slices"

	"yardheat/analysis/account"
	"yardheat/analysis/cycle"
)

// washes: the last one, and those of the stretch against the farm's target.
func (m *maker) washes() *Line {
	var now []judged
	var last *cycle.Wash
	before := 0
	for i := range m.acc.Washes {
		w := &m.acc.Washes[i]
		if w.Rinse {
			continue
		}
		small := w.Litres < m.small
		if !small {
			last = w
		}
		if m.inWindow(w.End) {
			now = append(now, judged{w, small})
		} else if !small {
			before++
		}
	}
	f := m.rec.Farm.Wash
	if last == nil && m.acc.WashFlow == nil {
		return nil // no meter, and no refill that tells of one
	}
	l := &Line{Code: CodeWashes, Says: WashesHot, State: InOrder}
	if f != nil && f.HasTarget {
		l.number("target_c", f.TargetC, "degC", nil)
	}
	if last != nil {
		l.number("last_c", last.TempC, "degC", nil)
		l.number("last_l", last.Litres, "L", nil)
		l.time("last", last.Start)
		l.word("last", m.wordOf(last))
	}
	usual := float64(before) / max(1, float64(m.t.From-m.t.UsualFrom)/float64(m.t.To-m.t.From))
	m.judgeWashes(l, now, usual)
	return l
}

// wordOf says how a wash stands to the target.
func (m *maker) wordOf(w *cycle.Wash) string {
	switch f := m.rec.Farm.Wash; {
	case w.Unknown || math.IsNaN(w.TempC):
		return "not known"
	case f == nil || !f.HasTarget:
		return "no target"
	case w.TooCool:
		return "too cool"
	}
	return "hot enough"
}

// judged is a wash of the stretch.
type judged struct {
	*cycle.Wash
	small bool
}

// smallL is the litres up to which a wash counts as a small one: SmallShare of the
// upper quartile, where so small ones are a habit of the farm (HabitShare of all
// stretches of wash water), such as warm water let through before a milking; else
// 0. The report judges them as it does every wash that passed JudgedC; here they
// are counted apart and ask for no look by themselves.
func (m *maker) smallL() float64 {
	var all []float64
	for _, w := range m.acc.Washes {
		all = append(all, w.Litres)
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	limit := m.opt.SmallShare * quantile(all, 0.75)
	if n, _ := slices.BinarySearch(all, limit); float64(n) < m.opt.HabitShare*float64(len(all)) {
		return 0
	}
	return limit
}

func (m *maker) judgeWashes(l *Line, now []judged, usual float64) {
	n, cool, small, smallCool, unknown, reasons := 0, 0, 0, 0, 0, map[string]int{}
	var coolest *cycle.Wash
	for _, w := range now {
		if w.small {
			small++
			if w.TooCool {
				smallCool++
			}
			continue
		}
		n++
		if w.Unknown || math.IsNaN(w.TempC) {
			unknown++
			continue
		}
		if w.TooCool {
			cool++
			reasons[w.Reason]++
		}
		if coolest == nil || w.TempC < coolest.TempC {
			coolest = w.Wash
		}
	}
	l.number("washes", float64(n), "1", nil)
	l.number("too_cool", float64(cool), "1", nil)
	l.number("small", float64(small), "1", nil)
	l.number("small_too_cool", float64(smallCool), "1", nil)
	l.number("unknown", float64(unknown), "1", nil)
	if coolest != nil {
		l.number("coolest_c", coolest.TempC, "degC", nil)
		l.time("coolest", coolest.Start)
	}
	_, target := l.Number("target_c")
	switch {
	case cool > 0:
		l.Says, l.State = WashesCool, LookAt
		l.word("reason", most(reasons))
	case n == 0:
		l.number("usual_washes", usual, "1", nil)
		l.Says, l.State = WashesNotSeen, NotKnown
		if seen := m.washesSeen(); seen && usual >= 2 {
			l.Says, l.State = WashesNone, LookAt
		}
	case !target:
		l.Says, l.State = WashesNoTarget, NotKnown
	case unknown == n:
		l.Says, l.State = WashesNotKnown, NotKnown
	}
}

// washesSeen: what tells of washes is covered for most of the stretch.
func (m *maker) washesSeen() bool {
	if m.acc.WashFlow != nil {
		return m.seen(m.acc.WashFlow.Values) >= m.coveredShare()
	}
	tank := account.HotTank(m.g, m.rec.Farm)
	return tank != nil && m.acc.LoopFlow != nil && m.seen(tank.Values) >= m.coveredShare() && m.seen(m.acc.LoopFlow.Values) >= m.coveredShare()
}

// most is the reason met most often, of equals the first by name.
func most(reasons map[string]int) string {
	best := ""
	for _, r := range []string{"cold tank", "short heat", "not known"} {
		if reasons[r] > reasons[best] {
			best = r
		}
	}
	return best
}

// milk: was it cold two hours after the milkings of the stretch?
func (m *maker) milk() *Line {
	k, limit := &m.acc.Milk, m.rec.Farm.Milk.LimitC
	l := &Line{Code: CodeMilk, Says: MilkNotKnown, State: NotKnown}
	logged, n, warm, dark := len(k.Out) > 0, 0, 0, 0
	worst, at := math.Inf(-1), int64(0)
	for i, r := range k.Rows {
		c := m.acc.Cycles[i]
		if c.Milking < 0 {
			continue
		}
		logged = logged || r.After2hC == r.After2hC
		end := m.acc.Milkings[c.Milking].End
		if end <= m.acc.Milkings[c.Milking].Start {
			end = c.Start
		}
		switch due := end + int64(m.opt.Season.Account.ColdAfterS*1000); {
		case !m.inWindow(due):
			continue
		case math.IsNaN(r.After2hC):
			dark++
			continue
		}
		n++
		if r.After2hC > limit {
			warm++
		}
		if r.After2hC > worst {
			worst, at = r.After2hC, end
		}
	}
	if !logged || limit <= 0 {
		return nil
	}
	l.number("limit_c", limit, "degC", nil)
	l.number("milkings", float64(n), "1", nil)
	l.number("warm", float64(warm), "1", nil)
	l.number("unknown", float64(dark), "1", nil)
	l.word("read", m.milkRead())
	if n > 0 {
		l.number("warmest_c", worst, "degC", nil)
		l.time("warmest", at)
		l.Says, l.State = MilkCold, InOrder
	}
	if warm > 0 {
		l.Says, l.State = MilkWarm, LookAt
	}
	return l
}

// milkRead: "tank" two hours after the milking; "pipe" or "list": as it left.
func (m *maker) milkRead() string {
	switch k := &m.acc.Milk; {
	case len(k.Out) == 0:
		return "list"
	case k.OutIsTank:
		return "tank"
	}
	return "pipe"
}
