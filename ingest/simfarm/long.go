package simfarm

// Long is an invented farm with one logger of sixteen columns, for so many
// days at one row every intervalS seconds: what speed is measured on. Of a
// thousand cells of a column about one is empty, of a temperature one more a
// sentinel.
func Long(days, intervalS int, seed uint64) Scenario {
	s := Sample()
	s.Name, s.Zone, s.Start, s.Days, s.Seed, s.Comments = "Long record (invented)", "Europe/Dublin", "2025-07-01", days, seed, false
	s.Climate = Climate{MainsC: 13, MainsDipK: 7, OutdoorC: 16, OutdoorDipK: 13, OutdoorDailyK: 3.5}
	s.Bed.DriftKPerDay = 0.005
	s.Plant.FoulPerDay = 0.0002
	odd := days * 86400 / intervalS / 1000
	s.Loggers = []Logger{{
		Name: "yard", Format: "csv", Separator: ',', Stamp: "iso", IntervalS: intervalS, Columns: longColumns(odd),
	}}
	return s
}

// longColumns are the sixteen columns, two decimals each.
func longColumns(odd int) []Column {
	temp := func(header, quantity, place string, at Signal) Column {
		return Column{Header: header, Unit: "°C", Quantity: quantity, Place: place, Signal: at, Decimals: 2, Step: 0.01, NoiseK: 0.02,
			Sentinels: odd, Sentinel: "-127.00", Empty: odd}
	}
	total := func(header, unit, quantity string, of Signal, mode Mode, startAt float64) Column {
		return Column{Header: header, Unit: unit, Quantity: quantity, Signal: of, Mode: mode, Decimals: 2, Step: 0.01, StartAt: startAt, Empty: odd}
	}
	return []Column{
		temp("Cold feed", "mains_temp", "", Mains),
		temp("Loop out", "loop_out_temp", "", LoopOut),
		total("Loop flow", "L/min", "loop_flow", LoopL, MeanPerMinute, 0),
		temp("Bed north", "bed_temp", "north", BedProbe),
		temp("Bed south", "bed_temp", "south", BedProbe),
		temp("House air", "air_temp", "", Air),
		temp("Plate in", "plate_in_temp", "", PlateIn),
		temp("Plate out", "plate_out_temp", "", PlateOut),
		total("Plate flow", "L/min", "plate_flow", PlateL, MeanPerMinute, 0),
		{Header: "Plate pump", Quantity: "plate_pump", Signal: PumpOn, Decimals: 2},
		temp("Hot gas", "gas_in_temp", "", Gas),
		temp("Tank", "tank_temp", "", TankTop),
		temp("Wash", "wash_temp", "", WashAt),
		total("Wash water", "L", "wash_volume", WashL, Counter, 4021),
		total("Element", "kWh", "element_energy", ElementKWh, Counter, 231),
		total("Compressor", "kWh", "compressor_energy", CompressorKWh, Counter, 702),
	}
}
