package workbook

import (
	"fmt"
	"math"
	"strings"

	"yardheat/analysis/season"
)

// The groups of figures, each with its own cycles behind it.
const (
	ofSeen   = "seen"  // as seen, over the time that the readings cover
	ofWhole  = "whole" // estimated for the whole period
	ofSaving = "saving"
	ofPlant  = "plant" // over the cycles that have every term
	ofBed    = "bed"
)

// expr is a formula's text and the words for where it comes from.
type expr struct {
	text, from string
	// bound: it gives the known end of a figure known from one side.
	bound bool
}

func (e expr) known() bool { return e.text != "" }

// sum adds a column up, over all cycles of the span or over those marked by flag.
func (b *books) sum(key, flag string, in span) expr {
	g := b.cycles
	if in.from >= in.to || !g.has(key) {
		return expr{}
	}
	if flag == "" {
		return expr{text: fmt.Sprintf("SUM(%s)", g.ref(key, in)), from: g.said(key, in)}
	}
	return expr{text: fmt.Sprintf("SUMIFS(%s,%s,1)", g.ref(key, in), g.ref(flag, in)),
		from: fmt.Sprintf("%s where %s=1", g.said(key, in), letter(g.at[flag]))}
}

// made joins expressions: format has a %s for each; unknown if one of them is.
func made(format string, of ...expr) expr {
	texts, froms := make([]any, len(of)), make([]string, 0, len(of))
	seen := map[string]bool{}
	for i, e := range of {
		if !e.known() {
			return expr{}
		}
		texts[i] = e.text
		if e.from != "" && !seen[e.from] {
			seen[e.from] = true
			froms = append(froms, e.from)
		}
	}
	return expr{text: fmt.Sprintf(format, texts...), from: strings.Join(froms, "; ")}
}

// assumption is a stated figure as part of a formula.
func (b *books) assumption(key string) expr {
	if !b.knows(key) {
		return expr{}
	}
	return expr{text: b.value(key), from: b.said(key)}
}

// recalc is the formula of a figure; none where it is a value from the fits, the
// readings or the trials.
func (b *books) recalc(group, key string, in span) expr {
	if !b.ready() {
		return expr{}
	}
	switch group {
	case ofSeen:
		return b.recalcSeen(key, in)
	case ofWhole:
		return b.recalcWhole(key)
	case ofSaving:
		return b.recalcSaving(key, in)
	case ofPlant:
		return b.recalcPlant(key, in)
	case ofBed:
		return b.recalcBed(key)
	}
	return expr{}
}

func (b *books) recalcSeen(key string, in span) expr {
	switch key {
	case "store_change_kwh", "loss_kwh":
		return b.sum(key, "", in)
	case "unexplained_kwh":
		return b.sum(key, "counts_unexplained", in)
	case "element_solar_kwh":
		if b.l.SunOnlyHigh {
			e := b.sum("sun_high", "", in)
			e.bound = true
			return e
		}
		return made("(%s+%s)/2", b.sum("sun_low", "", in), b.sum("sun_high", "", in))
	}
	return b.sum(seenKey(key), "", in)
}

const counts = "counts_saving"

// used is the electricity of element and pumps in the cycles that count.
func (b *books) used(in span) expr {
	return plus(b.sum(seenKey("element_kwh"), counts, in), b.sum(seenKey("pump_kwh"), counts, in))
}

// plus adds what the farm may not have.
func plus(a, b expr) expr {
	switch {
	case !b.known():
		return a
	case !a.known():
		return b
	}
	return made("%s+%s", a, b)
}

// bought is what of the electricity the grid gave.
func bought(used, sun expr) expr {
	if !sun.known() {
		return made("(%s)", used)
	}
	return made("(%s-%s)", used, sun)
}

func (b *books) sunIn(flag string, in span) expr {
	if !b.cycles.has("sun_low") {
		return expr{}
	}
	return made("(%s+%s)/2", b.sum("sun_low", flag, in), b.sum("sun_high", flag, in))
}

// unused is what went in less what was used and stored, over the cycles that
// have every term.
func (b *books) unused(in span) expr {
	const counts = "counts_unused"
	all, minus := expr{}, b.sum("store_change_kwh", counts, in)
	for _, key := range []string{"loop_kwh", "plant_kwh", "element_kwh"} {
		all = plus(all, b.sum(seenKey(key), counts, in))
	}
	for _, key := range []string{"wash_kwh", "other_use_kwh"} {
		minus = plus(minus, b.sum(seenKey(key), counts, in))
	}
	return made("%s-(%s)", all, minus)
}

func (b *books) recalcSaving(key string, in span) expr {
	if key == "unused_kwh" {
		return b.unused(in)
	}
	if !b.l.Alternative {
		return byDays(key)
	}
	switch key {
	case "baseline_kwh", "saved_kwh":
		return b.sum(key, counts, in)
	case "avoided_kwh":
		if b.s.Saving.ExtraCharged {
			return expr{} // less the compressor's extra work, which is fitted
		}
		return b.sum("saved_kwh", counts, in)
	case "used_kwh":
		return b.used(in)
	case "money_not_spent":
		return b.sum("fuel_cost", counts, in)
	case "money_spent":
		return b.sum("power_cost", counts, in)
	case "money":
		return made("%s-%s", b.sum("fuel_cost", counts, in), b.sum("power_cost", counts, in))
	case "co2_kg":
		return made("%s*%s-%s*%s", b.sum("baseline_kwh", counts, in), b.assumption("instead.co2_kg_per_kwh"),
			bought(b.used(in), b.sunIn(counts, in)), b.assumption("electricity.co2_kg_per_kwh"))
	case "heat_per_kwh":
		return made("%s/(%s)", b.sum(seenKey("wash_kwh"), counts, in), b.used(in))
	}
	return expr{}
}

// at is a cell of the sheet Whole period.
func (b *books) atWhole(key string, column int) expr {
	row, ok := b.wholeRow[key]
	if !ok {
		return expr{}
	}
	return expr{text: quoted(wholeName) + "!" + b.wholeCell(key, column), from: fmt.Sprintf("%s!%s%d", wholeName, letter(column), row)}
}

// recalcWhole: heat by heat, and the saving by "saving:" before its key.
func (b *books) recalcWhole(key string) expr {
	saving, ok := strings.CutPrefix(key, "saving:")
	if !ok {
		return b.atWhole(key, wholeSum)
	}
	if !b.l.Alternative {
		return expr{}
	}
	used := plus(b.atWhole("element_kwh", wholeSum), b.atWhole("pump_kwh", wholeSum))
	baseline := b.baselineWhole()
	switch saving {
	case "saved_kwh":
		return made("%s-(%s)", baseline, used)
	case "co2_kg":
		return made("(%s)*%s-%s*%s", baseline, b.assumption("instead.co2_kg_per_kwh"), bought(used, b.sunWhole()), b.assumption("electricity.co2_kg_per_kwh"))
	case "money":
		return made("%s-(%s)", b.fuelWhole(), b.powerWhole())
	}
	return expr{}
}

func (b *books) baselineWhole() expr {
	return made("%s/%s+%s*SUM(%s)/24", b.atWhole(fuelTerm, wholeSum), b.assumption("instead.efficiency"),
		b.assumption("instead.standing_loss_kwh_per_day"), b.whole("hours"))
}

// whole is a whole column of the cycles.
func (b *books) whole(key string) expr {
	if !b.cycles.has(key) {
		return expr{}
	}
	return expr{text: b.cycles.ref(key, b.all()), from: b.cycles.said(key, b.all())}
}

// sunWhole is the own solar over the whole period: the element's whole over seen
// times what was seen.
func (b *books) sunWhole() expr {
	if !b.cycles.has("sun_low") {
		return expr{}
	}
	e := b.term("element_kwh")
	if e == nil || e.Fill.SeenKWh == 0 {
		return b.sunIn("", b.all())
	}
	return made("%s*%s/%s", b.sunIn("", b.all()), b.atWhole("element_kwh", wholeSum), b.atWhole("element_kwh", wholeSeen))
}

// fuelWhole: each cycle's heat, seen and put in, at the price of its day.
func (b *books) fuelWhole() expr {
	in := b.all()
	if !b.unseen.has(addedKey(fuelTerm)) || !b.cycles.has("fuel_price") {
		return expr{}
	}
	price, behind := b.whole("fuel_price"), expr{text: b.unseen.ref(behindKey(fuelTerm), in)}
	put := expr{text: b.unseen.ref(addedKey(fuelTerm), in), from: b.unseen.said(addedKey(fuelTerm), in)}
	return made("(SUMPRODUCT(%s,%s,%s)+SUMPRODUCT(%s,%s,%s)-SUMPRODUCT(%s,%s,%s)+SUMPRODUCT(%s,%s))/%s+%s/24*SUMPRODUCT(%s,%s)",
		b.whole("wash_kwh"), price, behind, b.whole("other_use_kwh"), price, behind, b.whole("above_kwh"), price, behind, put, price,
		b.assumption("instead.efficiency"), b.assumption("instead.standing_loss_kwh_per_day"), b.whole("hours"), price)
}

// powerWhole: the rows of the sheet Whole period by price, and the own solar at
// what it would have earned.
func (b *books) powerWhole() expr {
	var of []expr
	for _, x := range b.l.Lines {
		of = append(of, b.atWhole(lineKey(x.Term, x.Line), wholeCost))
	}
	if len(of) == 0 {
		return expr{}
	}
	format := strings.Repeat("+%s", len(of))[1:]
	if b.cycles.has("sun_low") {
		format += "+%s*%s"
		of = append(of, b.sunWhole(), b.assumption("electricity.export_price_per_kwh"))
	}
	return made(format, of...)
}

const inRecovery = "counts_recovery"

func (b *books) recalcPlant(key string, in span) expr {
	caught, milk, compressor := b.sum("plant_kwh", inRecovery, in), b.sum("milk_kwh", inRecovery, in), b.sum("compressor_kwh", inRecovery, in)
	gain := made("%s*%s", b.assumption("plant.standing_gain_kw"), b.sum("hours", inRecovery, in))
	rejected := made("%s+%s+%s", milk, compressor, gain)
	switch key {
	case "recovery_fraction":
		return made("%s/(%s)", caught, rejected)
	case "heat_caught_kwh":
		return caught
	case "heat_rejected_kwh":
		return rejected
	case "milk_heat_kwh":
		return milk
	case "compressor_kwh":
		return compressor
	case "standing_gain_kw":
		return b.assumption("plant." + key)
	case "cop":
		return made("(%s+%s)/%s", milk, gain, compressor)
	case "caught_per_kwh":
		return made("%s/%s", caught, compressor)
	case "rejected_per_kwh":
		return made("(%s)/%s", rejected, compressor)
	}
	return expr{}
}

func (b *books) recalcBed(key string) expr {
	in := b.all()
	loop := b.sum(seenKey("loop_kwh"), "", in)
	switch key {
	case "heat_kwh_per_m2":
		return made("%s/%s", loop, b.assumption("loop.bed_area_m2"))
	case "heat_kwh_per_tonne":
		return made("%s/%s", loop, b.assumption("event.tonnes"))
	case "heat_w_per_m2":
		if !b.unseen.has(shareKey("loop_kwh")) {
			return expr{}
		}
		share := expr{text: b.unseen.ref(shareKey("loop_kwh"), in), from: b.unseen.said(shareKey("loop_kwh"), in)}
		return made("1000*%s/(%s*SUMPRODUCT(%s,%s))", loop, b.assumption("loop.bed_area_m2"), b.whole("hours"), share)
	case "dip_k", "recovery_h":
		return expr{from: "read off the bed's probes (record.csv) around each of the " + drawsColumn("start", len(b.s.Draws))}
	case "response_k_per_kwh", "trend_k_per_week":
		return expr{from: "a fit to local days (results.json, bed.days)"}
	case "heat_kwh_per_day":
		if !b.unseen.has(shareKey("loop_kwh")) {
			return expr{}
		}
		share := expr{text: b.unseen.ref(shareKey("loop_kwh"), in), from: b.unseen.said(shareKey("loop_kwh"), in)}
		return made("24*%s/SUMPRODUCT(%s,%s)", loop, b.whole("hours"), share)
	}
	return expr{}
}

// recalcIn looks a figure of a month or a stretch up in every group.
func (b *books) recalcIn(key string, in span) expr {
	switch key {
	case "saved_kwh":
		return b.recalc(ofSaving, key, in)
	case "recovery_fraction":
		return b.recalc(ofPlant, key, in)
	case "loop_kwh", "plant_kwh", "element_kwh", "wash_kwh":
		return b.recalc(ofSeen, key, in)
	}
	return expr{}
}

// liveValue is a figure's value as a formula, or as a value where there is none,
// where it is not known, or where it is the known end of a figure known from one
// side only.
func liveValue(f season.Figure, e expr) any {
	if !follows(f, e) {
		return number{f.Value, decimalsOf(f)}
	}
	return formula{e.text, f.Value, decimalsOf(f)}
}

// follows: the figure's value is what the formula gives.
func follows(f season.Figure, e expr) bool {
	oneEnd := math.IsNaN(f.Low) != math.IsNaN(f.High)
	return e.known() && !math.IsNaN(f.Value) && !math.IsInf(f.Value, 0) && oneEnd == e.bound
}

// fitOf says what a fit stands on.
func (b *books) fitOf(of string) string {
	switch {
	case of == "Plant" && b.cycles.has(inRecovery):
		return "a fit, or a sum of the readings (record.csv), over the cycles where " + b.cycles.said(inRecovery, b.all()) + "=1"
	case of == "Plant":
		return "a fit over the sheet Cycles"
	}
	return "a fit to the readings (record.csv) of the draws where " + drawsColumn("used", len(b.s.Draws)) + " is true"
}

// rungOf says what the temperature of a step of the ladder is a mean of.
func (b *books) rungOf(step string) string {
	in := b.all()
	switch {
	case in.to == 0:
		return ""
	case step == "feed":
		return b.cycles.said("feed_c", in) + ", weighted by the wash water " + b.cycles.said("wash_l", in)
	case step == "element":
		return "readings of the tank as each wash of the sheet Washes begins, weighted by its water"
	case step == "wash":
		return "the washes of the sheet Washes that were judged, weighted by their water"
	}
	return "readings of the outlet while water flows (record.csv), weighted by the water"
}
