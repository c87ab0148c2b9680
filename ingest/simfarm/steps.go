package simfarm

import "math"

// take draws wash water from the tank's top.
func (m *sim) take() {
	f := m.f
	if m.next >= len(f.uses) || m.now < f.uses[m.next].start || m.refilling {
		relaxTo(&m.washC, m.airC, 1200)
		return
	}
	u := &f.uses[m.next]
	topC := m.tank.topC
	litres := u.flowLMin * stepS / 60
	kg := litres * rhoAt(topC) / 1000
	if m.usedL >= u.litres || m.tank.kg-kg < m.tank.fullKg*0.04 {
		m.next++
		m.usedL = 0
		m.refilling = u.refill
		return
	}
	m.usedL += litres
	m.tank.draw(kg)
	f.closure.tankOutKJ += kg * hAt(topC)
	// The short pipe to the probe is flushed within a litre or so.
	m.washC = topC + (m.washC-topC)*math.Exp(-litres/0.8)
	metered := kg / rhoAt(m.washC) * 1000
	m.totals[WashL] += metered
	f.wash.add(m.step, m.cycle, metered, math.NaN(), m.washC)
}

// refill lets cold feed through the loop into the tank until it is full.
func (m *sim) refill() {
	if !m.refilling {
		m.standStill()
		return
	}
	flow := m.loopFlow()
	litres := flow * stepS / 60
	if m.tank.kg >= m.tank.fullKg {
		m.refilling = false
		m.standStill()
		return
	}
	if m.bypassed() {
		m.refillPast(litres)
		return
	}
	m.relaxStanding()
	m.restS = 0
	m.inletC = m.mainsC + (m.inletC-m.mainsC)*math.Exp(-litres/6)
	kg := litres * rhoAt(m.inletC) / 1000
	f := m.f
	f.setFilm(m.chain, flow, 1)
	m.loopOutC = m.chain.flow(stepS, kg, m.inletC, m.bedC, m.airC)
	m.tank.fillLow(kg, hAt(m.loopOutC))
	f.closure.tankInKJ += kg * hAt(m.loopOutC)
	f.closure.loopBookedKJ += kg * (hAt(m.loopOutC) - hAt(m.inletC))
	m.totals[LoopL] += litres
	m.uaL += litres
	m.uaSum += litres * 1000 / (1/f.filmKW(flow) + 1/m.bedG)
	f.loop.add(m.step, m.cycle, litres, m.inletC, m.loopOutC)
}

// loopFlow: the day's pressure, a slow swing, and the float valve's taper.
func (m *sim) loopFlow() float64 {
	l := &m.s.Loop
	factor := 1.0
	if m.cycle >= 0 {
		factor = m.f.milkings[m.cycle].flowFactor
	}
	flow := l.FlowLMin * factor * (1 + 0.03*math.Sin(float64(m.step)*stepS/140))
	if level := m.tank.kg / m.tank.fullKg; level > 0.8 {
		flow *= 1 - (1-l.TaperTo)*min((level-0.8)/0.2, 1)
	}
	return flow
}

// standStill: the loop's cells are relaxed once a minute while nothing flows.
func (m *sim) standStill() {
	relaxTo(&m.inletC, m.airC, 2400)
	m.standS += stepS
	if m.standS >= 60 {
		m.relaxStanding()
	}
	m.restS += stepS
	apart := m.s.StillLoopK + m.s.StillBedShare*(m.bedC-m.airC)
	m.loopOutC = m.chain.outC(m.chain.phi) + apart*(1-math.Exp(-m.restS/2400))
}

func (m *sim) relaxStanding() {
	if m.standS > 0 {
		m.chain.still(m.standS, m.bedC, m.airC)
		m.standS = 0
	}
}

// plant takes the milk's heat up, runs the compressor and the plate.
func (m *sim) plant() {
	f, p := m.f, &m.s.Plant
	gain := f.gainKW * stepS
	milk := m.milkKJ()
	m.coolingKJ += gain + milk
	f.closure.milkKJ += milk
	f.closure.gainKJ += gain
	f.gainKWh[m.month()] += gain / 3600
	m.thermostat()
	if !m.compressor {
		m.plateStill()
		return
	}
	// Bypassed, the condenser is cooled by air, as if by water of 25 °C.
	waterC := m.tank.lowC
	if m.bypassed() {
		waterC = 25
	}
	cop := p.COP * (1 - 0.006*(m.outdoorC-10) - 0.004*(waterC-25))
	power := p.EvaporatorKW / cop
	m.coolingKJ -= p.EvaporatorKW * stepS
	kWh := power * stepS / 3600
	m.totals[CompressorKWh] += kWh
	f.compressorKWh[m.month()] += kWh
	f.closure.compressorKJ += power * stepS
	f.closure.rejectedKJ += (power + p.EvaporatorKW) * stepS
	m.plateFlow((power + p.EvaporatorKW) * stepS)
}

// milkKJ is the heat that this step's milk brings into refrigerated cooling.
func (m *sim) milkKJ() float64 {
	if m.cycle < 0 {
		return 0
	}
	k := &m.f.milkings[m.cycle]
	if m.now >= k.end {
		return 0
	}
	share := stepS / float64(k.end-k.start)
	share = min(share, float64(k.end-m.now)/float64(k.end-k.start))
	return k.litres * share * m.f.milkKJPerLK * (k.inC - k.outC)
}

func (m *sim) thermostat() {
	p := &m.s.Plant
	allowed := !p.NightOnly || m.minute >= 20*60 || m.minute < 6*60
	if m.compressor {
		m.compressor = m.coolingKJ > 0 && allowed
	} else {
		m.compressor = m.coolingKJ > p.StartKWh*3600 && allowed
	}
}

func (m *sim) plateStill() {
	m.pumping = false
	relaxTo(&m.plateInC, m.airC, 1800)
	relaxTo(&m.plateOutC, m.airC+m.s.StillPlateK, 1800)
	relaxTo(&m.gasC, m.airC, 1800)
}

// plateFlow circulates tank water through the plate:
//
//	Q = eps m c (T_gas - T_in),  at most 0.92 of the heat rejected.
func (m *sim) plateFlow(rejectedKJ float64) {
	f, p := m.f, &m.s.Plant
	inC := m.tank.lowC
	gasC := p.GasC + 0.25*(m.outdoorC-10) + 0.1*(inC-25)
	if m.tank.kg < 0.3*m.tank.fullKg || inC > p.StopC || m.bypassed() {
		m.plateStill()
		m.gasC = gasC
		return
	}
	m.pumping = true
	m.gasC = gasC
	day := float64(m.now-f.start) / 86400
	eps := p.PlateEffectiveness * m.plateFactor * (1 - p.FoulPerDay*day)
	litres := p.PlateFlowLMin * stepS / 60
	kg := litres * rhoAt(inC) / 1000
	heat := min(eps*kg*cpKJPerKgK*(gasC-inC), 0.92*rejectedKJ)
	outH := hAt(inC) + heat/kg
	m.plateInC, m.plateOutC = inC, tempAt(outH)
	m.tank.circulate(kg, outH)
	f.closure.plateKJ += heat
	m.totals[PlateL] += litres
	m.totals[PumpS] += stepS
	f.pumpH[m.month()] += stepS / 3600.0
	f.pumpHMoney[m.month()] += stepS / 3600.0 * m.price
	f.plate.add(m.step, m.cycle, litres, m.plateInC, m.plateOutC)
}

// element heats to the set temperature within its hours before the wash.
func (m *sim) element() {
	f, t := m.f, &m.s.Tank
	on := m.allowed() && m.tank.kg > 0.5*m.tank.fullKg
	limit := m.s.Wash.HeatToC
	if !m.heating {
		limit -= 1.5
	}
	m.heating = on && m.tank.topC < limit
	if !m.heating {
		return
	}
	heat := t.ElementKW * stepS
	m.tank.heatLow(heat)
	f.closure.elementKJ += heat
	kWh := heat / 3600
	m.totals[ElementKWh] += kWh
	f.elementKWh[m.month()] += kWh
	f.elementMoney[m.month()] += kWh * m.price
}

// allowed: the next wash is near enough, and not yet begun.
func (m *sim) allowed() bool {
	f := m.f
	i := m.next
	for i < len(f.uses) && !f.uses[i].refill {
		i++
	}
	if i >= len(f.uses) || m.refilling {
		return false
	}
	k := &f.milkings[f.uses[i].of]
	return m.now >= k.heatFrom && m.now < k.at
}

// tank is two nodes of equal mass that hold enthalpy.
type tank struct {
	kg, fullKg float64
	low, top   float64 // kJ/kg
	lowC, topC float64
}

func newTank(volumeL, tempC float64) tank {
	kg := volumeL * rhoAt(40) / 1000
	return tank{kg: kg, fullKg: kg, low: hAt(tempC), top: hAt(tempC), lowC: tempC, topC: tempC}
}

func (t *tank) storedKJ() float64 { return t.kg / 2 * (t.low + t.top) }

// settle mixes a tank that is warmer below, and finds the temperatures.
func (t *tank) settle() {
	if t.low > t.top {
		mean := (t.low + t.top) / 2
		t.low, t.top = mean, mean
	}
	t.lowC, t.topC = tempAt(t.low), tempAt(t.top)
}

// fillLow lets water in at the bottom; half of it moves the boundary up.
func (t *tank) fillLow(kg, h float64) {
	half := t.kg / 2
	low := (t.low*half + h*kg) / (half + kg)
	t.top = (t.top*half + low*kg/2) / (half + kg/2)
	t.low = low
	t.kg += kg
	t.settle()
}

// draw takes water from the top; half of it follows from below.
func (t *tank) draw(kg float64) {
	half := t.kg / 2
	t.top = (t.top*(half-kg) + t.low*kg/2) / (half - kg/2)
	t.kg -= kg
	t.settle()
}

// circulate takes water from the bottom and returns it on top with enthalpy h.
func (t *tank) circulate(kg, h float64) {
	half := t.kg / 2
	old := t.top
	t.top = (t.top*(half-kg) + h*kg) / half
	t.low = (t.low*(half-kg) + old*kg) / half
	t.settle()
}

func (t *tank) heatLow(kJ float64) {
	t.low += kJ / (t.kg / 2)
	t.settle()
}

// lose gives heat to the air, kJ/K for the step; half from each node.
func (t *tank) lose(kJPerK, airC float64) (lostKJ float64) {
	a, b := kJPerK/2*(t.lowC-airC), kJPerK/2*(t.topC-airC)
	t.low -= a / (t.kg / 2)
	t.top -= b / (t.kg / 2)
	t.settle()
	return a + b
}
