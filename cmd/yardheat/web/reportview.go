package web

import (
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/reports/results/saved"
)

// reportView is a finished report as the page shows it: made of its own
// results.json, in the reader's words and units. It computes nothing.
type reportView struct {
	*view
	R      *saved.Report
	Report farms.Report
	zone   *time.Location
	// Files that can be downloaded, by name.
	Files []download
	// Charts of the report as SVG, for a browser without script.
	Charts []string
	// Bundle: it can be made here; BundleReady: it stands.
	Bundle, BundleReady bool
}

// said is a text in the reader's language, or one that stands in the report in
// English only: Lang then says so.
type phrase struct{ Text, Lang string }

// figureRow is a figure with its words.
type figureRow struct {
	Key, Label, Text string
	Why              phrase
	Covered          string
}

func zoneOf(r *saved.Report) *time.Location {
	if zone, err := time.LoadLocation(r.Farm.Timezone); err == nil {
		return zone
	}
	return time.UTC
}

// Day and When are local times of the farm.
func (v *reportView) Day(t time.Time) string  { return v.Choice.Day(t.In(v.zone)) }
func (v *reportView) When(t time.Time) string { return v.Choice.Moment(t.In(v.zone)) }

// LastDay of the period, whose end is not in it.
func (v *reportView) LastDay() string { return v.Day(v.R.Period.End.Add(-time.Millisecond)) }

// Fig is a figure in the reader's words and units, "" where it is not known.
func (v *view) Fig(f saved.Figure) string {
	text := v.Choice.FigureText(f.Season())
	for _, words := range []struct{ from, key string }{{"at least ", "shown.least"}, {"at most ", "shown.most"}} {
		if rest, ok := strings.CutPrefix(text, words.from); ok {
			return v.Say(words.key, "value", rest)
		}
	}
	text = strings.Replace(text, " (interval not known)", " "+v.Say("shown.noends"), 1)
	return strings.Replace(text, " to ", " "+v.Say("shown.to")+" ", 1)
}

// FigOr is Fig, or "not known".
func (v *view) FigOr(f saved.Figure) string {
	if text := v.Fig(f); text != "" {
		return text
	}
	return v.Say("shown.none")
}

// Temp and Volume are numbers without an interval.
func (v *view) Temp(c saved.Number) string { return v.orNone(v.Choice.TempText(float64(c), 1)) }

// Volume is an amount of water.
func (v *view) Volume(l saved.Number) string { return v.orNone(v.Choice.VolumeText(float64(l), 0)) }

func (v *view) orNone(text string) string {
	if text == "" {
		return v.Say("shown.none")
	}
	return text
}

// Int is a whole number.
func (v *view) Int(n int) string { return v.Choice.Number(float64(n), 0) }

// Percent is a share as it is printed: one digit below ten, none above.
func (v *view) Percent(share float64) string {
	decimals := 0
	if math.Abs(share) < 0.0995 {
		decimals = 1
	}
	text := v.Choice.Number(100*share, decimals)
	if text == "" {
		return v.Say("shown.none")
	}
	return text + "\u00a0%"
}

// Label names a figure by its key.
func (v *view) Label(key string) string {
	if v.c.Has("fig." + key) {
		return v.Say("fig." + key)
	}
	return clean(key)
}

// Row is a figure with its label and why it is missing.
func (v *view) Row(key string, f saved.Figure) figureRow {
	row := figureRow{Key: key, Label: v.Label(key), Text: v.Fig(f)}
	if row.Text == "" || math.IsNaN(float64(f.Low)) || math.IsNaN(float64(f.High)) {
		row.Why = v.why(f.Why)
	}
	if c := float64(f.Coverage); row.Text != "" && c > 0 && c < 0.995 {
		row.Covered = v.Percent(c)
	}
	return row
}

// Rows are the figures of those keys that the report holds.
func (v *view) Rows(of saved.Figures, keys ...string) []figureRow {
	var out []figureRow
	for _, key := range keys {
		if f, ok := of[key]; ok {
			out = append(out, v.Row(key, f))
		}
	}
	return out
}

// figureTable is one table of figures.
type figureTable struct {
	Caption string
	Rows    []figureRow
}

// Tables of the figures, those without any known figure left out.
func (v *reportView) Tables() []figureTable {
	r := v.R
	var out []figureTable
	add := func(key string, of saved.Figures, keys ...string) {
		rows := v.Rows(of, keys...)
		if slices.ContainsFunc(rows, func(r figureRow) bool { return r.Text != "" }) {
			out = append(out, figureTable{v.Say("report.table." + key), rows})
		}
	}
	add("heat", r.Heat.Seen, "loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "other_use_kwh", "store_change_kwh", "loss_kwh", "unexplained_kwh")
	add("saving", r.Saving.Figures, "baseline_kwh", "used_kwh", "saved_kwh", "money", "co2_kg", "heat_per_kwh", "money_not_spent", "money_spent", "unused_kwh")
	add("whole", r.Saving.Whole, "saved_kwh", "money", "co2_kg")
	add("electricity", r.Electricity, "element_kwh", "element_solar_kwh", "element_movable_kwh", "pump_kwh", "compressor_kwh")
	add("loop", r.Loop.Figures, "ua_w_per_k", "steady_w_per_k", "approach_k", "effectiveness", "time_constant_h", "bed_offset_k")
	add("plant", r.Plant.Figures, "recovery_fraction", "caught_per_kwh", "plate_effectiveness", "heat_caught_kwh", "heat_rejected_kwh", "milk_heat_kwh", "cop", "left_kwh")
	add("bed", r.Bed, "mean_c", "heat_w_per_m2", "heat_kwh_per_m2", "heat_kwh_per_tonne")
	return out
}

// Sentences are the season in five: where the heat came from, what the wash
// took, what was saved, the washes, the milk. Each says why where a figure is
// missing.
func (v *reportView) Sentences() []string {
	return []string{v.sources(), v.used(), v.saving(), v.washes(), v.milk()}
}

func (v *reportView) sources() string {
	h := v.R.Heat.Seen
	var got []string
	for _, key := range []string{"loop_kwh", "plant_kwh", "element_kwh"} {
		if f := h.Get(key); f.Known() {
			got = append(got, v.Say("report.from."+key, "kwh", v.Fig(f)))
		}
	}
	if len(got) == 0 {
		return v.Say("report.sentence.noheat", "from", v.Day(v.R.Period.Start), "to", v.LastDay(), "why", v.why(h.Get("loop_kwh").Why).Text)
	}
	return v.Say("report.sentence.heat", "from", v.Day(v.R.Period.Start), "to", v.LastDay(), "parts", v.list(got))
}

// list joins parts with commas and an "and".
func (v *view) list(parts []string) string {
	if len(parts) < 2 {
		return strings.Join(parts, "")
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " " + v.Say("report.and") + " " + parts[len(parts)-1]
}

func (v *reportView) used() string {
	wash := v.R.Heat.Seen.Get("wash_kwh")
	if !wash.Known() {
		return v.Say("report.sentence.nowash", "why", v.why(wash.Why).Text)
	}
	if f := v.R.Saving.Figures.Get("heat_per_kwh"); f.Known() {
		return v.Say("report.sentence.wash", "kwh", v.Fig(wash), "per", v.Fig(f))
	}
	return v.Say("report.sentence.washonly", "kwh", v.Fig(wash))
}

func (v *reportView) saving() string {
	s := v.R.Saving
	saved, money := s.Figures.Get("saved_kwh"), s.Figures.Get("money")
	carrier := s.Carrier
	if carrier == "" || v.c.Has("carrier."+strings.ToLower(carrier)) {
		carrier = v.Say("carrier." + strings.ToLower(s.Carrier))
	}
	switch {
	case !saved.Known():
		return v.Say("report.sentence.nosaving", "why", v.why(saved.Why).Text)
	case s.Baseline.Kind != "" && s.Baseline.Kind != "alternative" && money.Known():
		return v.Say("report.sentence.avoided", "kwh", v.Fig(saved), "money", v.Fig(money))
	case money.Known() && money.High < 0:
		return v.Say("report.sentence.loss", "kwh", v.Fig(saved), "money", v.Fig(money), "carrier", clean(carrier))
	case money.Known():
		return v.Say("report.sentence.saving", "kwh", v.Fig(saved), "money", v.Fig(money), "carrier", clean(carrier))
	}
	return v.Say("report.sentence.nomoney", "kwh", v.Fig(saved), "carrier", clean(carrier), "why", v.why(money.Why).Text)
}

func (v *reportView) washes() string {
	w := v.R.Washes
	switch {
	case w.Count == 0 && w.Unknown == 0:
		return v.Say("report.sentence.nowashes")
	case w.Count == 0:
		return v.Count("report.sentence.unknownwashes", w.Unknown)
	case w.TooCool == 0 && w.TargetC == w.TargetC:
		return v.Say("report.sentence.hotwashes", "count", v.Int(w.Count), "target", v.Temp(w.TargetC), "coolest", v.Temp(w.CoolestC))
	case w.TooCool == 0:
		return v.Say("report.sentence.nottargeted", "count", v.Int(w.Count), "coolest", v.Temp(w.CoolestC))
	}
	return v.Say("report.sentence.coolwashes", "cool", v.Int(w.TooCool), "count", v.Int(w.Count), "coolest", v.Temp(w.CoolestC))
}

func (v *reportView) milk() string {
	m := v.R.Plant.MilkCold
	g := m.WithRecovery
	if g.Cycles == 0 {
		g = m.Without
	}
	switch {
	case m.Why != "" || g.Cycles == 0:
		return v.Say("report.sentence.nomilk", "why", v.why(m.Why).Text)
	case g.TooWarm == 0:
		return v.Say("report.sentence.coldmilk", "count", v.Int(g.Cycles), "limit", v.Temp(m.LimitC), "warmest", v.Temp(g.WarmestC))
	}
	return v.Say("report.sentence.warmmilk", "warm", v.Int(g.TooWarm), "count", v.Int(g.Cycles), "limit", v.Temp(m.LimitC), "warmest", v.Temp(g.WarmestC))
}

// Target is the wash temperature that the farm file asks for, "" where none.
func (v *reportView) Target() string {
	for _, f := range v.R.Audit.Static {
		if f.Name == "wash.target_c" {
			return f.Value
		}
	}
	return ""
}

// CoolWashes are the washes judged too cool, the newest first.
func (v *reportView) CoolWashes() []saved.Wash {
	var out []saved.Wash
	for _, w := range v.R.Washes.List {
		if w.TooCool {
			out = append(out, w)
		}
	}
	slices.Reverse(out)
	return out
}

// AllWashes in order of time, rinses too.
func (v *reportView) AllWashes() []saved.Wash { return v.R.Washes.List }

// Reason of a cool wash, in words.
func (v *reportView) Reason(w saved.Wash) string {
	switch w.Reason {
	case "cold tank", "short heat", "not known":
		return v.Say("report.reason." + strings.ReplaceAll(w.Reason, " ", ""))
	}
	return ""
}

// Changes of loop and plate, in order of time.
func (v *reportView) Changes() []saved.Change {
	all := append(slices.Clone(v.R.Loop.Changes), v.R.Plant.Changes...)
	sort.SliceStable(all, func(i, j int) bool { return all[i].At.Before(all[j].At) })
	return all
}

// ChangeText is the sentence on a change.
func (v *reportView) ChangeText(c saved.Change) string {
	text := v.Say("report.change", "of", v.Label(c.Of), "before", v.FigOr(c.Before), "after", v.FigOr(c.After), "at", v.Day(c.At))
	if low, high := v.Day(c.AtLow), v.Day(c.AtHigh); !c.AtLow.IsZero() && low != high {
		text += " " + v.Say("report.change.between", "low", low, "high", high)
	}
	for _, e := range c.Events {
		text += " " + v.Say("report.change.event", "at", v.Day(e.At), "what", v.event(e.What))
	}
	return text
}

// event is what farm.toml says happened, in words where it is one of the trade's.
func (v *view) event(what string) string {
	if key := "event." + strings.ReplaceAll(what, " ", "_"); v.c.Has(key) {
		return v.Say(key)
	}
	return "“" + clean(what) + "”"
}

// CautionText is what to look at, by the caution's id; one that this version
// does not know as the report says it.
func (v *view) CautionText(id, text string) phrase {
	if v.c.Has("caution." + id) {
		return phrase{v.Say("caution." + id), ""}
	}
	return phrase{clean(text), "en"}
}

// found are the problems of one code.
type found struct {
	Code  string
	Plain phrase
	List  []saved.Problem
	More  int
}

// mostOfAKind problems of one code are shown; the report itself has all.
const mostOfAKind = 12

// Doubts are problems that may move figures; Notes the others. Those of one code
// stand together, the order of the report kept.
func (v *reportView) Doubts() []found {
	return v.problems(func(p saved.Problem) bool { return p.Severity != "note" })
}

// Notes are taken as said.
func (v *reportView) Notes() []found {
	return v.problems(func(p saved.Problem) bool { return p.Severity == "note" })
}

func (v *reportView) problems(want func(saved.Problem) bool) []found {
	var out []found
	at := map[string]int{}
	for _, p := range v.R.Problems {
		if !want(p) {
			continue
		}
		i, ok := at[p.Code]
		if !ok {
			i = len(out)
			at[p.Code] = i
			out = append(out, found{Code: p.Code, Plain: v.problem(p.Code)})
		}
		if len(out[i].List) < mostOfAKind {
			out[i].List = append(out[i].List, p)
		} else {
			out[i].More++
		}
	}
	return out
}

// problem explains a problem code in plain words.
func (v *view) problem(code string) phrase {
	if v.c.Has("problem." + code) {
		return phrase{v.Say("problem." + code), ""}
	}
	return phrase{clean(code), "en"}
}

// drawOption is a draw that can be looked at closely.
type drawOption struct{ Value, Text string }

// mostDraws can be chosen: the last ones.
const mostDraws = 400

// Draws can be chosen for the chart of one, the newest first. The value is the
// stretch to show, a while before and after, in seconds.
func (v *reportView) Draws() []drawOption {
	const before, after = 10 * time.Minute, 20 * time.Minute
	var out []drawOption
	for i := len(v.R.Loop.Draws) - 1; i >= 0 && len(out) < mostDraws; i-- {
		d := v.R.Loop.Draws[i]
		value := strconv.FormatInt(d.Start.Add(-before).Unix(), 10) + "-" + strconv.FormatInt(d.End.Add(after).Unix(), 10)
		out = append(out, drawOption{value, v.When(d.Start) + ", " + v.Volume(d.Litres)})
	}
	return out
}

// NothingToLookAt: neither cautions, cool washes, doubts nor changes.
func (v *reportView) NothingToLookAt() bool {
	return len(v.R.Cautions) == 0 && v.R.Washes.TooCool == 0 && len(v.Doubts()) == 0 && len(v.Changes()) == 0
}

// monthKeys are the columns of the table of months.
var monthKeys = []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh", "ua_w_per_k", "recovery_fraction"}

// MonthHead are the labels of the figures that any month knows.
func (v *reportView) MonthHead() []string {
	var out []string
	for _, key := range v.monthKeys() {
		out = append(out, v.Label(key))
	}
	return out
}

func (v *reportView) monthKeys() []string {
	var out []string
	for _, key := range monthKeys {
		if slices.ContainsFunc(v.R.Months, func(m saved.Month) bool { return m.Figures.Get(key).Known() }) {
			out = append(out, key)
		}
	}
	return out
}

// monthRow is a month with its figures under MonthHead.
type monthRow struct {
	Month string
	Cells []labelled
}

type labelled struct{ Label, Text string }

// Months of the report.
func (v *reportView) Months() []monthRow {
	var out []monthRow
	for _, m := range v.R.Months {
		row := monthRow{Month: clean(m.Month)}
		for _, key := range v.monthKeys() {
			row.Cells = append(row.Cells, labelled{v.Label(key), v.FigOr(m.Figures.Get(key))})
		}
		out = append(out, row)
	}
	return out
}

// improvement is what would narrow a figure the most.
type improvement struct {
	Label, Now, Then string
	Measure          phrase
	Narrower         string
}

// Improve lists them, those that help.
func (v *reportView) Improve() []improvement {
	var out []improvement
	for _, m := range v.R.Improve {
		if m.Measure == "" {
			continue
		}
		out = append(out, improvement{v.Label(m.Figure), v.FigOr(v.R.Figure(m.Figure)), v.FigOr(m.Then), v.measure(m.Measure), v.Percent(float64(m.Narrower))})
	}
	return out
}

// sureRow says whose error makes most of a figure's interval.
type sureRow struct {
	Label, Text string
	Most        []sensorShare
}

type sensorShare struct{ Sensor, Share, Error string }

// mostSensors of a figure are named, and none below leastShare.
const (
	mostSensors = 3
	leastShare  = 0.05
)

// Sure says of the headline figures whose errors make their intervals.
func (v *reportView) Sure() []sureRow {
	var out []sureRow
	for _, key := range []string{"saved_kwh", "loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "ua_w_per_k", "recovery_fraction"} {
		f := v.R.Figure(key)
		if !f.Known() {
			continue
		}
		list := slices.Clone(v.R.Sensors)
		sort.SliceStable(list, func(i, j int) bool { return list[i].Shares[key] > list[j].Shares[key] })
		row := sureRow{Label: v.Label(key), Text: v.Fig(f)}
		for _, s := range list {
			if share := s.Shares[key]; share >= leastShare && len(row.Most) < mostSensors {
				row.Most = append(row.Most, sensorShare{v.sensor(s.Sensor), v.Percent(share), v.Choice.Shown(clean(s.Error))})
			}
		}
		if len(row.Most) > 0 {
			out = append(out, row)
		}
	}
	return out
}

// Flagged are the channels with readings left out.
func (v *reportView) Flagged() []flaggedRow {
	var out []flaggedRow
	for _, c := range v.R.Data.Channels {
		n := c.Samples - c.Kept
		if n <= 0 {
			continue
		}
		row := flaggedRow{Column: clean(c.Column), File: clean(c.File), Quantity: v.quantity(c.Quantity), Count: v.Int(n)}
		var why []string
		for _, test := range []string{"sentinel", "range", "spike", "stuck", "rate", "duplicate", "order"} {
			if k := c.Flags[test]; k > 0 {
				why = append(why, v.Say("report.flag."+test, "n", v.Int(k)))
			}
		}
		row.Why = strings.Join(why, "; ")
		out = append(out, row)
	}
	return out
}

type flaggedRow struct{ Column, File, Quantity, Count, Why string }

// SVGName names one of the report's drawings by its file; typical draws bear a
// number.
func (v *view) SVGName(file string) string {
	name := strings.TrimSuffix(file, ".svg")
	number := strings.TrimLeft(name, "abcdefghijklmnopqrstuvwxyz-")
	key := "chart.svg." + strings.TrimSuffix(strings.TrimSuffix(name, number), "-")
	if !v.c.Has(key) {
		return clean(name)
	}
	return strings.TrimSpace(v.Say(key) + " " + number)
}

// quantity is a quantity in words.
func (v *view) quantity(q string) string {
	if v.c.Has("quantity." + q) {
		return v.Say("quantity." + q)
	}
	return clean(q)
}
