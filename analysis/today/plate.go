package today

import "slices"

// plate: by cycle its effectiveness where the hot gas is logged, else the water's
// rise as a share of what it was before at the same inlet temperature; beside it
// the heat caught per kWh of the compressor (without a compressor the heat of a
// cycle); and whether any water passed at all.
func (m *maker) plate() *Line {
	a := m.acc
	if a.Plate.Absent {
		return nil
	}
	l := &Line{Code: CodePlate, Says: PlateNotKnown, State: NotKnown}
	if a.Plate.Rows == nil {
		if !m.logged("plate_") {
			return nil
		}
		return l
	}
	worked := m.worked()
	var caught, heat, eff sides
	for i, c := range a.Cycles {
		r := a.Plate.Rows[i]
		if !r.Covered(c, m.coveredShare()) {
			continue
		}
		in := m.age(c.End)
		if worked != nil && worked[i] > 0 {
			caught.add(in, r.KWh/worked[i])
		}
		if worked == nil && c.Whole {
			heat.add(in, r.KWh)
		}
		if a.Drive != nil && a.Drive[i].DriveLK > 0 {
			eff.add(in, a.Drive[i].RiseLK/a.Drive[i].DriveLK)
		}
	}
	base := compared{of: "cycles", fewest: m.opt.FewestCycles, share: m.opt.LeastPlate, unit: "1"}
	as := func(key, unit string, s sides) compared {
		c := base
		c.key, c.unit, c.sides = key, unit, s
		return c
	}
	m.compare(l, findings{PlateLow, PlateHigh, PlateUsual, PlateFew},
		as("plate_effectiveness", "1", eff), as("rise_share", "1", m.riseShare()), as("caught_per_kwh", "1", caught), as("plate_kwh", "kWh", heat))
	m.noWater(l, worked)
	return l
}

// riseShare is the water's rise in each cycle over that which a straight line
// through the earlier cycles gives at its inlet temperature,
//
//	T_out − T_in = ε (T_gas − T_in),
//
// straight in T_in where gas and effectiveness stay as they are. Inlets more than
// InletBeyondK outside those seen before have no share.
func (m *maker) riseShare() (s sides) {
	type row struct {
		age      age
		in, rise float64
	}
	var rows []row
	var ins, rises sides
	for i, c := range m.acc.Cycles {
		r := m.acc.Plate.Rows[i]
		if x := (row{m.age(c.End), r.ColdC(), r.HotC() - r.ColdC()}); r.Covered(c, m.coveredShare()) && r.CountedL > 0 {
			rows = append(rows, x)
			ins.add(x.age, x.in)
			rises.add(x.age, x.rise)
		}
	}
	x, y := ins.earlier(m.opt.FewestCycles), rises.earlier(m.opt.FewestCycles)
	if len(x) < m.opt.FewestCycles || len(x) != len(y) {
		return s
	}
	base, slope := line(x, y)
	low, high := slices.Min(x)-m.opt.InletBeyondK, slices.Max(x)+m.opt.InletBeyondK
	for _, r := range rows {
		if want := base + slope*r.in; want >= 1 && r.in >= low && r.in <= high {
			s.add(r.age, r.rise/want)
		}
	}
	return s
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
	var all sides
	for i, c := range m.acc.Cycles {
		if worked[i] > 0 {
			all.add(m.age(c.End), m.acc.Plate.Rows[i].Litres)
		}
	}
	litres := all.earlier(m.opt.FewestCycles)
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
			return
		}
		break
	}
	m.noWaterByDay(l)
}

// noWaterByDay asks the same of the last 24 hours against the 24 hours that ended
// at the same time of the days before: a plant that cools by night alone works
// across its cycles' ends.
func (m *maker) noWaterByDay(l *Line) {
	kw := m.g.Stream("compressor_power")
	if kw == nil {
		kw, _ = m.g.Flow(m.rec.Farm, "compressor_power", m.opt.Season.Account.Grid)
	}
	if kw == nil || m.acc.PlateFlow == nil {
		return
	}
	litres, kWh, ok := m.plateDay(kw.Values, 0)
	if !ok {
		return
	}
	var all, work sides
	dry := 0.0
	for d := 1; float64(d) <= m.opt.GapDays+m.opt.UsualDays; d++ {
		if v, p, ok := m.plateDay(kw.Values, d); ok {
			at := m.age(m.t.To - hours(24*float64(d)))
			all.add(at, v)
			work.add(at, p)
		}
	}
	before, used := all.earlier(m.opt.FewestDays), work.earlier(m.opt.FewestDays)
	if len(before) < m.opt.FewestDays {
		return
	}
	little := m.opt.LittleShare * median(before)
	for _, v := range before {
		if v <= little {
			dry++
		}
	}
	if litres <= little && kWh > 0.5*median(used) && dry <= m.opt.RareShare*float64(len(before)) {
		l.Says, l.State = PlateNoWater, LookAt
		l.number("litres", litres, "L", m.usual(before, m.opt.FewestDays, "days"))
		l.number("compressor_kwh", kWh, "kWh", nil)
		l.time("since", m.t.To-hours(24))
	}
}

// plateDay are the litres at the plate and the compressor's kWh over the 24 hours
// that end d days before the end; known: covered, and within what was read.
func (m *maker) plateDay(kw []float64, d int) (litres, kWh float64, known bool) {
	to := m.t.To - hours(24*float64(d))
	if to-hours(24) < m.t.UsualFrom {
		return 0, 0, false
	}
	a, b := m.g.Cell(to-hours(24)), m.g.Cell(to)
	n := 0
	for k := a; k < b; k++ {
		v, p := m.acc.PlateFlow.Values[k], kw[k]
		if v != v || p != p {
			continue
		}
		n++
		litres, kWh = litres+v*m.g.StepS/60, kWh+p*m.g.Hours()
	}
	return litres, kWh, float64(n) >= m.coveredShare()*float64(b-a)
}
