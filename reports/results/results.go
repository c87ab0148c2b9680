// Package results writes a Season as results.json, the form that other
// programs read: schema "yardheat-results/1". Keys stand in a fixed order,
// numbers carry 12 significant digits, times are RFC 3339 UTC, what is not
// known is null and says why. The same season gives the same bytes.
//
// It computes nothing: every number stands in the Season.
package results

import (
	"fmt"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/series"
)

// Schema is the first thing in the file and tells one of ours.
const Schema = "yardheat-results/1"

// JSON is the season as results.json.
func JSON(s *season.Season) ([]byte, error) {
	if s == nil {
		return nil, fmt.Errorf("results: no season to write")
	}
	w := &writer{b: make([]byte, 0, 1<<16)}
	w.open('{')
	w.text("schema", Schema)
	w.head(s)
	w.data(s)
	w.loop(s.Loop, s.Pictures.UA, s.Draws)
	w.plant(s.Plant)
	w.accounts(s)
	w.washes(s.Washes)
	w.ladder(s.Ladder)
	w.bed(s)
	w.budget(s.Budget)
	w.sensors(s.Sensors)
	w.improve(s.Improve)
	w.matched(s.Matched)
	w.months(s.Months)
	w.findings(s)
	w.settings(s)
	w.seasons(s.Seasons)
	w.audit(s.Audit)
	w.exclusions(s.Exclusions.List)
	w.close('}')
	return append(w.b, '\n'), nil
}

func (w *writer) head(s *season.Season) {
	w.object("farm", func() {
		w.text("name", s.Farm)
		w.text("timezone", s.ZoneName)
	})
	w.object("period", func() {
		w.at("start", s.Period.Start)
		w.at("end", s.Period.End)
		w.int("milkings", s.Period.Milkings)
		w.int("washes", s.Period.Washes)
		w.int("draws", s.Period.Draws)
	})
}

func (w *writer) data(s *season.Season) {
	w.object("data", func() {
		w.list("files", len(s.Files), func(i int) { w.file(s.Files[i]) })
		w.list("channels", len(s.Channels), func(i int) { w.channel(s.Channels[i]) })
	})
}

func (w *writer) file(f ingest.File) {
	w.text("name", f.Name)
	if f.Sheet != "" {
		w.text("sheet", f.Sheet)
	}
	w.text("sha256", f.SHA256)
	w.int("rows", f.Rows)
	w.int("kept", f.Kept)
	w.at("first", f.First)
	w.at("last", f.Last)
	w.text("zone", f.Zone)
	w.object("clock", func() {
		w.number("ahead_s", f.Clock.AheadS)
		w.number("drift_s_per_day", f.Clock.DriftSPerDay)
		w.list("jumps", len(f.Clock.Jumps), func(i int) {
			w.at("at", f.Clock.Jumps[i].At)
			w.number("by_s", f.Clock.Jumps[i].ByS)
		})
		w.number("low", f.Clock.Low)
		w.number("high", f.Clock.High)
		w.text("from", f.Clock.From)
	})
}

func (w *writer) channel(c season.Channel) {
	w.text("quantity", c.Quantity)
	w.text("place", c.Place)
	w.text("column", c.Column)
	w.text("file", c.File)
	w.text("unit", c.Unit)
	w.int("samples", c.Samples)
	w.int("kept", c.Kept)
	w.object("flags", func() {
		for bit, name := range series.FlagNames {
			w.int(name, c.Flags[bit])
		}
	})
	w.number("gap_s", c.GapS)
}

func (w *writer) loop(l season.Loop, at []season.UAPoint, draws []season.DrawRow) {
	w.object("loop", func() {
		w.figures(l.Figures, "ua_w_per_k", "u_w_per_m2_k", "per_metre_w_per_m_k", "time_constant_h", "supply_w_per_k",
			"steady_w_per_k", "slab_kj_per_k", "bed_offset_k", "volume_ratio", "approach_k", "effectiveness")
		w.text("model", l.Model)
		if l.ModelWhy != "" {
			w.text("model_why", l.ModelWhy)
		}
		w.bool("identified", l.Identified)
		if l.Why != "" {
			w.text("why", l.Why)
		}
		w.number("rmse_k", l.RMSEK)
		w.int("draws_used", l.DrawsUsed)
		w.number("litres_left_out", l.LitresLeftOut)
		w.changes(l.Changes)
		w.course(at, draws)
		w.geometry(l.Geometry)
	})
}

// course is the coefficient stretch by stretch, and the draws, for who reads the
// loop closely.
func (w *writer) course(at []season.UAPoint, draws []season.DrawRow) {
	w.list("course", len(at), func(i int) {
		w.at("from", at[i].From)
		w.at("to", at[i].To)
		w.figure("ua_w_per_k", at[i].UA)
	})
	w.list("draws", len(draws), func(i int) {
		w.at("start", draws[i].Start)
		w.at("end", draws[i].End)
		w.number("litres", draws[i].Litres)
		w.bool("used", draws[i].Used)
	})
}

func (w *writer) plant(p season.Plant) {
	w.object("plant", func() {
		w.figures(p.Figures, "recovery_fraction", "heat_caught_kwh", "heat_rejected_kwh", "milk_heat_kwh",
			"compressor_kwh", "standing_gain_kw", "cop", "plate_effectiveness", "caught_per_kwh", "rejected_per_kwh",
			"recovery_per_k", "effectiveness_per_k", "left_kwh")
		w.int("cycles_used", p.CyclesUsed)
		w.changes(p.Changes)
		w.object("line", func() {
			w.figure("slope", p.Slope)
			w.figure("intercept_kwh", p.InterceptKWh)
		})
		w.number("water_in_from_c", p.InletFromC)
		w.number("water_in_to_c", p.InletToC)
		w.int("left_cycles", p.LeftCycles)
		w.number("left_s", p.LeftS)
		w.object("milk_cold", func() {
			w.text("why", p.MilkCold.Why)
			w.text("read", p.MilkCold.Basis)
			w.number("limit_c", p.MilkCold.LimitC)
			w.object("with_recovery", func() { w.milkGroup(p.MilkCold.With) })
			w.object("without", func() { w.milkGroup(p.MilkCold.Without) })
		})
		w.list("weeks", len(p.Weeks), func(i int) { w.week(p.Weeks[i]) })
	})
}

func (w *writer) milkGroup(g season.MilkGroup) {
	w.int("cycles", g.Cycles)
	w.int("too_warm", g.TooWarm)
	w.figure("mean_c", g.MeanC)
	w.number("warmest_c", g.WarmestC)
}

// week is one week of the plate: its figures by the errors of the sensors,
// and, under own, the same by the scatter of the week's days.
func (w *writer) week(p season.PlantWeek) {
	w.at("from", p.From)
	w.at("to", p.To)
	w.int("cycles", p.Cycles)
	w.figures(p.Figures)
	w.object("own", func() { w.figures(p.Own) })
}

func (w *writer) changes(list []season.Change) {
	w.list("changes", len(list), func(i int) {
		c := list[i]
		w.at("at", c.At)
		w.text("of", c.Of)
		w.figure("before", c.Before)
		w.figure("after", c.After)
		w.at("at_low", c.AtLow)
		w.at("at_high", c.AtHigh)
		w.figure("size", c.Size)
		w.list("events", len(c.Events), func(k int) {
			w.at("at", c.Events[k].At)
			w.text("what", c.Events[k].What)
		})
		w.text("text", c.Text)
	})
}

var heatKeys = []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "other_use_kwh",
	"store_change_kwh", "loss_kwh", "unexplained_kwh"}

func (w *writer) accounts(s *season.Season) {
	w.object("heat", func() {
		w.figures(s.Heat.Seen, heatKeys...)
		w.object("whole", func() { w.figures(s.Heat.Whole, heatKeys...) })
		w.number("low_flow_share", s.Heat.LowFlowShare)
	})
	w.object("electricity", func() {
		w.figures(s.Electricity, "element_kwh", "element_solar_kwh", "element_movable_kwh", "pump_kwh", "compressor_kwh")
	})
	w.object("saving", func() {
		w.figures(s.Saving.Figures, "baseline_kwh", "used_kwh", "saved_kwh", "money", "co2_kg", "heat_per_kwh",
			"avoided_kwh", "normalised_kwh", "compressor_extra_kwh", "unused_kwh")
		w.text("carrier", s.Saving.Carrier)
		w.text("currency", s.Saving.Currency)
		w.text("basis", s.Saving.Basis)
		w.figure("money_not_spent", s.Saving.FuelMoney)
		w.figure("money_spent", s.Saving.PowerMoney)
		w.object("whole", func() { w.figures(s.Saving.Whole, "saved_kwh", "money", "co2_kg") })
		w.baselines(s.Saving)
	})
}

func (w *writer) washes(s season.Washes) {
	w.object("washes", func() {
		w.int("count", s.Count)
		w.int("rinses", s.Rinses)
		w.int("too_cool", s.TooCool)
		w.int("unknown", s.Unknown)
		w.number("coolest_c", s.CoolestC)
		w.number("target_c", s.TargetC)
		w.list("list", len(s.List), func(i int) {
			one := s.List[i]
			w.at("at", one.At)
			w.number("temp_c", one.TempC)
			w.number("end_c", one.EndC)
			w.number("litres", one.Litres)
			w.bool("too_cool", one.TooCool)
			w.text("reason", one.Reason)
			w.bool("rinse", one.Rinse)
		})
	})
}

func (w *writer) ladder(steps []season.Step) {
	w.list("ladder", len(steps), func(i int) {
		w.text("step", steps[i].Step)
		w.figure("temp_c", steps[i].TempC)
		w.figure("gained_kwh", steps[i].GainedKWh)
	})
}

func (w *writer) budget(rows []season.BudgetRow) {
	w.list("budget", len(rows), func(i int) {
		w.text("figure", rows[i].Figure)
		w.text("source", rows[i].Source)
		w.text("kind", rows[i].Kind)
		w.number("share", rows[i].Share)
		w.text("error", rows[i].Error)
		w.bool("assumed", rows[i].Assumed)
		w.text("distribution", rows[i].Dist)
		w.number("sensitivity", rows[i].Slope)
		w.text("sensitivity_per", rows[i].SlopeUnit)
		w.number("u", rows[i].U)
	})
}

func (w *writer) months(months []season.Month) {
	w.list("months", len(months), func(i int) {
		w.text("month", months[i].Month)
		w.figures(months[i].Figures, "loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh",
			"ua_w_per_k", "approach_k", "recovery_fraction")
	})
}

func (w *writer) findings(s *season.Season) {
	w.list("cautions", len(s.Cautions), func(i int) {
		c := s.Cautions[i]
		w.text("id", c.ID)
		w.text("text", c.Text)
		w.text("because", c.Because)
		w.at("first", c.First)
		w.at("last", c.Last)
	})
	w.list("problems", len(s.Problems), func(i int) {
		p := s.Problems[i]
		w.text("code", p.Code)
		w.text("severity", string(p.Severity))
		w.text("file", p.File)
		w.text("where", p.Where)
		w.text("text", p.Text)
	})
}

// settings are every option in force by key, and the trials behind the
// intervals.
func (w *writer) settings(s *season.Season) {
	w.object("settings", func() {
		written := map[string]bool{"seed": true, "trials": true}
		w.setting("seed", fmt.Sprint(s.Seed), "default")
		w.setting("trials", fmt.Sprint(s.Trials), "default")
		for _, one := range s.Settings {
			if written[one.Key] {
				continue // a JSON reader keeps one of two equal keys, no one knows which
			}
			written[one.Key] = true
			w.setting(one.Key, one.Value, one.Source)
		}
	})
}

func (w *writer) setting(key, value, source string) {
	w.key(key)
	w.inline++
	w.open('{')
	w.text("value", value)
	w.text("source", source)
	w.close('}')
	w.inline--
}

func (w *writer) seasons(list []season.Stretch) {
	w.list("seasons", len(list), func(i int) {
		w.text("name", list[i].Name)
		w.text("kind", list[i].Kind)
		w.at("from", list[i].From)
		w.at("to", list[i].To)
		w.figures(list[i].Figures)
	})
}
