// Package invented holds a made-up season of ninety days, long and full enough
// to look at: for the tests of the charts and the page. No number in it comes
// from a farm, and none is meant to agree with another.
package invented

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/series"
)

const (
	dayMS = int64(86400 * 1000)
	days  = 90
)

var first = time.Date(2026, 1, 11, 23, 0, 0, 0, time.UTC).UnixMilli()

func figure(v, half float64, unit string, basis doubt.Basis, n int) season.Figure {
	return doubt.Make(v, v-half, v+half, unit, basis, n, 0.94, "")
}

func named(key, label string, v, half float64, unit string, basis doubt.Basis, n int) season.Named {
	return season.Named{Key: key, Label: label, Figure: figure(v, half, unit, basis, n)}
}

func unknown(key, label, unit, why string) season.Named {
	nan := math.NaN()
	return season.Named{Key: key, Label: label, Figure: doubt.Make(nan, nan, nan, unit, doubt.Estimated, 0, 0, why)}
}

// Season is the season in full.
func Season() *season.Season {
	rng := rand.New(rand.NewPCG(1, 2))
	s := &season.Season{Farm: "Invented farm, north yard", ZoneName: "Europe/Rome", Seed: 7, Trials: 4000}
	s.Period = season.Period{Start: first, End: first + days*dayMS - 3600e3, // summer time takes an hour
		Milkings: 180, Washes: 178, Draws: 342}
	m, f, e := doubt.Metered, doubt.Fitted, doubt.Estimated
	s.Headline = []season.Named{
		named("loop_kwh", "Heat from the yard", 1412, 96, "kWh", m, 342),
		named("plant_kwh", "Heat from the milk", 2291, 140, "kWh", m, 178),
		named("element_kwh", "Heat from the socket (element)", 1630, 33, "kWh", m, 180),
		named("wash_kwh", "Heat in the wash water", 4480, 210, "kWh", m, 178),
		named("saved_kwh", "Final energy saved", 3620, 260, "kWh", e, 178),
		named("ua_w_per_k", "Loop: heat-transfer coefficient UA", 212, 19, "W/K", f, 318),
		named("recovery_fraction", "Plant: share of the rejected heat caught", 0.41, 0.03, "", m, 171),
	}
	heat := append([]season.Named{}, s.Headline[:4]...)
	heat = append(heat, unknown("other_use_kwh", "Heat in other hot water used", "kWh", "no meter on the other hot taps"),
		named("store_change_kwh", "Change of heat in the tanks", 3, 2, "kWh", m, 2),
		named("loss_kwh", "Heat lost from the tanks", 620, 140, "kWh", e, 180),
		named("unexplained_kwh", "Unexplained", 230, 290, "kWh", e, 170))
	s.Heat = season.Heat{Seen: heat, Whole: heat, LowFlowShare: 0.07}
	s.Electricity = []season.Named{
		named("element_kwh", "Heat from the socket (element)", 1630, 33, "kWh", m, 180),
		unknown("element_solar_kwh", "Element electricity from own solar", "kWh", "no solar meter in farm.toml"),
		unknown("element_movable_kwh", "Element electricity that own solar could have given", "kWh", "no solar meter in farm.toml"),
		named("pump_kwh", "Pump electricity", 41, 4, "kWh", e, 342),
		named("compressor_kwh", "Compressor electricity", 1980, 40, "kWh", m, 178)}
	s.Loop = season.Loop{Model: "store", ModelWhy: "bed with a store: draws left out in turn are foretold within 0.31 K, by a uniform bed within 0.55 K", Identified: true, RMSEK: 0.31, DrawsUsed: 318, LitresLeftOut: 812,
		Figures: []season.Named{s.Headline[5], named("time_constant_h", "Loop: time constant", 1.7, 0.4, "h", f, 318),
			named("approach_k", "Loop: approach, bed to soaked water", 4.1, 0.5, "K", m, 240),
			unknown("supply_w_per_k", "Loop: supply from bed to slab", "W/K", "no draw lasted long enough to empty the slab")}}
	s.Plant = season.Plant{CyclesUsed: 171, Slope: figure(0.44, 0.04, "", f, 171), InterceptKWh: figure(-0.9, 0.8, "kWh", f, 171),
		Figures: []season.Named{s.Headline[6], named("milk_heat_kwh", "Heat taken from the milk", 4100, 190, "kWh", m, 171),
			unknown("cop", "Plant: cooling per compressor kWh (COP)", "", "milk temperatures are missing after 3 March")},
		Changes: []season.Change{{At: first + 50*dayMS, Of: "recovery_fraction", Before: figure(0.45, 0.03, "", f, 80), After: figure(0.37, 0.03, "", f, 91)},
			{At: first + 61*dayMS, AtLow: first + 60*dayMS, AtHigh: first + 62*dayMS, Of: "plate_effectiveness", Label: "Plate: effectiveness", Before: figure(0.31, 0.02, "1", m, 100), After: figure(0.25, 0.02, "1", m, 71),
				Size: figure(-19, 4, "%", m, 171), Text: "Plate: effectiveness changed about 2026-01-31: from 0.31 ± 0.02 to 0.25 ± 0.02, a step of −19 ± 4 %. Have it looked at."}}}
	for i := range int64(12) {
		k := 1 - 0.02*float64(i)
		w := season.PlantWeek{From: first + i*7*dayMS, To: first + (i+1)*7*dayMS, Cycles: 14}
		for _, v := range []struct {
			key, unit  string
			value, own float64
		}{{"plate_effectiveness", "", 0.42 * k, 0.01}, {"caught_per_kwh", "", 1.5 * k, 0.08}, {"plate_flow_l_min", "L/min", 11, 0.1}, {"plate_in_c", "°C", 28, 2}, {"recovery_fraction", "", 0.44 * k, 0.03}} {
			w.Figures = append(w.Figures, named(v.key, v.key, v.value, 0.05*v.value, v.unit, m, 14))
			w.Own = append(w.Own, named(v.key, v.key, v.value, v.own, v.unit, f, 14))
		}
		s.Plant.Weeks = append(s.Plant.Weeks, w)
	}
	s.Plant.InletFromC, s.Plant.InletToC, s.Plant.LeftS = math.NaN(), math.NaN(), math.NaN()
	s.Plant.MilkCold.Why = "no temperature of the milk after cooling is known"
	s.Saving = season.Saving{Carrier: "lpg", Currency: "EUR", Basis: "The wash water would have been heated from the cold feed to 75 °C by an LPG boiler of 0.88 efficiency (stated in farm.toml).",
		Figures: []season.Named{named("baseline_kwh", "Energy the alternative would have used", 5290, 250, "kWh", e, 178),
			named("used_kwh", "Electricity used by element and pumps", 1671, 33, "kWh", m, 180), s.Headline[4],
			named("money", "Money saved", 118, 41, "EUR", e, 178), named("co2_kg", "CO2 saved", 690, 80, "kg", e, 178),
			named("heat_per_kwh", "Wash heat per kWh of electricity used", 2.68, 0.14, "", m, 178)},
		FuelMoney: figure(529, 25, "EUR", e, 178), PowerMoney: figure(411, 9, "EUR", m, 180)}
	s.Saving.Whole = []season.Named{named("saved_kwh", "Final energy saved", 3850, 300, "kWh", e, 178)}
	s.Bed = []season.Named{named("mean_c", "Bed temperature, mean", 41.3, 0.8, "°C", m, 90),
		named("heat_w_per_m2", "Heat extracted per square metre, while covered", 5.4, 0.4, "W/m2", m, 342)}
	s.Ladder = ladder()
	findings(s)
	rows(s, rng)
	return s
}

func ladder() []season.Step {
	m := doubt.Metered
	step := func(name string, c, kwh float64) season.Step {
		return season.Step{Step: name, TempC: figure(c, 0.5, "°C", m, 178), GainedKWh: figure(kwh, kwh*0.06, "kWh", m, 178)}
	}
	return []season.Step{step("feed", 9.8, 0), step("loop", 26.4, 1412), step("plate", 48.9, 2291), step("element", 74.8, 1630), step("wash", 73.1, 4480)}
}

func findings(s *season.Season) {
	s.Budget = []season.BudgetRow{
		{Figure: "loop_kwh", Source: "loop_out probe", Kind: "shared", Share: 0.52, Error: "± 0.5 K", Assumed: true},
		{Figure: "loop_kwh", Source: "loop flow meter", Kind: "shared", Share: 0.31, Error: "± 3 %", Assumed: true},
		{Figure: "loop_kwh", Source: "probe lag", Kind: "shared", Share: 0.12, Error: "± 20 s"},
		{Figure: "plant_kwh", Source: "plate flow meter", Kind: "shared", Share: 0.8, Error: "± 5 %", Assumed: true},
		{Figure: "wash_kwh", Source: "wash_temp probe", Kind: "shared", Share: 0.61, Error: "± 0.5 K"},
		{Figure: "wash_kwh", Source: "days not seen", Kind: "random", Share: 0.22, Error: "± 40 kWh"},
		{Figure: "saved_kwh", Source: "instead.efficiency", Kind: "shared", Share: 0.66, Error: "± 0.03", Assumed: true},
		{Figure: "saved_kwh", Source: "wash_temp probe", Kind: "shared", Share: 0.24, Error: "± 0.5 K"},
		{Figure: "ua_w_per_k", Source: "bed_temp probe", Kind: "shared", Share: 0.58, Error: "± 1 K"},
		{Figure: "ua_w_per_k", Source: "draw to draw", Kind: "random", Share: 0.27, Error: "± 9 W/K"},
		{Figure: "recovery_fraction", Source: "milk volume", Kind: "shared", Share: 0.49, Error: "± 5 %"},
	}
	m := doubt.Metered
	s.Sensors = []season.SensorRow{
		{Sensor: "loop_out probe", Kind: "shared", Error: "± 0.5 K", Assumed: true, Shares: []season.Share{{Figure: "loop_kwh", Share: 0.52}}},
		{Sensor: "wash_temp probe", Kind: "shared", Error: "± 0.5 K", Shares: []season.Share{{Figure: "wash_kwh", Share: 0.61}, {Figure: "saved_kwh", Share: 0.24}}},
		{Sensor: "days not seen", Kind: "random", Error: "± 40 kWh", Shares: []season.Share{{Figure: "wash_kwh", Share: 0.22}}},
	}
	s.Improve = []season.Improve{
		{Figure: "saved_kwh", Then: figure(3000, 150, "kWh", m, 178), Text: "Final energy saved: nothing that can be done to one instrument at the farm would narrow 3000 ± 150 kWh by more than 5 %."},
		{Figure: "loop_kwh", Sensors: []string{"loop_in probe", "loop_out probe"}, Measure: "hold both in one bucket", Then: figure(1412, 50, "kWh", m, 178), Narrower: 0.4,
			Text: "Heat from the yard: hold both in one bucket. 1412 ± 85 kWh would become 1412 ± 50 kWh."},
	}
	s.Matched = season.Matched{
		Pairs: []season.Pair{{Probes: [2]string{"loop_in probe", "loop_out probe"}, From: "stated", Applied: true, Offset: figure(0.12, 0.05, "K", m, 0)},
			{Probes: [2]string{"plate_in probe", "plate_out probe"}, From: "still", Offset: figure(0.3, 0.1, "K", doubt.Estimated, 31), Stretches: 31, Why: "shown only"}},
		Taken:  []season.Taken{{Probe: "loop_in probe", K: 0.06}, {Probe: "loop_out probe", K: -0.06}},
		Before: []season.Named{{Key: "loop_kwh", Label: "Heat from the yard", Figure: figure(1380, 95, "kWh", m, 178)}},
	}
	s.Cautions = []season.Caution{{ID: "C07", Text: "A wash began below the range used in advice for hot circulation cleaning. Follow the detergent's label.",
		Because: "5 of 178 washes read below 70 °C at the start; coolest 58.2 °C", First: first + 12*dayMS, Last: first + 71*dayMS}}
	s.Standing = []string{"Never enter a pit or dig in a hot bed alone. Local codes and licensed people decide, not this report."}
	s.Problems = []series.Problem{{Code: "probes-look-swapped", Severity: "doubt", File: "yard.csv", Where: "column D", Text: "Loop out reads colder than Loop in during 61 of 342 draws"},
		{Code: "bad-cell", Severity: "left out", File: "yard.csv", Where: "1482:31", Text: `got "8,5x"; want a number in °C, -5 to 100`}}
	s.Settings = []season.Setting{{Key: "washes.target_c", Value: "70", Source: "farm.toml"}, {Key: "loop.threshold_l_min", Value: "0.6", Source: "default"}}
	s.Events = []season.Event{{At: first + 30*dayMS, What: "bed topped up with straw"}, {At: first + 62*dayMS, What: "yard cleaned out, bed renewed"}}
	s.Files = []ingest.File{{Name: "logs/yard.csv", SizeB: 18203311, SHA256: "b1946ac92492d2347c6235b4d2611184b1946ac92492d2347c6235b4d2611184", Rows: 259200, Kept: 258817,
		First: first, Last: first + days*dayMS, Zone: "Europe/Rome", Encoding: "utf-8", Separator: ";", Decimal: ",", HeaderLine: 3,
		Clock: ingest.Clock{AheadS: 94, DriftSPerDay: 1.1, Low: 60, High: 130, From: "given"}, Corrections: []string{"stamps moved back by 94 s", "counter reset on 3 March bridged"}},
		{Name: "logs/dairy.xlsx", Sheet: "Export", SizeB: 802331, SHA256: "591785b794601e212b260e25925636fd591785b794601e212b260e25925636fd", Rows: 25920, Kept: 25920,
			First: first, Last: first + days*dayMS, Zone: "UTC", Clock: ingest.Clock{AheadS: 0, Low: math.NaN(), High: math.NaN(), From: "keep"}}}
}

func rows(s *season.Season, rng *rand.Rand) {
	for i, name := range []string{"2026-01", "2026-02", "2026-03", "2026-04"} {
		k := float64(i + 2)
		mo := season.Month{Month: name, Figures: []season.Named{named("loop_kwh", "Heat from the yard", 150*k, 30, "kWh", doubt.Metered, 80),
			named("plant_kwh", "Heat from the milk", 190*k, 30, "kWh", doubt.Metered, 80), named("element_kwh", "Heat from the socket (element)", 600-60*k, 20, "kWh", doubt.Metered, 80),
			named("wash_kwh", "Heat in the wash water", 390*k, 60, "kWh", doubt.Metered, 80), named("saved_kwh", "Final energy saved", 250*k, 60, "kWh", doubt.Estimated, 80)}}
		if i == 3 {
			mo.Figures[0] = unknown("loop_kwh", "Heat from the yard", "kWh", "the loop's flow meter was silent")
		}
		s.Months = append(s.Months, mo)
	}
	for i := range int64(180) {
		w := season.Wash{At: first + i*dayMS/2 + 6*3600e3, TempC: 74 + 2*rng.NormFloat64(), EndC: 61, Litres: 88, HeatKWh: 6.4, Cycle: int(i + 1)}
		w.End = w.At + 12*60e3
		if i%36 == 20 {
			w.TempC, w.TooCool, w.Reason = 61+rng.Float64(), true, "short heat"
		}
		if i == 40 {
			w.TempC = math.NaN()
		}
		s.Washes.List = append(s.Washes.List, w)
		r := 20 + 10*rng.Float64()
		s.Pictures.Rejected, s.Pictures.Caught = append(s.Pictures.Rejected, r), append(s.Pictures.Caught, 0.44*r-0.9+0.5*rng.NormFloat64())
	}
	s.Washes.Count, s.Washes.TooCool, s.Washes.Unknown, s.Washes.Rinses = 178, 5, 1, 170
	s.Washes.CoolestC, s.Washes.TargetC = 61.2, 70
	for i := range int64(9) {
		s.Pictures.UA = append(s.Pictures.UA, season.UAPoint{From: first + i*10*dayMS, To: first + (i+1)*10*dayMS, UA: figure(230-5*float64(i)+4*rng.NormFloat64(), 25, "W/K", doubt.Fitted, 38)})
	}
	for i, title := range []string{"A short refill, under one loop volume", "A long refill, three loop volumes"} {
		s.Pictures.TypicalDraws = append(s.Pictures.TypicalDraws, trace(title, 60*(i+1)+30, rng))
	}
	for i, q := range []string{"loop_in", "loop_out", "bed_temp", "loop_volume", "plate_in", "plate_out", "wash_temp", "element_energy"} {
		c := season.Channel{Quantity: q, Column: fmt.Sprintf("Column %c", 'C'+i), File: "logs/yard.csv", Unit: "°C", Samples: 259200, Kept: 258817, Flags: [7]int{0, 12, 371}, GapS: 7200}
		for d := range days {
			c.ByDay = append(c.ByDay, 1)
			if d == 17+3*i {
				c.ByDay[d] = 0.4
			}
			if i == 2 && d > 60 && d < 70 {
				c.ByDay[d] = 0
			}
		}
		s.Channels = append(s.Channels, c)
	}
}

func trace(title string, cells int, rng *rand.Rand) season.DrawTrace {
	d := season.DrawTrace{Title: title, At: first + 20*dayMS + 7*3600e3, StepS: 10}
	for i := range cells {
		model := 40 - 18*(1-math.Exp(-float64(i)/40))
		d.InC, d.BedC = append(d.InC, 9.5+0.1*rng.NormFloat64()), append(d.BedC, 43+0.05*rng.NormFloat64())
		d.ModelC, d.OutC, d.LMin = append(d.ModelC, model), append(d.OutC, model+0.3*rng.NormFloat64()), append(d.LMin, 6)
		if i < 4 {
			d.OutC[i] = math.NaN()
		}
	}
	return d
}
