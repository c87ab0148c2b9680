package account

import (
	"math"
	"slices"

	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/analysis/water"
	"yardheat/ingest/farm"
	"yardheat/ingest/series/room"
)

// Store is the change of the heat in the tanks over every cycle, between its
// start and the next's.
type Store struct {
	// Why, if not empty: no tank probe or no tank volume.
	Why     string
	Sources []grid.Source
	// ChangeKWh, one a cycle; NaN = not known. A shared error of a probe drops
	// out of it; the tank volume's relative error moves it by itself.
	ChangeKWh []float64
	tanks     []tank
}

// Loss is the heat that the tanks lose to the air.
type Loss struct {
	// Why, if not empty: not known, and so inside "unexplained".
	Why string
	// WPerK of all tanks together, with its standard error over the stretches.
	WPerK, WPerKSE float64
	Stretches      int
	// KWh, one a cycle: WPerK · ∫(T_tank − T_air) dt; NaN = not covered. KelvinH
	// is that integral, K h.
	KWh, KelvinH []float64
	// UpperOnly: a tank's lower half is not measured; SpreadKelvinH, one a cycle,
	// is how far the kelvin hours may be off either way, K h.
	UpperOnly     bool
	SpreadKelvinH []float64
}

// tank is one tank on the grid: its volume's mean temperature.
type tank struct {
	farm.Tank
	meanC   []float64
	sources []grid.Source
	// lowC is its lower half, where meanC is but its upper probe; nil where the
	// probes stand at several heights, or nothing tells it.
	lowC []float64
}

// HotTank is the upper probe of the hot tank: the highest layer of the tank
// with role hot, else of the last that is no preheat tank; without layers the
// mean of its probes. nil where none is logged.
func HotTank(g *grid.Grid, f *farm.Farm) *grid.Stream {
	if len(f.Tanks) == 0 {
		return g.Stream("tank_temp")
	}
	var t farm.Tank
	for _, x := range f.Tanks {
		if x.Role == "hot" || x.Role == "" && t.Role != "hot" {
			t = x
		}
	}
	if t.VolumeL == 0 && t.Name == "" {
		return nil
	}
	top, height := "", math.Inf(-1)
	for place, h := range t.Layers {
		if g.StreamAt("tank_temp", place) != nil && (h > height || h == height && place < top) {
			top, height = place, h
		}
	}
	if height > math.Inf(-1) {
		return g.StreamAt("tank_temp", top)
	}
	if s := g.StreamAt("tank_temp", t.Name); s != nil {
		return s
	}
	if len(f.Tanks) > 1 {
		return nil
	}
	return g.Stream("tank_temp")
}

// tanks finds the tanks, their change and their loss.
func (m *maker) tanks() {
	s := &m.acc.Store
	for _, t := range m.farm.Tanks {
		if x, ok := m.tank(t); ok {
			s.tanks = append(s.tanks, x)
			s.Sources = append(s.Sources, x.sources...)
		}
	}
	if len(s.tanks) == 0 {
		s.Why = "no tank_temp with a tank volume is logged"
		m.acc.Loss.Why = s.Why
		return
	}
	s.ChangeKWh = make([]float64, len(m.acc.Cycles))
	for i, c := range m.acc.Cycles {
		for _, t := range s.tanks {
			s.ChangeKWh[i] += t.kWh(around(m.g, t.meanC, c.End)) - t.kWh(around(m.g, t.meanC, c.Start))
		}
	}
	m.loss()
}

// tank lays one tank on the grid: the mean of its layers, each probe standing
// for the water nearer to it than to the next.
func (m *maker) tank(t farm.Tank) (tank, bool) {
	out := tank{Tank: t}
	places := make([]string, 0, len(t.Layers))
	for p := range t.Layers {
		if m.g.StreamAt("tank_temp", p) != nil {
			places = append(places, p)
		}
	}
	if len(places) == 0 {
		s := m.g.StreamAt("tank_temp", t.Name)
		if s == nil && len(m.farm.Tanks) == 1 {
			s = m.g.Stream("tank_temp")
		}
		if s == nil {
			return out, false
		}
		out.meanC, out.sources = s.Values, s.Sources
		return out, true
	}
	slices.SortFunc(places, func(a, b string) int {
		switch {
		case t.Layers[a] < t.Layers[b] || t.Layers[a] == t.Layers[b] && a < b:
			return -1
		}
		return 1
	})
	out.meanC = room.Make[float64](m.g.N)
	if len(places) == 1 {
		s := m.g.StreamAt("tank_temp", places[0])
		out.meanC, out.sources = s.Values, s.Sources
		return out, true
	}
	for i, p := range places {
		lo, hi := 0.0, 1.0
		if i > 0 {
			lo = (t.Layers[places[i-1]] + t.Layers[p]) / 2
		}
		if i+1 < len(places) {
			hi = (t.Layers[p] + t.Layers[places[i+1]]) / 2
		}
		s := m.g.StreamAt("tank_temp", p)
		for k, v := range s.Values {
			out.meanC[k] += (hi - lo) * v
		}
		for _, x := range s.Sources {
			x.Weight *= hi - lo
			out.sources = append(out.sources, x)
		}
	}
	return out, true
}

// below finds the lower half of a tank whose probes all stand high or whose
// one probe's height is not stated.
func (m *maker) below(t *tank, air []float64, wPerK float64) {
	if len(t.sources) != 1 {
		return
	}
	if h, stated := t.Layers[t.sources[0].Place]; stated && h <= 0.6 {
		return
	}
	if low, ok := m.lowC(*t, air, wPerK); ok {
		t.lowC = low
	}
}

// kWh is the heat in the tank at one mean temperature, above 0 degC, so that
// changes add up exactly:
//
//	E(T) = V ∫₀ᵀ ρ c_p dT   (Simpson's rule, two steps)
//
// A tank of fixed volume; the water that its warming pushes out is 0.3 % of the
// change a kelvin at most.
func (t tank) kWh(tempC float64) float64 {
	f := func(c float64) float64 { return water.HeatCapacityKJPerLK(c) }
	h := tempC / 4
	sum := f(0) + 4*f(h) + 2*f(2*h) + 4*f(3*h) + f(tempC)
	return t.VolumeL * sum * h / 3 / 3600
}

// around is the mean over the five minutes on either side of an instant, so
// that a single missing cell does not lose a cycle; NaN where none is covered.
func around(g *grid.Grid, v []float64, ms int64) float64 {
	const aroundMS = 5 * 60 * 1000
	return meanAbove(v, g.Cell(ms-aroundMS), g.Cell(ms+aroundMS), math.Inf(-1))
}

// stretch is one quiet stretch: the kelvins lost by the tank times its heat
// capacity, and the drive.
type stretch struct{ lostKWh, kelvinH float64 }

// loss finds the loss coefficient from quiet stretches,
//
//	UA = Σ C (T₀ − T₁) / Σ ∫(T − T_air) dt,
//
// and its standard error from their scatter (ratio estimator). C in kWh/K. T is
// the tank's probe: each layer cools by itself, so the coefficient holds for the
// part that the probe sees; the kelvin hours that it is laid on are the whole
// tank's (tankBetween).
func (m *maker) loss() {
	l := &m.acc.Loss
	l.WPerK, l.WPerKSE = math.NaN(), math.NaN()
	air := m.g.Stream("air_temp")
	if air == nil {
		l.Why = "no air_temp beside the tank is logged"
		return
	}
	all := m.quiet(air.Values)
	l.Stretches = len(all)
	if len(all) < m.opt.LossFewest {
		l.Why = "fewer quiet stretches than the loss can be told from"
		return
	}
	var lost, drive float64
	for _, s := range all {
		lost, drive = lost+s.lostKWh, drive+s.kelvinH
	}
	ua, n := lost/drive, float64(len(all))
	sq := 0.0
	for _, s := range all {
		d := s.lostKWh - ua*s.kelvinH
		sq += d * d
	}
	l.WPerK = 1000 * ua
	l.WPerKSE = 1000 * math.Sqrt(sq*n/(n-1)) / math.Abs(drive)
	m.lossByCycle(air.Values)
}

func (m *maker) lossByCycle(air []float64) {
	l := &m.acc.Loss
	for i := range m.acc.Store.tanks {
		m.below(&m.acc.Store.tanks[i], air, l.WPerK)
	}
	l.KWh, l.KelvinH, l.SpreadKelvinH = make([]float64, len(m.acc.Cycles)), make([]float64, len(m.acc.Cycles)), make([]float64, len(m.acc.Cycles))
	for i, c := range m.acc.Cycles {
		sum, spread, n := 0.0, 0.0, 0
		for k := c.A; k < c.B; k++ {
			mean, half := m.tankBetween(k)
			if d := mean - air[k]; d == d {
				sum, spread = sum+d, spread+half
				n++
			}
		}
		if float64(n) < m.opt.Cycle.CoveredShare*float64(c.B-c.A) || n == 0 {
			l.KWh[i], l.KelvinH[i], l.SpreadKelvinH[i] = math.NaN(), math.NaN(), math.NaN()
			continue
		}
		l.KelvinH[i] = sum / float64(n) * c.Hours()
		l.SpreadKelvinH[i] = spread / float64(n) * c.Hours()
		l.UpperOnly = l.UpperOnly || spread > 0
		l.KWh[i] = l.WPerK / 1000 * l.KelvinH[i]
	}
}

// tankMean is the mean temperature of all tanks at a cell, by volume.
func (m *maker) tankMean(cell int) float64 {
	sum, volume := 0.0, 0.0
	for i := range m.acc.Store.tanks {
		t := &m.acc.Store.tanks[i]
		sum, volume = sum+t.VolumeL*t.meanC[cell], volume+t.VolumeL
	}
	return sum / volume
}

// tankBetween is the mean of all tanks at a cell where the warm water of one may
// end anywhere between its top and its floor, with lowC below: the middle, and
// half of what lies between.
func (m *maker) tankBetween(cell int) (meanC, halfK float64) {
	meanC = m.tankMean(cell)
	volume := 0.0
	for i := range m.acc.Store.tanks {
		volume += m.acc.Store.tanks[i].VolumeL
	}
	for i := range m.acc.Store.tanks {
		t := &m.acc.Store.tanks[i]
		if t.lowC == nil {
			continue
		}
		half := (t.meanC[cell] - t.lowC[cell]) / 2 * t.VolumeL / volume
		meanC, halfK = meanC-half, halfK+half
	}
	return meanC, halfK
}

// quiet finds the stretches in which nothing moved: no flow, no element, tank
// and air covered throughout.
func (m *maker) quiet(air []float64) []stretch {
	cells, rest := int(m.opt.LossStretchS/m.g.StepS), m.restCells()
	still := room.Make[float64](m.g.N)
	for i := range still {
		d := m.tankMean(i) - air[i]
		still[i] = 1
		if d != d {
			still[i] = 0
		}
	}
	m.busy(still)
	var out []stretch
	for _, s := range cycle.Spans(still, 0, func(v float64) bool { return v > 0 }) {
		for a := s.A + rest; a+cells <= s.B-rest; a += cells {
			out = append(out, m.stretch(a, a+cells, air))
		}
	}
	return out
}

// restCells is one interval of the slowest tank probe: between the last reading
// made while something moved and the first after it the tank did not cool along
// the line that joins them.
func (m *maker) restCells() int {
	slowest := 0.0
	for _, x := range m.acc.Store.Sources {
		slowest = math.Max(slowest, m.g.Channels[x.Channel].UsualS)
	}
	return int(math.Ceil(slowest / m.g.StepS))
}

// busy clears the cells in which something moved or may have.
func (m *maker) busy(still []float64) {
	for _, r := range []*grid.Runs{m.loop, m.plate, m.wash, m.use} {
		if r == nil {
			continue
		}
		for i, v := range r.Flow.Values {
			if !(v <= 0) {
				still[i] = 0
			}
		}
	}
	if m.element == nil {
		return
	}
	limit := compressorOnKW(m.element.Values)
	for i, v := range m.element.Values {
		if !(v <= limit) {
			still[i] = 0
		}
	}
}

func (m *maker) stretch(a, b int, air []float64) stretch {
	var out stretch
	edge := int(max(1, 600/m.g.StepS))
	seen := float64(b-a-edge) / float64(b-a) // from mid of the first to mid of the last ten minutes
	for _, t := range m.acc.Store.tanks {
		t0 := meanAbove(t.meanC, a, a+edge, math.Inf(-1))
		t1 := meanAbove(t.meanC, b-edge, b, math.Inf(-1))
		out.lostKWh += t.kWh(t0) - t.kWh(t1)
	}
	for k := a; k < b; k++ {
		out.kelvinH += (m.tankMean(k) - air[k]) * m.g.Hours()
	}
	out.kelvinH *= seen
	return out
}
