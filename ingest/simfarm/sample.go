package simfarm

// sampleSeed was fixed before the first run and is not tuned.
const sampleSeed = 20260301

// inventedPrices is the source that an invented farm can give.
const inventedPrices = "invented for this sample farm; put your own bills here"

// Sample is the farm of `yardheat demo`: an invented buffalo dairy in a winter
// house, 121 days across the change to summer time, three loggers and a plant
// controller that agree on nothing but the weather.
func Sample() Scenario {
	return Scenario{
		Name: "Sedge Hollow buffalo dairy (invented)", Zone: "Europe/Bucharest",
		Start: "2025-12-01", Days: 121, Seed: sampleSeed, Comments: true,
		Loop: Loop{
			LengthM: 460, BoreMM: 26, WallMM: 3, WallMJPerM3K: 2.1, BedAreaM2: 340,
			UAWPerK: 640, FlowLMin: 9, StillFilmWPerM2K: 220, LeadL: 6, InletL: 3,
			FrontShare: 0.015, Cells: 120, DrawLow: 1.46, DrawHigh: 1.66, TaperTo: 0.55,
		},
		Bed: Bed{MeanC: 44.5, DriftKPerDay: 0.015, DailyK: 0.4, CapacityKWhPerK: 26, RecoverH: 9, ProbeOffsetK: 1.4, ProbeShare: 0.6},
		Events: []Event{
			{Day: 17, Hour: 10, What: "bedded", Tonnes: 11, StepK: -1.8, ReturnDays: 5},
			{Day: 45, Hour: 10.5, What: "turned", StepK: 1.5, ReturnDays: 9},
			{Day: 74, Hour: 10, What: "bedded", Tonnes: 12.5, StepK: -2, ReturnDays: 5},
			{Day: 103, Hour: 11, What: "turned", StepK: 1.2, ReturnDays: 8},
		},
		Climate: Climate{MainsC: 9.5, MainsDipK: 3, OutdoorC: 5, OutdoorDipK: 6, OutdoorDailyK: 3.5},
		Milk:    Milk{Times: []string{"05:10", "16:20"}, DurationMin: 105, Litres: 455, InC: 34.2, OutC: 4.1, SpecificHeatKJPerKgK: 3.82, DensityKgPerL: 1.031},
		Plant: Plant{
			EvaporatorKW: 6.8, COP: 2.9, StartKWh: 1.2, StandingGainKW: 0.16, PlateFlowLMin: 11,
			PlateEffectiveness: 0.3, FoulPerDay: 0.0006, GasC: 71, StopC: 60, PumpKW: 0.11, Refrigerant: "not stated by the maker's plate",
		},
		Tank:    Tank{VolumeL: 410, LossWPerK: 3.6, ElementKW: 12, LeadH: 1.25, ShortHeats: 9},
		Wash:    Wash{TargetC: 70, HeatToC: 74, FlowLMin: 19, RinseL: 45, RinseFlowLMin: 6, AfterMin: 70},
		Money:   sampleMoney(),
		Errors:  sampleErrors(),
		Loggers: sampleLoggers(),
	}
}

func sampleMoney() Money {
	return Money{
		Carrier: "LPG", Currency: "RON", Source: inventedPrices, Efficiency: 0.87,
		PricePerKWh: 0.56, CO2KgPerKWh: 0.23, PowerPricePerKWh: 1.24, PowerCO2KgKWh: 0.27,
		NightFrom: "22:00", NightTo: "06:00", NightPricePerKWh: 0.83,
		Capital: 61000, UpkeepPerYear: 900, Years: 15,
	}
}

func sampleErrors() []Stated {
	return []Stated{
		{Key: "mains_temp", Half: 0.25}, {Key: "loop_out_temp", Half: 0.25}, {Key: "bed_temp", Half: 0.5, Rectangular: true},
		{Key: "air_temp", Half: 0.5, Rectangular: true},
		{Key: "loop_flow", Half: 0.03, Relative: true}, {Key: "loop.length_m", Half: 0.02, Relative: true},
		{Key: "plate_in_temp", Half: 0.3}, {Key: "plate_out_temp", Half: 0.3}, {Key: "gas_in_temp", Half: 1}, {Key: "tank_temp", Half: 0.5},
		{Key: "plate_volume", Half: 0.03, Relative: true},
		{Key: "wash_temp", Half: 0.4}, {Key: "wash_volume", Half: 0.02, Relative: true},
		{Key: "element_energy", Half: 0.01, Relative: true}, {Key: "compressor_power", Half: 0.03, Relative: true},
		{Key: "pumps.plate_kw", Half: 0.1, Relative: true},
		{Key: "milk_volume", Half: 0.015, Relative: true}, {Key: "milk_in_temp", Half: 0.4}, {Key: "milk_out_temp", Half: 0.3},
		{Key: "milk.specific_heat_kj_per_kg_k", Half: 0.015, Relative: true}, {Key: "milk.density_kg_per_l", Half: 0.003, Relative: true},
		{Key: "plant.standing_gain_kw", Half: 0.2, Relative: true}, {Key: "instead.efficiency", Half: 0.03},
	}
}

func sampleLoggers() []Logger {
	return []Logger{
		{
			Name: "yard", Format: "csv", Separator: ';', Comma: true, Latin: true, Stamp: "dmy", IntervalS: 60,
			Preamble: []string{"Yard logger 2;serial 00417", "Export of all channels"}, UnitRow: true, Monthly: true, OverlapDays: 0.5,
			Gaps: [][2]float64{{33.41, 9.5}, {88.62, 2.2}, {111.2, 0.6}},
			Columns: []Column{
				{Header: "Cold feed", Unit: "°C", Quantity: "mains_temp", Signal: Mains, Decimals: 2, Step: 0.01, NoiseK: 0.015},
				{Header: "Loop out", Unit: "°C", Quantity: "loop_out_temp", Signal: LoopOut, Decimals: 2, Step: 0.01, NoiseK: 0.015, Sentinels: 14, Sentinel: "-127,00"},
				{Header: "Loop flow", Unit: "L/min", Quantity: "loop_flow", Signal: LoopL, Mode: MeanPerMinute, Decimals: 1, Step: 0.1},
			},
		},
		{
			Name: "bed", Format: "utf16", Separator: '\t', Stamp: "iso", Zone: "+02:00", IntervalS: 3600,
			Gaps: [][2]float64{{61.3, 14}},
			Columns: []Column{
				{Header: "Bed north", Unit: "°C", Quantity: "bed_temp", Place: "north", Signal: BedProbe, Decimals: 1, Step: 0.1, NoiseK: 0.05, Sentinels: 5, Sentinel: "85.0"},
				{Header: "Bed south", Unit: "°C", Quantity: "bed_temp", Place: "south", Signal: BedProbe, Decimals: 1, Step: 0.1, NoiseK: 0.05, Stuck: [2]float64{96.2, 80}},
				{Header: "House air", Unit: "°C", Quantity: "air_temp", Signal: Air, Decimals: 1, Step: 0.1, NoiseK: 0.1},
			},
		},
		{
			Name: "controller", Format: "xlsx", Stamp: "serial", IntervalS: 600,
			Gaps: [][2]float64{{20.5, 3}},
			Columns: []Column{
				{Header: "Tank|upper [°C]", Unit: "°C", Quantity: "tank_temp", Signal: TankTop, Decimals: 1, Step: 0.1, NoiseK: 0.03},
				{Header: "Plate|in [°C]", Unit: "°C", Quantity: "plate_in_temp", Signal: PlateIn, Decimals: 1, Step: 0.1, NoiseK: 0.03},
				{Header: "Plate|out [°C]", Unit: "°C", Quantity: "plate_out_temp", Signal: PlateOut, Decimals: 1, Step: 0.1, NoiseK: 0.03},
				{Header: "Plate|water [L]", Unit: "L", Quantity: "plate_volume", Signal: PlateL, Mode: Counter, Step: 1, StartAt: 18204},
				{Header: "Plate|pump", Quantity: "plate_pump", Signal: PumpOn},
				{Header: "Gas|hot [°C]", Unit: "°C", Quantity: "gas_in_temp", Signal: Gas, Decimals: 1, Step: 0.1, NoiseK: 0.1},
				{Header: "Compressor|mean [kW]", Unit: "kW", Quantity: "compressor_power", Signal: CompressorKWh, Mode: MeanKW, Decimals: 2},
			},
		},
		{
			Name: "meters", Format: "csv", Separator: ',', Stamp: "epoch", IntervalS: 240,
			AheadS: 37 * 60, DriftSPerDay: 1.7, ClockText: "37m",
			Gaps: [][2]float64{{52.7, 5}},
			Columns: []Column{
				{Header: "Element meter", Unit: "kWh", Quantity: "element_energy", Signal: ElementKWh, Mode: Counter, Decimals: 1, Step: 0.1, StartAt: 2310.4, ResetDay: 57.1},
				{Header: "Wash water", Unit: "L", Quantity: "wash_volume", Signal: WashL, Mode: Counter, Step: 1, StartAt: 40211},
				{Header: "Wash temp", Unit: "°C", Quantity: "wash_temp", Signal: WashAt, Decimals: 1, Step: 0.1, NoiseK: 0.05},
			},
		},
	}
}
