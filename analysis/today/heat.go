package today

import (
	"math"

	"yardheat/analysis/account"
)

// heat: from yard, milk and socket in the stretch, against the two-day stretches
// before it.
func (m *maker) heat() *Line {
	l := &Line{Code: CodeHeat, Says: HeatNotKnown, State: NotKnown}
	if m.two == nil {
		return l
	}
	has, some, few, off := false, false, false, false
	for _, x := range []struct {
		key  string
		v    []float64
		bad  string // the side that asks for a look
		gone bool
	}{
		{"yard", m.heats(&m.two.Loop), "below", m.two.Loop.Absent},
		{"milk", m.heats(&m.two.Plate), "below", m.two.Plate.Absent},
		{"socket", m.element(), "above", m.two.Element.Absent},
	} {
		if x.gone {
			continue
		}
		has = true
		is := m.heatOf(l, x.key, x.v)
		some = some || is != "not known"
		few = few || is == "too few"
		off = off || is == x.bad
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

// heatOf puts one heat into the line and says where it lies; v are the stretches,
// the last of them the one looked at.
func (m *maker) heatOf(l *Line, key string, v []float64) string {
	is := "not known"
	if n := len(v) - 1; n >= 0 && v[n] == v[n] {
		u := m.usual(v[:n], m.opt.FewestStretches, "two days")
		l.number(key+"_kwh", v[n], "kWh", u)
		is = "too few"
		if u != nil {
			is = [...]string{"below", "usual", "above"}[u.off(v[n], m.opt.LeastHeat*math.Abs(u.Mid), m.opt.BeyondShare)+1]
		}
	}
	l.word(key, is)
	return is
}

// heats are a stream's kWh by two-day stretch; NaN where not covered.
func (m *maker) heats(h *account.Heat) []float64 {
	if h.Rows == nil {
		return nil
	}
	v := make([]float64, len(h.Rows))
	for i, c := range m.two.Cycles {
		v[i] = math.NaN()
		if h.Rows[i].Covered(c, m.coveredShare()) {
			v[i] = h.Rows[i].KWh
		}
	}
	return v
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
