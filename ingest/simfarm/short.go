package simfarm

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Short is a random short farm, 28 to 35 days, for seeds from 1: its loop,
// plant, tank, schedule and errors drawn by the seed. Logs are at a minute and
// mostly clean; the few gaps lie where no water moves, so that sums as seen
// are sums over the whole.
func Short(seed uint64) Scenario {
	r := rand.New(rand.NewPCG(seed, 0x5407))
	s := Scenario{
		Name: fmt.Sprintf("Simulated farm %d", seed), Zone: pick(r, "Europe/Dublin", "America/New_York", "Pacific/Auckland", "UTC"),
		Start: pick(r, "2025-02-03", "2025-10-13", "2025-11-17", "2026-01-05"), Days: 28 + r.IntN(8), Seed: seed,
	}
	drawL := between(r, 260, 620)
	s.Loop = shortLoop(r, drawL)
	s.Bed = Bed{
		MeanC: between(r, 40, 50), DriftKPerDay: between(r, -0.06, 0.06), DailyK: between(r, 0.1, 0.8),
		CapacityKWhPerK: between(r, 15, 60), RecoverH: between(r, 5, 14), ProbeOffsetK: between(r, -2.5, 2.5), ProbeShare: between(r, 0.4, 0.9),
	}
	s.Climate = Climate{MainsC: between(r, 7, 13), MainsDipK: between(r, -1, 2), OutdoorC: between(r, 2, 12), OutdoorDipK: between(r, -3, 3), OutdoorDailyK: between(r, 2, 5)}
	s.Wash = Wash{TargetC: 70, HeatToC: between(r, 74, 82), FlowLMin: between(r, 15, 28), AfterMin: between(r, 45, 90)}
	s.Wash.HeatToC = math.Round(s.Wash.HeatToC)
	if r.IntN(2) == 0 {
		s.Wash.RinseL, s.Wash.RinseFlowLMin = math.Round(between(r, 40, 90)), 8
	}
	shortPlant(r, &s, drawL)
	s.Money = Money{
		Carrier: pick(r, "heating oil", "LPG", "natural gas"), Currency: pick(r, "EUR", "USD", "NZD"), Source: inventedPrices,
		Efficiency: round2(between(r, 0.8, 0.93)), PricePerKWh: round2(between(r, 0.07, 0.14)), CO2KgPerKWh: round2(between(r, 0.2, 0.28)),
		PowerPricePerKWh: round2(between(r, 0.18, 0.34)), PowerCO2KgKWh: round2(between(r, 0.1, 0.4)),
	}
	shortLogs(r, &s)
	return s
}

func pick(r *rand.Rand, of ...string) string { return of[r.IntN(len(of))] }

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

func round2(x float64) float64 { return math.Round(x*100) / 100 }

// shortLoop draws the pipe: volume by a draw of drawL litres, UA from 300 to
// 4000 W/K where standing water keeps at least 0.65 of the coefficient.
func shortLoop(r *rand.Rand, drawL float64) Loop {
	low := between(r, 0.7, 1.7)
	l := Loop{
		BoreMM:  []float64{20.4, 26, 26.2, 32.6}[r.IntN(4)],
		DrawLow: low, DrawHigh: min(2, low+between(r, 0.1, 0.5)),
		FlowLMin: between(r, 6, 16), StillFilmWPerM2K: between(r, 200, 320),
		LeadL: between(r, 2, 12), InletL: between(r, 1, 5), FrontShare: between(r, 0.008, 0.025), Cells: 100,
		TaperTo: pickF(r, 1, 0.6, 0.45), BedAreaM2: math.Round(between(r, 150, 500)),
	}
	l.LengthM = math.Round(2 * drawL / (l.DrawLow + l.DrawHigh) * 4000 / (math.Pi * l.BoreMM * l.BoreMM))
	if r.IntN(3) > 0 {
		l.WallMM, l.WallMJPerM3K = pickF(r, 2.3, 2.9, 3), 2.1
	}
	wetted := math.Pi * l.BoreMM / 1000 * l.LengthM
	still := l.StillFilmWPerM2K * wetted
	flowing := filmWPerM2K(l.FlowLMin, l.BoreMM) * wetted
	most := min(4000, 0.54/(1/still-1/flowing))
	l.UAWPerK = 300 * math.Pow(most/300, r.Float64())
	return l
}

func pickF(r *rand.Rand, of ...float64) float64 { return of[r.IntN(len(of))] }

// shortPlant sizes milk, cooling, plate, tank and element to the draw.
func shortPlant(r *rand.Rand, s *Scenario, drawL float64) {
	m := Milk{Times: []string{"05:20", "16:05"}, DurationMin: between(r, 70, 130), Litres: math.Round(drawL * between(r, 0.7, 1.6)), SpecificHeatKJPerKgK: 3.93, DensityKgPerL: 1.03}
	m.InC, m.OutC = between(r, 32, 36), between(r, 3.5, 4.5)
	if r.IntN(3) == 0 {
		m.InC = between(r, 17, 22) // a water pre-cooler comes first; its water is not used here
	}
	milkKWh := m.Litres * 1.03 * 3.93 * (m.InC - m.OutC) / 3600
	p := Plant{
		COP: between(r, 2.4, 3.2), StartKWh: 0.05 * milkKWh, StandingGainKW: round2(between(r, 0.05, 0.25)), PlateFlowLMin: between(r, 7, 15),
		GasC: between(r, 64, 76), StopC: between(r, 54, 62), PumpKW: round2(between(r, 0.06, 0.18)), Refrigerant: "invented",
	}
	p.EvaporatorKW = milkKWh / (m.DurationMin/60 + between(r, 0.3, 0.9))
	if r.IntN(4) == 0 { // an ice bank
		p.NightOnly, p.EvaporatorKW = true, 2*milkKWh/between(r, 6, 8)
	}
	// The share caught of the heat rejected, with a tank at 35 degC.
	rejected := p.EvaporatorKW * (1 + 1/p.COP)
	p.PlateEffectiveness = min(0.85, between(r, 0.35, 0.8)*rejected/(p.PlateFlowLMin/60*4.15*(p.GasC-35)))
	s.Milk, s.Plant = m, p
	s.Tank = Tank{LossWPerK: between(r, 2, 4), LeadH: between(r, 1.1, 1.6)}
	s.Tank.ElementKW = math.Ceil(1.2 * drawL * 4.18 * 36 / 3600 / s.Tank.LeadH)
}

// shortLogs draws errors and loggers.
func shortLogs(r *rand.Rand, s *Scenario) {
	tempK := func() float64 { return round2(between(r, 0.1, 0.5)) }
	part := func(lo, hi float64) float64 { return math.Round(between(r, lo, hi)*1000) / 1000 }
	rect := func() bool { return r.IntN(3) == 0 }
	for _, k := range []string{"mains_temp", "loop_out_temp", "bed_temp", "plate_in_temp", "plate_out_temp", "wash_temp", "milk_in_temp", "milk_out_temp", "tank_temp"} {
		s.Errors = append(s.Errors, Stated{Key: k, Half: tempK(), Rectangular: rect()})
	}
	s.Errors = append(s.Errors,
		Stated{Key: "loop_flow", Half: part(0.015, 0.05), Relative: true, Rectangular: rect()},
		Stated{Key: "plate_flow", Half: part(0.015, 0.05), Relative: true},
		Stated{Key: "wash_volume", Half: part(0.01, 0.03), Relative: true},
		Stated{Key: "element_energy", Half: part(0.01, 0.02), Relative: true},
		Stated{Key: "compressor_energy", Half: part(0.01, 0.02), Relative: true},
		Stated{Key: "pumps.plate_kw", Half: 0.1, Relative: true},
		Stated{Key: "milk_volume", Half: part(0.01, 0.03), Relative: true},
		Stated{Key: "milk.specific_heat_kj_per_kg_k", Half: 0.015, Relative: true},
		Stated{Key: "milk.density_kg_per_l", Half: 0.003, Relative: true},
		Stated{Key: "plant.standing_gain_kw", Half: 0.2, Relative: true},
		Stated{Key: "loop.length_m", Half: part(0.005, 0.02), Relative: true},
		Stated{Key: "instead.efficiency", Half: 0.03},
	)
	water := Logger{Name: "yard", Format: "csv", Separator: ',', Stamp: "iso", IntervalS: 60, IdleGaps: 2 + r.IntN(4), Columns: shortWater(r)}
	plant := Logger{Name: "plant", Format: "csv", Separator: ',', Stamp: "iso", IntervalS: 60, IdleGaps: r.IntN(3), Columns: shortPlantColumns(r)}
	if r.IntN(2) == 0 {
		water.Columns = append(water.Columns, plant.Columns...)
		s.Loggers = []Logger{water}
		return
	}
	plant.Separator, plant.Comma = ';', true
	s.Loggers = []Logger{water, plant}
}

func shortWater(r *rand.Rand) []Column {
	step := pickF(r, 0.01, 0.1)
	temp := func(header, quantity string, at Signal) Column {
		return Column{Header: header, Unit: "°C", Quantity: quantity, Signal: at, Decimals: 2, Step: step, NoiseK: 0.02}
	}
	c := []Column{
		temp("Cold feed", "mains_temp", Mains),
		temp("Loop out", "loop_out_temp", LoopOut),
		temp("Bed", "bed_temp", BedProbe),
		{Header: "Loop flow", Unit: "L/min", Quantity: "loop_flow", Signal: LoopL, Mode: MeanPerMinute, Decimals: 2, Step: pickF(r, 0.05, 0.1, 0.25)},
	}
	c[2].Place = "a"
	if r.IntN(2) == 0 {
		c = append(c, temp("Bed 2", "bed_temp", BedProbe))
		c[4].Place = "b"
	}
	return c
}

func shortPlantColumns(r *rand.Rand) []Column {
	step := pickF(r, 0.01, 0.1)
	temp := func(header, quantity string, at Signal) Column {
		return Column{Header: header, Unit: "°C", Quantity: quantity, Signal: at, Decimals: 2, Step: step, NoiseK: 0.02}
	}
	return []Column{
		temp("Tank", "tank_temp", TankTop),
		temp("Plate in", "plate_in_temp", PlateIn),
		temp("Plate out", "plate_out_temp", PlateOut),
		{Header: "Plate flow", Unit: "L/min", Quantity: "plate_flow", Signal: PlateL, Mode: MeanPerMinute, Decimals: 2, Step: 0.1},
		{Header: "Plate pump", Quantity: "plate_pump", Signal: PumpOn},
		temp("Wash", "wash_temp", WashAt),
		{Header: "Wash water", Unit: "L", Quantity: "wash_volume", Signal: WashL, Mode: Counter, Decimals: 1, Step: 0.5, StartAt: 1000},
		{Header: "Element", Unit: "kWh", Quantity: "element_energy", Signal: ElementKWh, Mode: Counter, Decimals: 2, Step: 0.01, StartAt: 50},
		{Header: "Compressor", Unit: "kWh", Quantity: "compressor_energy", Signal: CompressorKWh, Mode: Counter, Decimals: 2, Step: 0.01, StartAt: 700},
	}
}
