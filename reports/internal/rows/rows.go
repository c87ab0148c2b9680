// Package rows names the columns of a season's tables once: milkings.csv and
// the workbook print the same columns, with the same names and units, from the
// same fields.
package rows

import (
	"math"

	"yardheat/analysis/season"
)

// Kind says what a column holds.
type Kind uint8

// The kinds of column.
const (
	Number Kind = iota
	Text
	Time
	YesNo
)

// Column is one column of a table of T. The function of its kind is set; a
// YesNo column's Number is 0 or 1.
type Column[T any] struct {
	Key  string // ASCII, with the unit as its tail: "loop_kwh"
	Head string // as a person reads it, without the unit
	Unit string // "kWh", "°C"; "" where there is none
	Kind Kind
	// Decimals a workbook displays; the value behind them is whole.
	Decimals int
	Number   func(*T) float64 // NaN = not known
	Text     func(*T) string
	At       func(*T) int64 // Unix ms UTC; 0 = none
	// Whole: a Number that counts or numbers something.
	Whole bool
}

func whole[T any](key, head string, f func(*T) float64) Column[T] {
	c := number(key, head, "", 0, f)
	c.Whole = true
	return c
}

func number[T any](key, head, unit string, decimals int, f func(*T) float64) Column[T] {
	return Column[T]{Key: key, Head: head, Unit: unit, Kind: Number, Decimals: decimals, Number: f}
}

func text[T any](key, head string, f func(*T) string) Column[T] {
	return Column[T]{Key: key, Head: head, Kind: Text, Text: f}
}

func at[T any](key, head string, f func(*T) int64) Column[T] {
	return Column[T]{Key: key, Head: head, Kind: Time, At: f}
}

func yesNo[T any](key, head string, f func(*T) bool) Column[T] {
	return Column[T]{Key: key, Head: head, Kind: YesNo, Number: func(r *T) float64 {
		if f(r) {
			return 1
		}
		return 0
	}}
}

// Cycles are the columns of a cycle.
func Cycles() []Column[season.CycleRow] {
	type r = season.CycleRow
	return []Column[r]{
		whole("cycle", "Cycle", func(c *r) float64 { return float64(c.N) }),
		at("start", "Start", func(c *r) int64 { return c.Start }),
		at("end", "End", func(c *r) int64 { return c.End }),
		text("month", "Month", func(c *r) string { return c.Month }),
		at("milking_end", "Milking ends", func(c *r) int64 { return c.MilkingEnd }),
		number("milk_l", "Milk", "L", 0, func(c *r) float64 { return c.MilkL }),
		number("milk_in_c", "Milk in", "°C", 1, func(c *r) float64 { return c.MilkInC }),
		number("milk_out_c", "Milk out", "°C", 1, func(c *r) float64 { return c.MilkOutC }),
		number("milk_kwh", "Heat from the milk taken", "kWh", 2, func(c *r) float64 { return c.MilkKWh }),
		number("loop_l", "Loop water", "L", 0, func(c *r) float64 { return c.LoopL }),
		number("loop_kwh", "Heat from the yard", "kWh", 2, func(c *r) float64 { return c.LoopKWh }),
		number("plate_l", "Plate water", "L", 0, func(c *r) float64 { return c.PlateL }),
		number("plant_kwh", "Heat caught at the plate", "kWh", 2, func(c *r) float64 { return c.PlantKWh }),
		number("element_kwh", "Element", "kWh", 2, func(c *r) float64 { return c.ElementKWh }),
		number("wash_l", "Wash water", "L", 0, func(c *r) float64 { return c.WashL }),
		number("wash_kwh", "Heat in the wash water", "kWh", 2, func(c *r) float64 { return c.WashKWh }),
		number("other_use_kwh", "Other use", "kWh", 2, func(c *r) float64 { return c.OtherUseKWh }),
		number("pump_kwh", "Pumps", "kWh", 2, func(c *r) float64 { return c.PumpKWh }),
		number("compressor_kwh", "Compressor", "kWh", 2, func(c *r) float64 { return c.CompressorKWh }),
		number("store_change_kwh", "Change in the tanks", "kWh", 2, func(c *r) float64 { return c.StoreChangeKWh }),
		number("loss_kwh", "Lost from the tanks", "kWh", 2, func(c *r) float64 { return c.LossKWh }),
		number("unexplained_kwh", "Unexplained", "kWh", 2, func(c *r) float64 { return c.UnexplainedKWh }),
		number("feed_c", "Cold feed", "°C", 1, func(c *r) float64 { return c.FeedC }),
		number("wash_c", "Wash", "°C", 1, func(c *r) float64 { return c.WashC }),
		number("baseline_kwh", "The alternative would have used", "kWh", 2, func(c *r) float64 { return c.BaselineKWh }),
		number("saved_kwh", "Saved", "kWh", 2, func(c *r) float64 { return c.SavedKWh }),
		number("milk_cold_after_2h_c", "Milk two hours after milking", "°C", 1, func(c *r) float64 { return c.MilkColdAfter2hC }),
		number("coverage", "Share of the cycle seen", "", 3, func(c *r) float64 { return c.Coverage }),
		text("not_covered", "Logged but not covered here, so blank", func(c *r) string { return c.NotCovered }),
		yesNo("whole", "Whole within the period", func(c *r) bool { return c.Whole }),
		yesNo("used_in_recovery", "Used for the recovery fraction", func(c *r) bool { return c.UsedInRecovery }),
	}
}

// Draws are the columns of a refill through the loop.
func Draws() []Column[season.DrawRow] {
	type r = season.DrawRow
	return []Column[r]{
		whole("draw", "Draw", func(d *r) float64 { return float64(d.N) }),
		at("start", "Start", func(d *r) int64 { return d.Start }),
		at("end", "End", func(d *r) int64 { return d.End }),
		number("litres", "Water", "L", 1, func(d *r) float64 { return d.Litres }),
		number("loop_volumes", "Loop volumes, wall counted", "", 2, func(d *r) float64 { return d.LoopVolumes }),
		number("in_c", "Into the loop", "°C", 1, func(d *r) float64 { return d.InC }),
		number("out_c", "Out of the loop", "°C", 1, func(d *r) float64 { return d.OutC }),
		number("bed_c", "Bed", "°C", 1, func(d *r) float64 { return d.BedC }),
		number("heat_kwh", "Heat", "kWh", 3, func(d *r) float64 { return d.HeatKWh }),
		number("effectiveness", "Effectiveness", "", 3, func(d *r) float64 { return d.Effectiveness }),
		number("approach_k", "Approach", "K", 2, func(d *r) float64 { return d.ApproachK }),
		number("rmse_k", "Misfit (RMS)", "K", 2, func(d *r) float64 { return d.RMSEK }),
		yesNo("used", "Used in the fit", func(d *r) bool { return d.Used }),
		text("why", "Why not used", func(d *r) string { return d.Why }),
	}
}

// Washes are the columns of a wash.
func Washes() []Column[season.Wash] {
	type r = season.Wash
	return []Column[r]{
		at("at", "Start", func(w *r) int64 { return w.At }),
		at("end", "End", func(w *r) int64 { return w.End }),
		whole("cycle", "Cycle", func(w *r) float64 {
			if w.Cycle == 0 {
				return math.NaN()
			}
			return float64(w.Cycle)
		}),
		number("temp_c", "Temperature", "°C", 1, func(w *r) float64 { return w.TempC }),
		number("end_c", "Temperature at the end", "°C", 1, func(w *r) float64 { return w.EndC }),
		number("litres", "Water", "L", 1, func(w *r) float64 { return w.Litres }),
		number("heat_kwh", "Heat", "kWh", 3, func(w *r) float64 { return w.HeatKWh }),
		yesNo("rinse", "Rinse", func(w *r) bool { return w.Rinse }),
		yesNo("too_cool", "Too cool", func(w *r) bool { return w.TooCool }),
		text("reason", "Reason", func(w *r) string { return w.Reason }),
	}
}
