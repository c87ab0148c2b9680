package account

import (
	"math"
	"sort"
	"time"

	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
)

// Milk is the milk of every cycle.
type Milk struct {
	// Why, if not empty, says why the milk heat is not known.
	Why string
	// LitresFrom: "list" or the way milk_volume is logged; In and Out are the
	// probes behind the temperatures (nil: the list's own columns).
	LitresFrom   string
	Flow         []grid.Source
	In, Out      []grid.Source
	OutIsTank    bool // milk_out_temp reads the milk in its tank, not in a pipe
	Rows         []MilkRow
	ice          *grid.Stream
	HasIceLevel  bool
	HasIceWater  bool
	IceChangePct float64 // last less first ice_level of the period; NaN = not known
}

// MilkRow is one cycle's milk; NaN = not known.
type MilkRow struct {
	Litres    float64
	InC, OutC float64
	// KWh = V ρ c (T_in − T_out)/3600; PerK its response to an error of T_in
	// (and, with the other sign, of T_out). Relative errors of volume, c and ρ
	// move it by KWh.
	KWh, PerK float64
	// After2hC: the milk two hours (Options.ColdAfterS) after the milking; in a
	// pipe, the milk as it left.
	After2hC float64
}

func (m *maker) milk() {
	k := &m.acc.Milk
	k.ice = m.g.Stream("ice_level")
	k.HasIceLevel, k.HasIceWater = k.ice != nil, m.has("ice_water_temp")
	k.IceChangePct = m.iceChange()
	in, out := m.g.Stream("milk_in_temp"), m.g.Stream("milk_out_temp")
	k.Rows = make([]MilkRow, len(m.acc.Cycles))
	litres := m.milkLitres()
	warm := math.Inf(-1)
	if in != nil {
		k.In = in.Sources
		warm = swing(in.Values, m.opt.Cycle.MilkRiseK)
	}
	if out != nil {
		k.Out = out.Sources
		k.OutIsTank = m.outIsTank(out)
	}
	anyKnown := false
	perLK := m.farm.Milk.DensityKgPerL * m.farm.Milk.SpecificHeatKJPerKgK / 3600
	for i, c := range m.acc.Cycles {
		r := &k.Rows[i]
		*r = MilkRow{litres[i], math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()}
		m.milkTemps(r, c, in, out, warm)
		r.KWh = r.Litres * perLK * (r.InC - r.OutC)
		r.PerK = r.Litres * perLK
		anyKnown = anyKnown || r.KWh == r.KWh
	}
	if !anyKnown {
		k.Why = "milk volume and both milk temperatures are not known for any cycle"
	}
}

// milkTemps takes a row's temperatures from the list, else from the probes
// while milk flowed.
func (m *maker) milkTemps(r *MilkRow, c cycle.Cycle, in, out *grid.Stream, warmC float64) {
	from, to := c.A, c.B
	end, timed := c.End, m.timed(c)
	if c.Milking >= 0 {
		w := m.acc.Milkings[c.Milking]
		r.InC, r.OutC = w.InC, w.OutC
	}
	if timed {
		w := m.acc.Milkings[c.Milking]
		end = milkingEnd(w)
		from, to = m.g.Cell(w.Start+10*60*1000), min(m.g.Cell(end), c.B)
	}
	if in != nil && r.InC != r.InC {
		r.InC = meanAbove(in.Values, from, to, warmC)
	}
	if out == nil {
		r.After2hC = r.OutC
		return
	}
	during := meanAbove(out.Values, from, to, math.Inf(-1))
	after := during
	if k := &m.acc.Milk; k.OutIsTank && timed {
		at := end + int64(m.opt.ColdAfterS*1000)
		after = math.NaN()
		if at < m.in.ToMS {
			after = meanAbove(out.Values, m.g.Cell(at-15*60*1000), m.g.Cell(at+15*60*1000), math.Inf(-1))
		}
	} else if k.OutIsTank {
		after = lowest(out.Values, c.A, c.B)
	}
	r.After2hC = after
	if r.OutC != r.OutC {
		r.OutC = after
	}
}

// timed: the cycle begins with a milking whose hour is known; a list by day has
// none.
func (m *maker) timed(c cycle.Cycle) bool {
	return c.Milking >= 0 && !(m.farm.Milkings.MilkIs == "day" && m.acc.MilkingsFrom == "list")
}

// outIsTank: over the milkings, milk_out_temp stands no higher two hours after
// a milking than during it: it reads milk in its tank. A pipe's probe warms to
// the room's air instead.
func (m *maker) outIsTank(out *grid.Stream) bool {
	colder, all := 0, 0
	for _, w := range m.acc.Milkings {
		end := milkingEnd(w)
		if w.Start < m.in.FromMS || end > m.in.ToMS {
			continue
		}
		during := meanAbove(out.Values, m.g.Cell(w.Start+10*60*1000), m.g.Cell(end), math.Inf(-1))
		at := end + int64(m.opt.ColdAfterS*1000)
		after := meanAbove(out.Values, m.g.Cell(at-15*60*1000), m.g.Cell(at+15*60*1000), math.Inf(-1))
		if d := after - during; d == d {
			all++
			if d <= 1 {
				colder++
			}
		}
	}
	return 2*colder >= all
}

// milkLitres is the milk of each cycle: the list's, else milk_volume's. A list
// by day or by collection is shared out by the hours of the cycles it covers.
func (m *maker) milkLitres() []float64 {
	a, k := m.acc, &m.acc.Milk
	out := make([]float64, len(a.Cycles))
	for i := range out {
		out[i] = math.NaN()
	}
	switch is := m.farm.Milkings.MilkIs; {
	case is == "day" || is == "collection":
		if m.shareMilk(out, is == "day") {
			k.LitresFrom = "list"
			return out
		}
	default:
		listed := false
		for i, c := range a.Cycles {
			if c.Milking >= 0 {
				out[i] = a.Milkings[c.Milking].MilkL
				listed = listed || out[i] == out[i]
			}
		}
		if listed {
			k.LitresFrom = "list"
			return out
		}
	}
	if s := m.flow("milk_volume"); s != nil {
		k.LitresFrom, k.Flow = s.From, s.Sources
		for i, r := range SumPower(m.g, s.Values, nil, a.Cycles) {
			if r.Covered(a.Cycles[i], m.opt.Cycle.CoveredShare) {
				out[i] = r.KWh * 60 // L/min · h → L
			}
		}
	}
	return out
}

// shareMilk shares a row's litres over the cycles that start within its day,
// or since the collection before, by their hours. ok: some row had litres.
func (m *maker) shareMilk(out []float64, byDay bool) (ok bool) {
	rows, cycles := m.in.Rec.Milkings, m.acc.Cycles
	for i, r := range rows {
		if r.MilkL != r.MilkL {
			continue
		}
		var from, to int64
		if byDay {
			d := grid.Days(r.Start, r.Start+1, m.zone)
			from, to = d[0], d[1]
		} else {
			to = r.Start
			if i == 0 {
				continue
			}
			from = rows[i-1].Start
		}
		a := sort.Search(len(cycles), func(i int) bool { return cycles[i].Start >= from })
		b := sort.Search(len(cycles), func(i int) bool { return cycles[i].Start >= to })
		hours := 0.0
		for _, c := range cycles[a:b] {
			hours += c.Hours()
		}
		for j := a; j < b; j++ {
			out[j] = r.MilkL * cycles[j].Hours() / hours
			ok = true
		}
	}
	return ok
}

func (m *maker) iceChange() float64 {
	s := m.acc.Milk.ice
	if s == nil {
		return math.NaN()
	}
	first, last := math.NaN(), math.NaN()
	for _, v := range s.Values[m.g.Cell(m.in.FromMS):m.g.Cell(m.in.ToMS)] {
		if v == v {
			if first != first {
				first = v
			}
			last = v
		}
	}
	return last - first
}

// swing is the middle between a probe's still and its flowing readings; −Inf
// where it does not swing.
func swing(v []float64, leastK float64) float64 {
	q := make([]float64, 0, len(v))
	for _, x := range v {
		if x == x {
			q = append(q, x)
		}
	}
	if len(q) < 10 {
		return math.Inf(-1)
	}
	sort.Float64s(q)
	low, high := q[len(q)/20], q[len(q)*19/20]
	if high-low < leastK {
		return math.Inf(-1)
	}
	return (low + high) / 2
}

// meanAbove is the mean of the covered cells of [a, b) above a limit; NaN where
// there is none.
func meanAbove(v []float64, a, b int, limit float64) float64 {
	sum, n := 0.0, 0
	for i := max(0, a); i < min(b, len(v)); i++ {
		if x := v[i]; x > limit {
			sum += x
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

func lowest(v []float64, a, b int) float64 {
	low := math.NaN()
	for _, x := range v[a:b] {
		if !(low <= x) && x == x {
			low = x
		}
	}
	return low
}

// DayNumber counts local days, for blocks of days: it rises by one a day.
func DayNumber(ms int64, zone *time.Location) int {
	y, mo, d := time.UnixMilli(ms).In(zone).Date()
	return int(time.Date(y, mo, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}
