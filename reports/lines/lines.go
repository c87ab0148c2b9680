// Package lines prints the last 48 hours in English: a state word, what the line
// is about, and a sentence made of its code and numbers. It renders a Today and
// computes nothing.
package lines

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"yardheat/analysis/today"
)

// labels of the lines.
var labels = map[today.Code]string{
	today.CodeLogs: "Logs", today.CodeMilk: "Milk", today.CodeWashes: "Washes", today.CodePlate: "Plate", today.CodeLoop: "Loop",
	today.CodeTank: "Tank", today.CodeHeat: "Heat", today.CodeBed: "Bed", today.CodeCautions: "Cautions", today.CodeNext: "Next",
}

// Text is the head and the lines, each on one line. The stretch is given in the
// farm's own time.
func Text(t *today.Today) string {
	p := printer{zone: zoneOf(t.ZoneName), t: t}
	var b strings.Builder
	name := t.Farm
	if name == "" {
		name = "The farm"
	}
	fmt.Fprintf(&b, "%s: the %.0f hours to %s (%s)\n\n", name, float64(t.To-t.From)/3600e3, p.at(t.To), p.zone)
	for i := range t.Lines {
		l := &t.Lines[i]
		fmt.Fprintf(&b, "  %s  %s  %s\n", pad(string(l.State), 9), pad(labels[l.Code], 8), p.Sentence(l))
	}
	return b.String()
}

func pad(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(s)))
}

func zoneOf(name string) *time.Location {
	zone, err := time.LoadLocation(name)
	if err != nil {
		return time.UTC
	}
	return zone
}

type printer struct {
	zone *time.Location
	t    *today.Today
}

func (p printer) at(ms int64) string {
	return time.UnixMilli(ms).In(p.zone).Format("Mon 2 Jan 2006 15:04")
}

// hour is a time within or near the stretch: day of the week and time.
func (p printer) hour(ms int64) string {
	if ms < p.t.To-6*86400e3 {
		return p.at(ms)
	}
	return time.UnixMilli(ms).In(p.zone).Format("Mon 15:04")
}

// Sentence is the line in words.
func (p printer) Sentence(l *today.Line) string {
	switch l.Code {
	case today.CodeLogs:
		return p.logs(l)
	case today.CodeMilk:
		return p.milk(l)
	case today.CodeWashes:
		return p.washes(l)
	case today.CodePlate, today.CodeLoop:
		return p.against(l)
	case today.CodeTank:
		return p.tank(l)
	case today.CodeHeat:
		return p.heat(l)
	case today.CodeBed:
		return p.bed(l)
	case today.CodeCautions:
		return p.cautions(l)
	}
	return nextSteps[l.Says]
}

// show is a number of the line as printed; "not known" without it.
func show(l *today.Line, key string) string {
	n, ok := l.Number(key)
	if !ok {
		return "not known"
	}
	return n.Shown()
}

func value(l *today.Line, key string) float64 {
	n, _ := l.Number(key)
	return n.Value
}

func (p printer) when(l *today.Line, key string) string {
	ms, ok := l.Time(key)
	if !ok {
		return "at a time not known"
	}
	return p.hour(ms)
}

// ago is a stretch of hours in words.
func ago(h float64) string {
	switch {
	case h < 1.5:
		return fmt.Sprintf("%.0f minutes", h*60)
	case h < 48:
		return fmt.Sprintf("%.0f hours", h)
	}
	return fmt.Sprintf("%.0f days", h/24)
}

func (p printer) logs(l *today.Line) string {
	text := ""
	switch n := value(l, "probes"); {
	case l.Says == today.LogsEnd:
		text = fmt.Sprintf("end %s ago (%s): give the new exports. The other lines speak of the 48 hours before that.", ago(value(l, "age_h")), p.at(p.t.To))
	case l.Says == today.LogsAhead:
		text = "hold stamps later than now, which are not used."
	case l.Says == today.LogsRun && n == 1:
		return "the one probe reads to the end."
	case l.Says == today.LogsRun:
		return fmt.Sprintf("none of %.0f probes fell silent or looks stuck.", n)
	}
	const most = 2
	for i, x := range l.Probes {
		if i == most {
			text += fmt.Sprintf(" And %d more.", len(l.Probes)-most)
			break
		}
		text += " " + p.probe(x)
	}
	return strings.TrimSpace(text)
}

func (p printer) probe(x today.Probe) string {
	every := ago(x.UsualS / 3600)
	if x.UsualS < 60 {
		every = fmt.Sprintf("%.0f seconds", x.UsualS)
	}
	switch {
	case x.What == "stuck":
		return fmt.Sprintf("%s repeats itself (%.0f %% of its readings).", x.Name, 100*x.Share)
	case x.What == "fault":
		return fmt.Sprintf("%s: %.0f %% of its readings are such as no probe gives.", x.Name, 100*x.Share)
	case x.Column == "":
		return fmt.Sprintf("Nothing from %s since %s (usually every %s).", x.Name, p.hour(x.Last), every)
	}
	return fmt.Sprintf("%s silent since %s (usually every %s).", x.Name, p.hour(x.Last), every)
}

func (p printer) milk(l *today.Line) string {
	how := map[string]string{"tank": "two hours after the milking", "pipe": "as it left the cooler", "list": "by the milkings list"}[l.Word("read")]
	unknown := ""
	if n := value(l, "unknown"); n > 0 {
		unknown = fmt.Sprintf(" %s without a reading.", counted(n, "milking", "milkings"))
	}
	switch l.Says {
	case today.MilkWarm:
		return fmt.Sprintf("above the limit of %s after %.0f of %s, %s; warmest %s (milking to %s).%s", show(l, "limit_c"), value(l, "warm"), counted(value(l, "milkings"), "milking", "milkings"), how, show(l, "warmest_c"), p.when(l, "warmest"), unknown)
	case today.MilkCold:
		return fmt.Sprintf("at or below the limit of %s after %s, %s; warmest %s.%s", show(l, "limit_c"), counted(value(l, "milkings"), "milking", "milkings"), how, show(l, "warmest_c"), unknown)
	}
	return "no temperature in these 48 hours says whether it was cold in time."
}

func counted(n float64, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%.0f %s", n, more)
}

// reasons of a wash that was too cool.
var reasons = map[string]string{
	"cold tank":  "the element had its usual run, yet the tank stood too cool",
	"short heat": "the element ran for less than usual before",
	"not known":  "the logs do not tell why",
}

func (p printer) washes(l *today.Line) string {
	last := fmt.Sprintf("last %s at %s", p.when(l, "last"), show(l, "last_c"))
	if w := l.Word("last"); w == "too cool" || w == "hot enough" {
		last += " (" + w + ")"
	}
	washes := counted(value(l, "washes"), "wash", "washes")
	switch l.Says {
	case today.WashesCool:
		text := fmt.Sprintf("%.0f of %s below %s, coolest %s (%s): %s; %s.", value(l, "too_cool"), washes, show(l, "target_c"), show(l, "coolest_c"), p.when(l, "coolest"), reasons[l.Word("reason")], last)
		return text + unknownWashes(l)
	case today.WashesHot:
		return fmt.Sprintf("%s; none of %s below %s, coolest %s.", last, washes, show(l, "target_c"), show(l, "coolest_c")) + unknownWashes(l)
	case today.WashesNone:
		return fmt.Sprintf("none in 48 hours, usually %s; %s.", show(l, "usual_washes"), last)
	case today.WashesNoTarget:
		return fmt.Sprintf("%s; farm.toml states no target to hold it against.", last)
	case today.WashesNotKnown:
		return fmt.Sprintf("%s in 48 hours, no temperature for any.", washes)
	}
	return "the logs do not show whether there was one."
}

func unknownWashes(l *today.Line) string {
	if n := value(l, "small_too_cool"); n > 0 {
		return fmt.Sprintf(" Counted apart: %s, far smaller than a wash.", counted(n, "small cooler one", "small cooler ones"))
	}
	if n := value(l, "unknown"); n > 0 {
		return fmt.Sprintf(" %s no temperature.", counted(n, "wash has", "washes have"))
	}
	return ""
}

// subjects: what loop and plate are measured by.
var subjects = map[string]string{
	"ua_w_per_k":          "the water took heat at %s",
	"effectiveness":       "the water was warmed by %s of the way to the bed's temperature",
	"rise_k":              "the water warmed by %s",
	"plate_effectiveness": "the water was warmed by %s of the way to the hot gas",
	"rise_share":          "the water was warmed by %s of what this inlet used to give",
	"caught_per_kwh":      "%s of the compressor caught as heat",
	"plate_kwh":           "%s caught a cycle",
}

// against is loop or plate against its usual range.
func (p printer) against(l *today.Line) string {
	if l.Says == today.PlateNoWater {
		text := fmt.Sprintf("%s of water since %s while the compressor used %s", show(l, "litres"), p.when(l, "since"), show(l, "compressor_kwh"))
		if n, ok := l.Number("litres"); ok && n.Usual != nil {
			text += fmt.Sprintf("; usually %s", n.Usual.Shown(n.Key, n.Unit))
		}
		return text + "."
	}
	for _, n := range l.Numbers {
		subject, ok := subjects[n.Key]
		if !ok {
			continue
		}
		what := "draws"
		if l.Code == today.CodePlate {
			what = "cycles"
		}
		if l.Word("by") == "passing" {
			subject += " while passing"
		}
		text := fmt.Sprintf(subject, n.Shown()) + fmt.Sprintf(" (median of %.0f %s)", value(l, "values"), what)
		text += verdict(l.Says) + little(l, n) + rangeText(n)
		if l.Word("by") == "whole draw" {
			text += "; mostly water that had stood, which shows little of how well the loop takes heat"
		}
		return text + "."
	}
	return "no value in these 48 hours."
}

// verdict says where a value lies.
func verdict(s today.Finding) string {
	switch s {
	case today.LoopLow, today.PlateLow, today.BedLow, today.TankLow:
		return ", below its usual range"
	case today.LoopHigh, today.PlateHigh, today.BedHigh:
		return ", above its usual range"
	case today.LoopFew, today.PlateFew, today.BedFew, today.TankFew:
		return "; too few before to say what is usual"
	}
	return ""
}

// little says that a value lies a little outside its usual range, of a line that
// asks for no look.
func little(l *today.Line, n today.Number) string {
	side := n.Side()
	if l.State != today.InOrder || verdict(l.Says) != "" || (side != "below" && side != "above") {
		return ""
	}
	low, high := today.Number{Key: n.Key, Unit: n.Unit, Value: n.Usual.Low}, today.Number{Key: n.Key, Unit: n.Unit, Value: n.Usual.High}
	if s := n.Shown(); s == low.Shown() || s == high.Shown() {
		return "" // not to be seen in what is printed
	}
	return ", a little " + side
}

// rangeText is the usual range with what it is made of.
func rangeText(n today.Number) string {
	if n.Usual == nil {
		return ""
	}
	return fmt.Sprintf("; usually %s (%.0f %% of %d %s before)", n.Usual.Shown(n.Key, n.Unit), 100*n.Usual.Share, n.Usual.N, n.Usual.Of)
}

func (p printer) tank(l *today.Line) string {
	n, ok := l.Number("tank_c")
	if !ok {
		return "no reading near the end."
	}
	return fmt.Sprintf("%s at %s%s%s%s.", n.Shown(), p.when(l, "at"), verdict(l.Says), little(l, n), strings.Replace(rangeText(n), "usually", "at this hour usually", 1))
}

func (p printer) heat(l *today.Line) string {
	var parts []string
	for _, x := range []struct{ key, label string }{{"yard", "yard"}, {"milk", "milk"}, {"socket", "socket"}} {
		n, ok := l.Number(x.key + "_kwh")
		if !ok {
			if l.Word(x.key) != "" {
				parts = append(parts, x.label+" not known")
			}
			continue
		}
		text := x.label + " " + n.Shown()
		if n.Usual != nil {
			text += fmt.Sprintf(" (usually %s", n.Usual.Shown(n.Key, n.Unit))
			if w := l.Word(x.key); w == "below" || w == "above" {
				text += ", " + w
			} else {
				text += little(l, n)
			}
			text += ")"
		} else {
			text += " (too few before to say)"
		}
		parts = append(parts, text)
	}
	end := "."
	for _, n := range l.Numbers {
		if n.Usual != nil {
			end = fmt.Sprintf("; %.0f %% of %d earlier stretches of two days.", 100*n.Usual.Share, n.Usual.N)
			break
		}
	}
	return strings.Join(parts, ", ") + end
}

func (p printer) bed(l *today.Line) string {
	var parts []string
	for _, n := range l.Numbers {
		if n.Key != "bed_c" {
			continue
		}
		text := n.Of + " " + n.Shown()
		if n.Usual != nil {
			text += " (usually " + n.Usual.Shown(n.Key, n.Unit) + little(l, n) + ")"
		}
		parts = append(parts, text)
	}
	if len(parts) == 0 {
		return "no reading near the end."
	}
	const most = 3
	if n := len(parts); n > most {
		parts = append(parts[:most], fmt.Sprintf("and %d more", n-most))
	}
	text := strings.Join(parts, ", ") + verdict(l.Says)
	if w := l.Word("event"); w != "" {
		text += fmt.Sprintf("; %s on %s", w, p.when(l, "event"))
	}
	return text + "."
}

func (p printer) cautions(l *today.Line) string {
	if len(l.Cautions) == 0 {
		return "none raised by these readings; that is no clearance."
	}
	c := l.Cautions[0]
	text := fmt.Sprintf("%s: %s.", c.ID, c.Because)
	if n := len(l.Cautions) - 1; n > 0 {
		var ids []string
		for _, c := range l.Cautions[1:] {
			ids = append(ids, c.ID)
		}
		text += " Also " + strings.Join(ids, ", ") + "."
	}
	return text
}

// nextSteps in our own words; none tells anybody to open a circuit.
var nextSteps = map[today.Finding]string{
	today.NextExports:   "export the loggers, put the files into the farm folder and ask again.",
	today.NextMilk:      "have the milk cooling looked at before anything else; recovery must not slow it.",
	today.NextColdTank:  "look why the tank was cool before the wash: thermostat, element, or more hot water drawn than usual.",
	today.NextShortHeat: "look at the element's timer and switch: it ran for less than usual before the wash.",
	today.NextWash:      "read the wash temperature by hand at the next wash.",
	today.NextWashNone:  "look whether the wash meter and its probe still count.",
	today.NextCautions:  "read the caution with what to do in the report (yardheat report).",
	today.NextLogger:    "look at that logger (battery, card, cable), or give its newer export.",
	today.NextClock:     "set that logger's clock, and state what it was off by (clock in [[log]] of farm.toml).",
	today.NextProbe:     "look at that probe and its cable; in the bed or at a switchboard not alone and not unqualified.",
	today.NextPump:      "look at the plate's pump and valves while the compressor runs.",
	today.NextPlate:     "look at the plate: flow, valves, fouling. The refrigerant side is for certified people.",
	today.NextLoop:      "look at the loop: flow, air, strainer, and its two probes.",
	today.NextTank:      "look what was drawn from the tank, and whether the element comes on.",
	today.NextHeat:      "look at the stage that gave less than usual, or at the element that took more.",
	today.NextBed:       "look at the bed from outside, and at its probes' readings.",
	today.NextTarget:    "state target_c under [wash] in farm.toml, so that washes can be judged.",
	today.NextGoOn:      "nothing above asks for a look; give the next exports when there are some.",
}
