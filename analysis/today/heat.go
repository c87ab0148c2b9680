package today

import (
	"math"
	"slices"
	"strings"

	"yardheat/analysis/account"
	"yardheat/ingest/series"
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
		{"yard", m.heats(&m.two.Loop), "below", m.two.Loop.Absent || m.two.Loop.Rows == nil && !m.logged("loop_")},
		{"milk", m.heats(&m.two.Plate), "below", m.two.Plate.Absent || m.two.Plate.Rows == nil && !m.logged("plate_")},
		{"socket", m.element(), "above", m.two.Element.Absent || m.two.Element.Rows == nil && !m.logged("element_")},
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
		var all sides
		for i, x := range v[:n] {
			all.add(m.age(m.two.Cycles[i].End), x)
		}
		u := m.usual(all.earlier(m.opt.FewestStretches), m.opt.FewestStretches, "two days")
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

// logged: a quantity of that name is among the series.
func (m *maker) logged(prefix string) bool {
	return slices.ContainsFunc(m.rec.Series, func(s *series.Series) bool { return strings.HasPrefix(string(s.Quantity), prefix) })
}
