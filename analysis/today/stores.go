package today

import (
	"math"
	"time"

	"yardheat/analysis/account"
	"yardheat/analysis/grid"
)

// bed: each probe's last reading against its own hours before the stretch.
func (m *maker) bed() *Line {
	list := m.g.Find("bed_temp")
	if len(list) == 0 {
		return nil
	}
	l := &Line{Code: CodeBed, Says: BedNotKnown, State: NotKnown}
	const few, usual, high, low = 1, 2, 3, 4
	rank := 0
	for _, k := range list {
		ch := &m.g.Channels[k]
		v, at := m.lastOf(ch.Values)
		if v != v {
			continue
		}
		u := m.usual(m.hourly(ch.Values), m.opt.FewestHours, "hours")
		of := ch.Place
		if of == "" {
			of = ch.Probe
		}
		l.Numbers = append(l.Numbers, Number{Key: "bed_c", Of: of, Value: v, Unit: "degC", Usual: u})
		if at > 0 && rank == 0 {
			l.time("at", at)
		}
		is := few
		if u != nil {
			is = [...]int{low, usual, high}[u.off(v, m.opt.LeastBedK, m.opt.BeyondShare)+1]
		}
		rank = max(rank, is)
	}
	if rank > 0 {
		l.Says = [...]Finding{BedNotKnown, BedFew, BedUsual, BedHigh, BedLow}[rank]
		l.State = [...]State{NotKnown, NotKnown, InOrder, LookAt, LookAt}[rank]
	}
	for _, e := range m.rec.Farm.Events {
		if at := e.At.UnixMilli(); at > m.t.To-hours(7*24) && at <= m.t.To {
			switch e.What {
			case "bedded", "cleared", "turned":
				l.word("event", e.What)
				l.time("event", at)
			}
		}
	}
	return l
}

// lastOf is the mean of the known values over the hour that ends at the last
// one, and the end of that cell; NaN where it lies further back than BedWithinH.
func (m *maker) lastOf(values []float64) (v float64, atMS int64) {
	b := min(m.g.Cell(m.t.To)+1, len(values))
	for k := b - 1; k >= 0 && m.t.To-m.g.EdgeMS(k) <= hours(m.opt.BedWithinH); k-- {
		if values[k] != values[k] {
			continue
		}
		return mean(values[max(0, k+1-m.perHour()) : k+1]), min(m.g.EdgeMS(k+1), m.t.To)
	}
	return math.NaN(), 0
}

func (m *maker) perHour() int { return max(1, int(3600/m.g.StepS)) }

// hourly are the means of whole hours before the stretch.
func (m *maker) hourly(values []float64) []float64 {
	var all sides
	per := m.perHour()
	for k := m.g.Cell(m.t.From); k >= per; k -= per {
		all.add(m.age(m.g.EdgeMS(k)), mean(values[k-per:k]))
	}
	return all.earlier(m.opt.FewestHours)
}

// mean of the known values; NaN without any.
func mean(values []float64) float64 {
	sum, n := 0.0, 0.0
	for _, v := range values {
		if v == v {
			sum, n = sum+v, n+1
		}
	}
	return sum / n
}

// tank: the hot tank's upper probe now against the same local hour of the days
// before.
func (m *maker) tank() *Line {
	top := account.HotTank(m.g, m.rec.Farm)
	if top == nil {
		return nil
	}
	l := &Line{Code: CodeTank, Says: TankNotKnown, State: NotKnown}
	v, at := m.lastOf(top.Values)
	if v != v {
		return l
	}
	u := m.usual(m.sameHour(top, at), m.opt.FewestDays, "days")
	l.number("tank_c", v, "degC", u)
	l.time("at", at)
	switch {
	case u == nil:
		l.Says = TankFew
	case u.off(v, m.opt.LeastTankK, m.opt.BeyondShare) < 0:
		l.Says, l.State = TankLow, LookAt
	default:
		l.Says, l.State = TankUsual, InOrder
	}
	return l
}

// sameHour are the means over the hour that ends at the same local time of the
// days before.
func (m *maker) sameHour(s *grid.Stream, atMS int64) []float64 {
	var all sides
	at := time.UnixMilli(atMS).In(m.zone)
	for d := 1; ; d++ {
		ms := time.Date(at.Year(), at.Month(), at.Day()-d, at.Hour(), at.Minute(), at.Second(), 0, m.zone).UnixMilli()
		if ms-3600e3 < m.t.UsualFrom {
			return all.earlier(m.opt.FewestDays)
		}
		if b := m.g.Cell(ms); ms <= m.t.From {
			all.add(m.age(ms), mean(s.Values[max(0, b-m.perHour()):b]))
		}
	}
}
