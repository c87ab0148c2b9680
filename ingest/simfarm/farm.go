package simfarm

import (
	"math"
	"math/rand/v2"
	"time"
)

// stepS is the time step.
const stepS = 10

// sampleEvery is how many steps lie between two samples of the signals.
const sampleEvery = 6

// Farm is a simulated farm.
type Farm struct {
	s          Scenario
	zone       *time.Location
	start, end int64
	months     []string
	milkings   []milking
	uses       []use

	// builtL is the loop's volume as stated; the true water and wall differ.
	builtL, betaStated float64
	waterL, beta       float64
	errs               errorsOf
	sd                 errorsOf
	columnErrs         [][]float64
	drawn              []Drawn
	offsetsK           []float64 // of Scenario.Matched, as stated
	bedG, tankVolumeL  float64   // bedG for the whole loop, kW/K
	leadL              float64   // as built of whole cells
	efficiency         float64   // true
	milkKJPerLK        float64   // true
	gainKW, pumpKW     float64   // true

	// signal[s][i] is signal s at start + 60 i seconds.
	signal [signals][]float64
	// quick[s][i] is signal s at start + stepS i seconds; nil where no logger is
	// quicker than a minute.
	quick [signals][]float64
	loop  trace
	plate trace
	wash  trace
	// by month of the cycle: electricity and its price.
	elementKWh, compressorKWh, pumpH  []float64
	elementMoney, pumpHMoney, gainKWh []float64
	closure                           closure
	uaMean                            float64
}

// trace is one row for each step with flow: litres at the meter and true
// temperatures at the two probes.
type trace struct {
	step        []int32 // 10 s steps from the start
	cycle       []int16 // index of the milking, -1 before the first
	litres      []float64
	coldC, hotC []float64
}

func (t *trace) add(step, cycle int, litres, coldC, hotC float64) {
	t.step = append(t.step, int32(step))
	t.cycle = append(t.cycle, int16(cycle))
	t.litres = append(t.litres, litres)
	t.coldC = append(t.coldC, coldC)
	t.hotC = append(t.hotC, hotC)
}

// closure adds up the simulator's own heat, to be balanced in tests, kJ.
type closure struct {
	loopBookedKJ, bedKJ, airKJ, loopStoredKJ            float64
	tankInKJ, plateKJ, elementKJ, tankOutKJ, tankLossKJ float64
	tankStoredKJ                                        float64
	milkKJ, compressorKJ, gainKJ, rejectedKJ            float64
	coolingStoreKJ                                      float64
}

// Run simulates a scenario.
func Run(s Scenario) (*Farm, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	f := &Farm{s: s}
	f.builtL = math.Pi / 4 * s.Loop.BoreMM * s.Loop.BoreMM * s.Loop.LengthM / 1000
	f.drawErrors()
	f.trueFigures()
	if err := f.validateChanges(); err != nil {
		return nil, err
	}
	if err := f.plan(); err != nil {
		return nil, err
	}
	newSim(f).run()
	return f, nil
}

// trueFigures turns stated figures and drawn errors into what is really there.
func (f *Farm) trueFigures() {
	s := &f.s
	beta, _ := s.Loop.pipeWall()
	f.betaStated = beta
	f.waterL = f.builtL / (1 + f.errs[xLength])
	f.beta = max((1+beta)/(1+f.errs[xWall])-1, 0.02)
	f.errs[xWall] = (1+beta)/(1+f.beta) - 1
	f.efficiency = s.Money.Efficiency - f.errs[xEfficiency]
	f.milkKJPerLK = s.Milk.SpecificHeatKJPerKgK / (1 + f.errs[xHeatC]) * s.Milk.DensityKgPerL / (1 + f.errs[xDensity])
	f.gainKW = s.Plant.StandingGainKW / (1 + f.errs[xGain])
	f.pumpKW = s.Plant.PumpKW / (1 + f.errs[gPump])
	f.bedG = f.bedGOf(1)
	f.tankVolumeL = s.Tank.VolumeL
	if f.tankVolumeL == 0 {
		f.tankVolumeL = math.Ceil(f.builtL*s.Loop.DrawHigh/0.88/10) * 10
	}
}

// filmKW is the film conductance of the buried length, kW/K.
func (f *Farm) filmKW(flowLMin float64) float64 {
	return filmWPerM2K(flowLMin, f.s.Loop.BoreMM) * f.wettedM2() / 1000
}

func (f *Farm) wettedM2() float64 {
	return math.Pi * f.s.Loop.BoreMM / 1000 * f.s.Loop.LengthM / (1 + f.errs[xLength])
}

// newChain builds the pipe; thermal scales water, wall and all conductances
// alike (1 = as it is), mixShare is the front's width over the volume.
func (f *Farm) newChain(thermal, bedG, mixShare float64) *chain {
	n := f.s.Loop.Cells
	cellL := f.waterL / float64(n)
	leadIn := int(math.Round(f.s.Loop.InletL / cellL))
	leadOut := int(math.Round(f.s.Loop.LeadL / cellL))
	share := thermal / float64(n)
	c := &chain{n: leadIn + n + leadOut, first: leadIn, last: leadIn + n}
	c.cellKg = f.waterL * rhoAt(loopMeanC) / 1000 * share
	c.cpKJ = f.s.cellsCp()
	c.waterKJ = c.cellKg * c.cpKJ
	c.wallKJ = c.waterKJ * f.beta
	c.bedG = bedG * share
	c.airG = leadWPerLK / 1000 * f.waterL * share
	c.stillFilm = f.s.Loop.StillFilmWPerM2K * f.wettedM2() / 1000 * share
	c.mix = mixShare * mixShare * float64(n) / 2
	c.water, c.wall = make([]float64, c.n+1), make([]float64, c.n)
	c.setSlab(f.s.Slab)
	return c
}

// cellsCp is the specific heat with which the loop's cells reckon: the mean
// over the rise that this farm's water usually has, by enthalpy. It differs by
// 0.1 % between farms; within one the rest is about 0.03 %.
func (s *Scenario) cellsCp() float64 {
	cold := s.Climate.MainsC - s.Climate.MainsDipK/2
	hot := cold + 0.75*(s.Bed.MeanC-cold)
	return (hAt(hot) - hAt(cold)) / (hot - cold)
}

// leadWPerLK is what an unburied plastic pipe loses to the air for each litre
// it holds: 25 mm bore, 32 mm outside, about 10 W/(m2 K) outside: 1.0 W/(m K)
// on 0.49 L/m (invented, of that order).
const leadWPerLK = 2.0

// setFilm sets the film for a flow: through the scaled pipe.
func (f *Farm) setFilm(c *chain, flowLMin, thermal float64) {
	c.film = f.filmKW(flowLMin) * thermal / float64(f.s.Loop.Cells)
}

// noise is the process noise's own stream.
func (f *Farm) noise(stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(f.s.Seed, stream))
}
