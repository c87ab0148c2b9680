package today

import (
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/cycle"
)

// loop: the draws of the stretch against those of the weeks before, by
//
//	effectiveness = (T_out − T_in)/(T_bed − T_in),
//
// temperatures by litres over the draw, the bed's probes as they read; without a
// bed probe by the water's rise T_out − T_in, K. Only draws with most of their
// litres counted, and at least half the usual size, count.
func (m *maker) loop() *Line {
	if m.acc.Loop.Absent || m.rec.Farm.Loop == nil {
		return nil
	}
	l := &Line{Code: CodeLoop, Says: LoopNotKnown, State: NotKnown}
	key, unit, of := "effectiveness", "1", m.effectiveness
	if m.g.Stream("bed_temp") == nil {
		key, unit, of = "rise_k", "K", m.rise
	}
	usualL := m.usualDrawL()
	var now, before []float64
	for i, d := range m.acc.Draws {
		if i >= len(m.acc.DrawRows) || d.Litres < usualL/2 || !d.Complete {
			continue
		}
		r := m.acc.DrawRows[i]
		if !(r.CountedL >= m.coveredShare()*r.Litres) {
			continue
		}
		if m.inWindow(d.End) {
			now = append(now, of(d, r))
		} else {
			before = append(before, of(d, r))
		}
	}
	m.compare(l, compared{key: key, unit: unit, now: now, before: before, of: "draws", fewest: m.opt.FewestDraws, share: m.opt.LeastLoop,
		low: LoopLow, high: LoopHigh, usual: LoopUsual, few: LoopFew})
	return l
}

// usualDrawL is the median litres of a draw.
func (m *maker) usualDrawL() float64 {
	var v []float64
	for _, d := range m.acc.Draws {
		v = append(v, d.Litres)
	}
	return median(v)
}

func (m *maker) rise(_ cycle.Draw, r account.HeatRow) float64 { return r.HotC() - r.ColdC() }

func (m *maker) effectiveness(d cycle.Draw, r account.HeatRow) float64 {
	sum, n := 0.0, 0.0
	for _, v := range m.g.Stream("bed_temp").Values[d.A:d.B] {
		if v == v {
			sum, n = sum+v, n+1
		}
	}
	if drive := sum/n - r.ColdC(); drive > 1 {
		return (r.HotC() - r.ColdC()) / drive
	}
	return math.NaN()
}

// compared is one comparison of a stage's values with its earlier ones.
type compared struct {
	key, unit             string
	now, before           []float64
	of                    string
	fewest                int
	share                 float64 // of the median, at least
	low, high, usual, few Finding
}

// compare holds the median of the stretch's values against the usual range of
// single values before it.
func (m *maker) compare(l *Line, c compared) {
	now := known(c.now)
	l.number("values", float64(len(now)), "1", nil)
	if len(now) == 0 {
		return
	}
	u, v := m.usual(c.before, c.fewest, c.of), median(now)
	l.number(c.key, v, c.unit, u)
	switch {
	case u == nil || len(now) < m.opt.FewestNow:
		l.Says = c.few
		l.number("earlier", float64(len(known(c.before))), "1", nil)
		return
	case u.off(v, c.share*math.Abs(u.Mid)) < 0:
		l.Says, l.State = c.low, LookAt
	case u.off(v, c.share*math.Abs(u.Mid)) > 0:
		l.Says, l.State = c.high, LookAt
	default:
		l.Says, l.State = c.usual, InOrder
	}
}

// plate: the heat caught per kWh of the compressor by cycle, where no compressor
// is logged the heat of a cycle; and whether any water passed it.
func (m *maker) plate() *Line {
	a := m.acc
	if a.Plate.Absent {
		return nil
	}
	l := &Line{Code: CodePlate, Says: PlateNotKnown, State: NotKnown}
	if a.Plate.Rows == nil {
		return l
	}
	worked := m.worked()
	key, unit := "caught_per_kwh", "1"
	if worked == nil {
		key, unit = "plate_kwh", "kWh"
	}
	var now, before []float64
	for i, c := range a.Cycles {
		r := a.Plate.Rows[i]
		if !r.Covered(c, m.coveredShare()) || (worked != nil && !(worked[i] > 0)) || (worked == nil && !c.Whole) {
			continue
		}
		v := r.KWh
		if worked != nil {
			v /= worked[i]
		}
		if c.End > m.t.From {
			now = append(now, v)
		} else {
			before = append(before, v)
		}
	}
	m.compare(l, compared{key: key, unit: unit, now: now, before: before, of: "cycles", fewest: m.opt.FewestCycles, share: m.opt.LeastPlate,
		low: PlateLow, high: PlateHigh, usual: PlateUsual, few: PlateFew})
	m.noWater(l, worked)
	return l
}

// worked is the compressor's kWh of each cycle in which it used its usual part
// and was covered, else 0; nil where it is not logged.
func (m *maker) worked() []float64 {
	rows := m.acc.Compressor.Rows
	if rows == nil {
		return nil
	}
	var all []float64
	for i, c := range m.acc.Cycles {
		if c.Whole && rows[i].Covered(c, m.coveredShare()) {
			all = append(all, rows[i].KWh)
		}
	}
	out, usual := make([]float64, len(rows)), median(all)
	for i, c := range m.acc.Cycles {
		if rows[i].Covered(c, m.coveredShare()) && rows[i].KWh > 0.5*usual {
			out[i] = rows[i].KWh
		}
	}
	return out
}

// noWater: in the last cycle in which the compressor worked hardly any water
// passed the plate, which was rare before.
func (m *maker) noWater(l *Line, worked []float64) {
	if worked == nil {
		return
	}
	var litres []float64
	for i, c := range m.acc.Cycles {
		if worked[i] > 0 && c.End <= m.t.From {
			litres = append(litres, m.acc.Plate.Rows[i].Litres)
		}
	}
	if len(litres) < m.opt.FewestCycles {
		return
	}
	little := m.opt.LittleShare * median(litres)
	dry := 0.0
	for _, v := range litres {
		if v <= little {
			dry++
		}
	}
	if dry > m.opt.RareShare*float64(len(litres)) {
		return
	}
	for i := len(worked) - 1; i >= 0; i-- {
		c, r := m.acc.Cycles[i], m.acc.Plate.Rows[i]
		if worked[i] == 0 || !r.Covered(c, m.coveredShare()) {
			continue
		}
		if c.End > m.t.From && r.Litres <= little {
			l.Says, l.State = PlateNoWater, LookAt
			l.number("litres", r.Litres, "L", m.usual(litres, m.opt.FewestCycles, "cycles"))
			l.number("compressor_kwh", worked[i], "kWh", nil)
			l.time("since", c.Start)
		}
		return
	}
}

// heat: from yard, milk and socket in the stretch, against the two-day stretches
// before it.
func (m *maker) heat() *Line {
	l := &Line{Code: CodeHeat, Says: HeatNotKnown, State: NotKnown}
	if m.two == nil {
		return l
	}
	share, n := m.coveredShare(), len(m.two.Cycles)
	heats := func(h *account.Heat) []float64 {
		if h.Rows == nil {
			return nil
		}
		v := make([]float64, n)
		for i, c := range m.two.Cycles {
			v[i] = math.NaN()
			if h.Rows[i].Covered(c, share) {
				v[i] = h.Rows[i].KWh
			}
		}
		return v
	}
	some, few, off := false, false, false
	has := !m.two.Loop.Absent || !m.two.Plate.Absent || !m.two.Element.Absent
	for _, x := range []struct {
		key  string
		v    []float64
		bad  int // the side that asks for a look
		gone bool
	}{
		{"yard", heats(&m.two.Loop), -1, m.two.Loop.Absent},
		{"milk", heats(&m.two.Plate), -1, m.two.Plate.Absent},
		{"socket", m.element(), 1, m.two.Element.Absent},
	} {
		if x.gone {
			continue
		}
		if x.v == nil || x.v[n-1] != x.v[n-1] {
			l.word(x.key, "not known")
			continue
		}
		v, u := x.v[n-1], m.usual(x.v[:n-1], m.opt.FewestStretches, "two days")
		l.number(x.key+"_kwh", v, "kWh", u)
		some = true
		if u == nil {
			few = true
			l.word(x.key, "too few")
			continue
		}
		side := u.off(v, m.opt.LeastHeat*math.Abs(u.Mid))
		l.word(x.key, [...]string{"below", "usual", "above"}[side+1])
		off = off || side == x.bad
	}
	switch {
	case !has:
		return nil
	case off:
		l.Says, l.State = HeatOff, LookAt
	case some && few:
		l.Says = HeatFew
	case some:
		l.Says, l.State = HeatUsual, InOrder
	}
	return l
}

// element is the electricity of the element by two-day stretch, kWh.
func (m *maker) element() []float64 {
	rows := m.two.Element.Rows
	if rows == nil {
		return nil
	}
	v := make([]float64, len(rows))
	for i, c := range m.two.Cycles {
		v[i] = math.NaN()
		if rows[i].Covered(c, m.coveredShare()) {
			v[i] = rows[i].KWh
		}
	}
	return v
}
