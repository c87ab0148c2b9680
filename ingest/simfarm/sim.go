package simfarm

import (
	"math"
	"math/rand/v2"
	"time"
)

// sim is the state of a running simulation.
type sim struct {
	f     *Farm
	s     *Scenario
	rng   *rand.Rand
	chain *chain

	step  int
	now   int64
	cycle int // milking that the present cycle began with, -1 before
	next  int // next use

	mainsC, outdoorC, airC float64
	mainsDay, airDay       float64 // slow noise
	bedC, depletedK        float64
	probeBedC              float64
	lastBedKJ              float64

	tank      tank
	usedL     float64 // of the present use
	refilling bool
	standS    float64 // since the loop last flowed, not yet relaxed
	restS     float64 // since the loop last flowed

	inletC, loopOutC    float64 // at the probes' places
	washC               float64
	plateInC, plateOutC float64
	gasC                float64
	probe               [signals]float64 // readings with lag
	coolingKJ           float64
	compressor, heating bool
	pumping             bool
	totals              [signals]float64
	uaL, uaSum          float64
	price               float64
	minute              float64 // of the local day

	off [][2]int64 // spans of bypass

	// what has changed so far
	uaFactor, supplyFactor, bedG, probeStepK, plateFactor float64
}

func newSim(f *Farm) *sim {
	m := &sim{f: f, s: &f.s, rng: f.noise(0x51a7), cycle: -1, off: f.bypassSpans()}
	m.chain = f.newChain(1, f.bedG, f.s.Loop.FrontShare)
	f.leadL = float64(m.chain.n-m.chain.last) * f.waterL / float64(f.s.Loop.Cells)
	m.changeTo(0)
	m.weather(f.start)
	m.bed(0)
	m.chain.fill(m.bedC)
	m.tank = newTank(f.tankVolumeL, 45)
	m.inletC, m.loopOutC, m.washC = m.airC, m.airC, m.airC
	m.plateInC, m.plateOutC, m.gasC = m.airC, m.airC, m.airC
	m.seedProbes()
	n := int((f.end-f.start)/60) + 1
	for i := range f.signal {
		f.signal[i] = make([]float64, 0, n)
	}
	if m.s.quick() {
		n = int((f.end-f.start)/stepS) + 1
		for i := range f.quick {
			f.quick[i] = make([]float64, 0, n)
		}
	}
	k := len(f.months)
	for _, p := range []*[]float64{&f.elementKWh, &f.compressorKWh, &f.pumpH, &f.elementMoney, &f.pumpHMoney, &f.gainKWh} {
		*p = make([]float64, k)
	}
	return m
}

func (m *sim) seedProbes() {
	for s, at := range m.places() {
		m.probe[s] = at
	}
}

// places are the true temperatures where the lagging probes sit.
func (m *sim) places() [Air]float64 {
	return [Air]float64{
		Mains: m.inletC, LoopOut: m.loopOutC, BedProbe: m.probeBedC, BedAtPipe: m.bedC,
		PlateIn: m.plateInC, PlateOut: m.plateOutC, Gas: m.gasC,
		TankTop: m.tank.topC, TankLow: m.tank.lowC, WashAt: m.washC,
		SlabProbe: m.chain.slabC(m.bedC) + m.s.Slab.ProbeOffsetK,
	}
}

// lagS are the probes' time constants: 20 s in a pocket; the bed's is nothing
// against its own slowness.
var lagS = [Air]float64{Mains: 20, LoopOut: 20, PlateIn: 20, PlateOut: 20, Gas: 15, TankTop: 60, TankLow: 60, WashAt: 20}

func (m *sim) run() {
	f := m.f
	steps := int((f.end - f.start) / stepS)
	stored, tank0 := m.chain.storedKJ(), m.tank.storedKJ()
	decay := [Air]float64{}
	for i, tau := range lagS {
		if tau > 0 {
			decay[i] = math.Exp(-stepS / tau)
		}
	}
	for m.step = 0; m.step < steps; m.step++ {
		m.now = f.start + int64(m.step)*stepS
		if m.step%sampleEvery == 0 {
			m.weather(m.now)
			m.sample(&m.f.signal)
		}
		if f.quick[0] != nil {
			m.sample(&m.f.quick)
		}
		m.advance()
		for i, at := range m.places() {
			m.probe[i] = at + (m.probe[i]-at)*decay[i]
		}
	}
	m.sample(&f.signal)
	if f.quick[0] != nil {
		m.sample(&f.quick)
	}
	m.relaxStanding()
	c := &f.closure
	c.bedKJ, c.airKJ = m.chain.bedKJ, m.chain.airKJ
	c.loopStoredKJ = m.chain.storedKJ() - stored
	c.tankStoredKJ = m.tank.storedKJ() - tank0
	c.coolingStoreKJ = m.coolingKJ
	f.uaMean = m.s.Loop.UAWPerK
	if m.uaL > 0 {
		f.uaMean = m.uaSum / m.uaL
	}
}

// advance is one step of everything.
func (m *sim) advance() {
	for m.cycle+1 < len(m.f.milkings) && m.f.milkings[m.cycle+1].start <= m.now {
		m.cycle++
	}
	m.take()
	m.refill()
	m.plant()
	m.element()
	m.f.closure.tankLossKJ += m.tank.lose(m.s.Tank.LossWPerK*stepS/1000, m.airC)
	m.bed(stepS)
}

// month is the month that electricity of now is booked to: that of its cycle.
func (m *sim) month() int {
	if m.cycle < 0 {
		return 0
	}
	return m.f.milkings[m.cycle].month
}

// relaxTo moves a still pipe towards the air.
func relaxTo(tempC *float64, toC, tauS float64) { *tempC += (toC - *tempC) * stepS / tauS }

// weather sets what changes slowly, once a minute.
func (m *sim) weather(now int64) {
	c := &m.s.Climate
	day := float64(now-m.f.start) / 86400
	if m.step%(86400/stepS) == 0 {
		m.mainsDay = 0.8*m.mainsDay + 0.15*m.rng.NormFloat64()
		m.airDay = 0.7*m.airDay + 1.8*m.rng.NormFloat64()
	}
	season := math.Sin(math.Pi * day / float64(m.s.Days))
	_, offset := time.Unix(now, 0).In(m.f.zone).Zone()
	m.minute = math.Mod(float64(now+int64(offset)), 86400) / 60
	swing := math.Sin(2 * math.Pi * (m.minute/1440 - 0.375))
	m.mainsC = c.MainsC - c.MainsDipK*season + m.mainsDay
	m.outdoorC = c.OutdoorC - c.OutdoorDipK*season + c.OutdoorDailyK*swing + m.airDay
	m.airC = 9 + 0.45*m.outdoorC
	m.price = m.s.Money.powerPrice(m.minute)
}

// powerPrice is the price of electricity at a minute of the local day.
func (p Money) powerPrice(minute float64) float64 {
	if p.NightFrom == "" {
		return p.PowerPricePerKWh
	}
	from, to := clockMinute(p.NightFrom), clockMinute(p.NightTo)
	inside := minute >= from && minute < to
	if from > to {
		inside = minute >= from || minute < to
	}
	if inside {
		return p.NightPricePerKWh
	}
	return p.PowerPricePerKWh
}

func clockMinute(hhmm string) float64 {
	if len(hhmm) != 5 {
		return 0
	}
	d := func(i int) float64 { return float64(hhmm[i] - '0') }
	return (d(0)*10+d(1))*60 + d(3)*10 + d(4)
}

// bed moves the bed on by dt; the loop's heat depletes it.
func (m *sim) bed(dtS float64) {
	b := &m.s.Bed
	taken := (m.chain.bedKJ - m.lastBedKJ) / 3600
	m.lastBedKJ = m.chain.bedKJ
	m.depletedK += taken/b.CapacityKWhPerK - m.depletedK*dtS/(b.RecoverH*3600)
	if m.step%sampleEvery != 0 && dtS > 0 {
		return
	}
	day := float64(m.now-m.f.start) / 86400
	if dtS == 0 {
		day = 0
	}
	m.changeTo(day)
	own := b.MeanC + b.DriftKPerDay*(day-float64(m.s.Days)/2) + b.DailyK*math.Sin(2*math.Pi*(day-0.6))
	for _, e := range m.s.Events {
		since := day - e.Day - e.Hour/24
		if since < 0 {
			continue
		}
		if e.ReturnDays > 0 {
			own += e.StepK * math.Exp(-since/e.ReturnDays)
		} else {
			own += e.StepK
		}
	}
	m.bedC = own - m.depletedK
	m.probeBedC = own + b.ProbeOffsetK + m.probeStepK - b.ProbeShare*m.depletedK
}

// sample notes all signals: once a minute, and at each step for quick loggers.
func (m *sim) sample(sig *[signals][]float64) {
	for s := range Air {
		sig[s] = append(sig[s], m.probe[s])
	}
	sig[BedAtPipe][len(sig[BedAtPipe])-1] = m.bedC
	sig[Air] = append(sig[Air], m.airC)
	sig[Outdoor] = append(sig[Outdoor], m.outdoorC)
	for s := LoopL; s <= PumpS; s++ {
		sig[s] = append(sig[s], m.totals[s])
	}
	sig[PumpOn] = append(sig[PumpOn], onOff(m.pumping))
	sig[CompressorOn] = append(sig[CompressorOn], onOff(m.compressor))
	sig[ValveOn] = append(sig[ValveOn], onOff(m.refilling))
}

func onOff(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
