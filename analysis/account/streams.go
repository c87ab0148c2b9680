package account

import (
	"math"
	"time"

	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/analysis/loop"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
	"yardheat/ingest/series/room"
)

// Why a stream's heat is not known.
const (
	WhyNoFlow   = "no flow meter, counter, valve or pump state with a stated flow is logged"
	WhyNoHot    = "no temperature of the water that leaves is logged"
	WhyNoCold   = "no temperature of the water that enters is logged, and farm.toml has no [mains] figure"
	WhyFluid    = "the loop carries a mixture for which no published correlation is built in; its heat is not computed"
	WhyNoWashes = "no wash meter, and no refill that follows a fall of the hot tank was seen"
)

// side is one booked side of a stream.
type side struct {
	booked  *grid.Booked
	sources []grid.Source
	lagS    float64
}

// probeSide books a logged probe; ok is false where none of the quantities is
// logged.
func (m *maker) probeSide(r *grid.Runs, leadL float64, names ...series.Quantity) (side, bool) {
	for _, q := range names {
		if s := m.hot(q); s != nil {
			o := m.book(s, leadL)
			return side{r.Book(s, o), s.Sources, o.TauS}, true
		}
	}
	return side{}, false
}

// mainsSide books the farm file's figure of the cold feed.
func (m *maker) mainsSide(r *grid.Runs) (side, bool) {
	if len(m.farm.MainsC) == 0 {
		return side{}, false
	}
	return side{r.BookValue(m.mainsC), mainsSources(), 0}, true
}

func mainsSources() []grid.Source {
	return []grid.Source{{Channel: -1, Quantity: "mains_temp", Key: "mains.temp_c", Weight: 1}}
}

// mainsC is the farm file's figure at a time: one for all, or by local month.
func (m *maker) mainsC(ms int64) float64 {
	t := m.farm.MainsC
	if len(t) == 12 {
		return t[time.UnixMilli(ms).In(m.zone).Month()-1]
	}
	return t[0]
}

// heats sums all streams.
func (m *maker) heats() {
	a := m.acc
	a.Loop = m.loopHeat()
	a.Plate = m.plateHeat()
	a.Wash = m.washHeat()
	a.OtherUse = m.useHeat()
}

func (m *maker) has(names ...series.Quantity) bool {
	for _, q := range names {
		if len(m.g.Find(q)) > 0 {
			return true
		}
	}
	return false
}

// loopHeat: in by loop_in_temp, else the cold feed.
func (m *maker) loopHeat() Heat {
	h := Heat{Name: "loop"}
	l := m.farm.Loop
	if l == nil && !m.has("loop_out_temp", "loop_flow", "loop_volume") {
		h.Absent = true
		return h
	}
	if l != nil && l.Fluid != "" && l.Fluid != "water" {
		h.Why = WhyFluid
		return h
	}
	if m.loop == nil {
		h.Why = WhyNoFlow
		return h
	}
	leadL := 0.0
	if l != nil && l.HasLead {
		leadL = coldLeadL(l)
	}
	hot, ok := m.probeSide(m.loop, leadL, "loop_out_temp")
	if !ok {
		h.Why = WhyNoHot
		return h
	}
	cold, ok := m.probeSide(m.loop, 0, "loop_in_temp", "mains_temp")
	if !ok {
		cold, ok = m.mainsSide(m.loop)
	}
	if !ok {
		h.Why = WhyNoCold
		return h
	}
	h.Estimated = m.loop.Flow.From == "draws"
	return m.sum(h, m.loop, hot, cold, l != nil && l.MeterAt == "out", math.NaN(), nil)
}

// coldLeadL is the lead pipe in litres of cooled water: its wall cools with
// the water, and warms again on the first litres that pass.
func coldLeadL(l *farm.Loop) float64 {
	pipe := loop.Pipe{LengthM: l.LengthM, BoreMM: l.BoreMM, WallMM: l.WallMM, Material: l.Pipe, WallMJPerM3K: l.WallMJPerM3K}
	beta, _, _ := pipe.Beta(leadWaterC)
	return l.LeadL * (1 + beta)
}

// leadWaterC: the water's heat capacity hardly depends on it.
const leadWaterC = 30

func (m *maker) plateHeat() Heat {
	h := Heat{Name: "plate"}
	if m.farm.Plate == nil && m.plate == nil && !m.has("plate_in_temp", "plate_out_temp") {
		h.Absent = true
		return h
	}
	if m.plate == nil {
		h.Why = WhyNoFlow
		return h
	}
	hot, ok := m.probeSide(m.plate, 0, "plate_out_temp")
	if !ok {
		h.Why = WhyNoHot
		return h
	}
	cold, ok := m.probeSide(m.plate, 0, "plate_in_temp")
	if !ok {
		h.Why = "no plate_in_temp is logged"
		return h
	}
	m.drive(cold)
	return m.sum(h, m.plate, hot, cold, m.farm.Plate != nil && m.farm.Plate.MeterAt == "out", math.NaN(), m.late())
}

// washHeat: above the feed of the cycle in which the water is drawn.
func (m *maker) washHeat() Heat {
	h := Heat{Name: "wash"}
	if m.wash == nil {
		return m.washByRefill(h)
	}
	if m.washHot == nil {
		h.Why = WhyNoHot
		return h
	}
	probe := m.hot("wash_temp")
	h.Estimated = probe == m.tankTop
	return m.useOf(h, m.wash, side{m.washHot, probe.Sources, m.lagS(probe)}, m.farm.Wash == nil || m.farm.Wash.MeterAt != "cold")
}

// washByRefill: the litres of the refills that make up for washes, at the
// tank's temperature when the refill begins, but for the share that is taken
// as drawn earlier, at the tank's lowest since the refill before.
func (m *maker) washByRefill(h Heat) Heat {
	if len(m.acc.Washes) == 0 {
		h.Why = WhyNoWashes
		return h
	}
	flow := room.Make[float64](m.g.N)
	temps := map[int]float64{}
	for i, v := range m.loop.Flow.Values {
		if v != v {
			flow[i] = v
		}
	}
	share, within, dist := m.acc.EarlierShare(m.opt)
	h.EarlierWithin, h.EarlierDist = within, dist
	for _, w := range m.acc.Washes {
		for i := w.A; i < w.B; i++ {
			flow[i] = m.loop.Flow.Values[i]
			temps[i] = w.TempC - share*(w.TempC-w.CoolC)
		}
	}
	s := *m.loop.Flow
	s.Values = flow
	runs := m.runs(&s)
	hot := runs.BookValue(func(ms int64) float64 {
		if t, ok := temps[m.g.Cell(ms)]; ok {
			return t
		}
		return math.NaN()
	})
	h.Estimated = true
	h.Note = noteRefill + m.acc.earlierNote()
	// The refill is metered cold; the litres of the wash are those.
	h = m.useOf(h, runs, side{hot, m.tankTop.Sources, 0}, false)
	m.earlier(&h)
	return h
}

const noteRefill = "no wash meter: the litres of the refills that follow washes, at the tank's temperature when each begins; "

// EarlierShare is the share of a refill's litres that is taken as drawn before
// the tank was hot, and how far that may be off, by what the tank tells:
//
//	it is drawn      anything up to EarlierMost alike: its half, limits as wide
//	it is not        nothing, up to EarlierUnseen (one-sided)
//	it can't tell    one farm in two rinses from the tank: nothing or anything up to
//	                 EarlierMost, mean EarlierMost/4, sd EarlierMost √(1/6 − 1/16),
//	                 as a normal half-width at 95 %
//
// (our choices, no source).
func (a *Account) EarlierShare(o Options) (share, within float64, dist EarlierDist) {
	switch {
	case a.Earlier.Shows():
		return o.EarlierMost / 2, o.EarlierMost / 2, EarlierLimits
	case a.Earlier.Looked > 0:
		return 0, o.EarlierUnseen, EarlierUpTo
	}
	return o.EarlierMost / 4, z95 * o.EarlierMost * math.Sqrt(1.0/6-1.0/16), EarlierNormal
}

const z95 = 1.959963984540054

// EarlierDist is how that share errs.
type EarlierDist uint8

// Either way as limits, upwards only, or with a normal half-width at 95 %.
const (
	EarlierLimits EarlierDist = iota
	EarlierUpTo
	EarlierNormal
)

func (a *Account) earlierNote() string {
	switch {
	case a.Earlier.Shows():
		return "the tank shows that a part is drawn before it is hot (up to account.EarlierMost)"
	case a.Earlier.Looked > 0:
		return "the tank shows nothing drawn before it is hot"
	}
	return "whether a part is drawn before the tank is hot is not known (up to account.EarlierMost)"
}

const noteStands = "no logged flow goes past the probe of the cold feed: the coldest fiftieth of its readings in each cycle is taken for the feed"

// earlier is what that share does to each cycle's heat.
func (m *maker) earlier(h *Heat) {
	a, at := m.acc, 0
	for i, w := range a.Washes {
		for at < len(a.Cycles) && a.Cycles[at].B <= w.A {
			at++
		}
		if at < len(h.Rows) && i < len(a.WashRows) {
			h.Rows[at].PerEarlier -= a.WashRows[i].PerHotK * (w.TempC - w.CoolC)
		}
	}
}

func (m *maker) useHeat() Heat {
	h := Heat{Name: "other use"}
	if m.use == nil {
		h.Absent = true
		return h
	}
	hot, ok := m.probeSide(m.use, 0, "hot_use_temp")
	if !ok {
		h.Why = WhyNoHot
		return h
	}
	h.Estimated = !m.has("hot_use_temp")
	return m.useOf(h, m.use, hot, true)
}

// useOf is hot water drawn, above the cycle's feed.
func (m *maker) useOf(h Heat, r *grid.Runs, hot side, meterHot bool) Heat {
	if m.feedC == nil {
		h.Why = WhyNoCold
		return h
	}
	if m.feedStands {
		h.Estimated, h.Note = true, noteStands
	}
	above := math.NaN()
	if h.Name == "wash" && m.farm.Wash != nil && m.farm.Wash.HasHeatTo {
		above = m.farm.Wash.HeatToC
	}
	cold := side{r.BookValue(m.feedC), m.feedSources(), 0}
	return m.sum(h, r, hot, cold, meterHot, above, nil)
}

func (m *maker) sum(h Heat, r *grid.Runs, hot, cold side, meterHot bool, aboveC float64, late []bool) Heat {
	h.FlowName, h.Flow = r.Flow.Name, r.Flow.Sources
	h.Hot, h.Cold, h.HotLagS, h.ColdLagS = hot.sources, cold.sources, hot.lagS, cold.lagS
	limit := cycle.Threshold(r.LMin, m.opt.Cycle.ThresholdShare, m.opt.Cycle.ThresholdLMin)
	s := Stream{Runs: r, Hot: hot.booked, Cold: cold.booked, MeterHot: meterHot, AboveC: aboveC, Late: late, LowLMin: limit, LowRiseK: m.opt.LowRiseK}
	h.Rows = s.Sum(m.acc.Cycles)
	h.OpenSD = openSD(r)
	a := m.acc
	switch h.Name {
	case "loop":
		spans := make([]cycle.Cycle, len(a.Draws))
		for i, d := range a.Draws {
			spans[i] = cycle.Cycle{Start: d.Start, End: d.End, A: d.A, B: d.B}
		}
		a.DrawRows = s.Sum(spans)
	case "wash":
		spans := make([]cycle.Cycle, len(a.Washes))
		for i, w := range a.Washes {
			spans[i] = cycle.Cycle{Start: w.Start, End: w.End, A: w.A, B: w.B}
		}
		a.WashRows = s.Sum(spans)
	}
	return h
}

// openSD is what reading a valve every Δ leaves unknown of the time that it was
// open. A run of length D = (n + f) Δ holds n or n + 1 readings by chance, whose
// variance is f (1 − f): 1/6 in the mean over f. Over N runs
//
//	sd = Δ √(N/6) / Σ D.
func openSD(r *grid.Runs) float64 {
	every := r.Flow.SampledS
	if every <= r.Grid.StepS {
		return 0
	}
	open := float64(len(r.Cells)) * r.Grid.StepS
	return every * math.Sqrt(float64(r.Len())/6) / open
}

// late marks the cells later than LateAfterS after the last compressor stop;
// nil where no compressor is logged.
func (m *maker) late() []bool {
	if m.compressor == nil {
		return nil
	}
	limit := compressorOnKW(m.compressor.Values)
	out := room.Make[bool](m.g.N)
	off := 0.0
	for i, v := range m.compressor.Values {
		switch {
		case v != v || v > limit:
			off = 0
		default:
			off += m.g.StepS
		}
		out[i] = off > m.opt.LateAfterS
	}
	return out
}

// compressorOnKW: a tenth of its usual power is "on"; below it stand fans,
// crankcase heater and the clamp's zero (common practice, no source).
func compressorOnKW(kw []float64) float64 {
	return cycle.Threshold(kw, 0.1, 0.05)
}

// DriveRow is what the plate's effectiveness is made of, litre-kelvins while
// water flows: Rise = Σ V (T_out − T_in), Drive = Σ V (T_gas,in − T_in); PerK
// is the litres, each sum's response to an error of its first temperature.
type DriveRow struct{ RiseLK, DriveLK, Litres float64 }

func (m *maker) drive(cold side) {
	gas, out := m.g.Stream("gas_in_temp"), m.g.Stream("plate_out_temp")
	if gas == nil || out == nil {
		return
	}
	gasC, outC := m.plate.Book(gas, m.book(gas, 0)), m.plate.Book(out, m.book(out, 0))
	m.acc.Drive = make([]DriveRow, len(m.acc.Cycles))
	m.acc.GasSources = gas.Sources
	j, cells := 0, m.plate.Cells
	for i, c := range m.acc.Cycles {
		for ; j < len(cells) && cells[j] < c.B; j++ {
			v, in := m.plate.L[j], cold.booked.TempC[j]
			rise, drive := v*(outC.TempC[j]-in), v*(gasC.TempC[j]-in)
			if s := rise + drive; cells[j] >= c.A && s == s {
				r := &m.acc.Drive[i]
				r.RiseLK, r.DriveLK, r.Litres = r.RiseLK+rise, r.DriveLK+drive, r.Litres+v
			}
		}
	}
}
