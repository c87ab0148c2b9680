package workbook

import (
	"fmt"
	"math"
	"strings"
	"time"

	"yardheat/analysis/season"
	"yardheat/reports/internal/rows"
)

// sheets are the workbook's, in their order.
func sheets(s *season.Season, zone *time.Location) []table {
	b := newBooks(s, zone)
	out := []table{summary(s, b), assumptions(s), months(s, b), b.cycles.table()}
	if b.ready() {
		out = append(out, b.wholeTable, b.unseen.table())
	}
	out = append(out,
		listed("Draws", rows.Draws(), s.Draws, zone),
		listed("Washes", rows.Washes(), s.Washes.List, zone),
		fits(s, b, zone), changes(s, zone), plateWeeks(s, zone), baselines(s, b, zone), budget(s), sensors(s), improve(s), matched(s), sources(s, zone), problems(s, zone), definitions(s, b))
	return append(out, auditSheets(s, zone)...)
}

// listed is a table of rows in the columns that the CSV has too; a time takes
// two, UTC and local.
func listed[T any](name string, columns []rows.Column[T], list []T, zone *time.Location) table {
	t := table{name: name}
	for _, c := range columns {
		t.heads = append(t.heads, headsOf(c)...)
	}
	for i := range list {
		t.rows = append(t.rows, rowOf(columns, &list[i], zone))
	}
	return t
}

// headsOf are a column's one or two headers.
func headsOf[T any](c rows.Column[T]) []head {
	switch c.Kind {
	case rows.Time:
		return []head{{c.Head + " (UTC)", 20}, {c.Head + " (local)", 20}}
	case rows.Text:
		return []head{{c.Head, 16}}
	}
	return []head{{withUnit(c.Head, c.Unit), 13}}
}

// drawsColumn is a column of the sheet Draws as a person finds it.
func drawsColumn(key string, n int) string {
	at := 0
	for _, c := range rows.Draws() {
		if c.Key == key {
			return fmt.Sprintf("Draws!%s%d:%s%d", letter(at), firstRow, letter(at), max(n, 1)-1+firstRow)
		}
		at += len(headsOf(c))
	}
	return "Draws"
}

func rowOf[T any](columns []rows.Column[T], of *T, zone *time.Location) []any {
	var out []any
	for _, c := range columns {
		switch c.Kind {
		case rows.Time:
			out = append(out, stampOf(c.At(of), time.UTC), stampOf(c.At(of), zone))
		case rows.Text:
			out = append(out, c.Text(of))
		case rows.YesNo:
			out = append(out, c.Number(of) == 1)
		default:
			out = append(out, number{c.Number(of), c.Decimals})
		}
	}
	return out
}

func withUnit(text, unit string) string {
	if unit == "" || unit == "1" {
		return text
	}
	return text + " (" + unit + ")"
}

// figureHeads are the columns of a table of figures, after the first ones.
func figureHeads(first ...head) []head {
	return append(first, head{"Value (in the unit)", 14}, head{"As reported", 14}, head{"Difference", 11}, head{"Low end", 14}, head{"High end", 14}, head{"Unit", 10},
		head{"As shown in the report", 26}, head{"Basis", 11}, head{"Confidence", 11}, head{"Cycles or draws", 9},
		head{"Share of the period seen", 12}, head{"Comes from", 60}, head{"Why missing", 40})
}

// figureCells are a figure's cells: its value as a formula where e gives one.
func figureCells(f season.Figure, e expr, first ...any) []any {
	if f.Basis == "" { // never filled in: its zeros are no measurement
		return first
	}
	d := decimalsOf(f)
	var difference any
	if follows(f, e) {
		difference = differs(len(first), d)
	}
	return append(first, liveValue(f, e), number{f.Value, d}, difference, number{f.Low, d}, number{f.High, d}, f.Unit, f.Shown, string(f.Basis),
		number{f.Confidence, 2}, f.N, number{f.Coverage, 3}, cameFrom(f, e), f.Why)
}

// differs is the value in a column less that in the next, as reported; what the
// last digit of a sum does is no difference.
func differs(column, decimals int) byRow {
	return func(row int) any {
		now, was := letter(column), letter(column+1)
		return formula{fmt.Sprintf("IF(ABS(%s%d-%s%d)<=0.000000001*ABS(%s%d),0,%s%d-%s%d)", now, row, was, row, was, row, now, row, was, row), 0, decimals}
	}
}

// cameFrom says where a figure's value comes from.
func cameFrom(f season.Figure, e expr) string {
	switch {
	case math.IsNaN(f.Value):
		return ""
	case follows(f, e):
		return e.from
	case !e.known() && e.from != "":
		return "value, no formula: " + e.from
	}
	return "value, no formula: from the readings (record.csv)"
}

// decimalsOf shows two digits more than the interval warrants.
func decimalsOf(f season.Figure) int {
	size := f.High - f.Low
	if !(size > 0) {
		size = math.Abs(f.Value) / 100
	}
	if !(size > 0) {
		return 1
	}
	return min(max(1-int(math.Floor(math.Log10(size))), 0), mostDecimals)
}

func summary(s *season.Season, b *books) table {
	t := table{name: "Summary", title: "Season of " + s.Farm, under: checkRow(s),
		heads: figureHeads(head{"About", 24}, head{"Figure", 40}, head{"Key in results.json", 24})}
	in := b.all()
	one := func(about string, n season.Named, e expr) {
		t.rows = append(t.rows, figureCells(n.Figure, e, about, n.Label, n.Key))
	}
	add := func(about, group, before string, list []season.Named) {
		for _, n := range list {
			one(about, n, b.recalc(group, before+n.Key, in))
		}
	}
	for _, n := range s.Headline {
		e := b.recalcIn(n.Key, in)
		if n.Key == "ua_w_per_k" {
			e.from = b.fitOf("Loop")
		}
		one("At a glance", n, e)
	}
	add("Heat, as seen", ofSeen, "", s.Heat.Seen)
	add("Heat, whole period", ofWhole, "", s.Heat.Whole)
	add("Electricity", ofSeen, "", s.Electricity)
	add("Saving, as seen", ofSaving, "", s.Saving.Figures)
	add("Saving, whole period", ofWhole, "saving:", s.Saving.Whole)
	add("Saving, its lines", ofSaving, "", []season.Named{{Key: "money_not_spent", Label: "Not bought", Figure: s.Saving.FuelMoney},
		{Key: "money_spent", Label: "Bought", Figure: s.Saving.PowerMoney}})
	add("Bed", ofBed, "", s.Bed)
	for _, step := range s.Ladder {
		one("Ladder: "+step.Step, season.Named{Key: "temp_c", Label: "Temperature", Figure: step.TempC}, expr{from: b.rungOf(step.Step)})
		one("Ladder: "+step.Step, season.Named{Key: "gained_kwh", Label: "Heat gained", Figure: step.GainedKWh}, b.recalc(ofSeen, gainedBy[step.Step], in))
	}
	return t
}

// gainedBy is the heat of a rung of the ladder.
var gainedBy = map[string]string{"loop": "loop_kwh", "plate": "plant_kwh", "element": "element_kwh", "wash": "wash_kwh"}

// monthLine is one row of the sheet Months.
type monthLine struct {
	name, kind string
	figures    []season.Named
	in         span
	month      bool
	counts     season.Month
}

// monthLines are the months, then the stretches of the farm file; each is a run
// of cycles.
func monthLines(s *season.Season) []monthLine {
	var out []monthLine
	run := func(in func(c *season.CycleRow) bool) span {
		from, to := -1, 0
		for i := range s.Cycles {
			if in(&s.Cycles[i]) {
				if from < 0 {
					from = i
				}
				to = i + 1
			}
		}
		return span{max(from, 0), to}
	}
	for _, m := range s.Months {
		out = append(out, monthLine{m.Month, "month", m.Figures, run(func(c *season.CycleRow) bool { return c.Month == m.Month }), true, m})
	}
	for _, x := range s.Seasons {
		out = append(out, monthLine{x.Name, x.Kind, x.Figures, run(func(c *season.CycleRow) bool { return c.Start >= x.From && c.Start < x.To }), false, season.Month{}})
	}
	return out
}

// countCells are a month's cycles and litres.
func (b *books) countCells(l monthLine) []any {
	if !l.month {
		return make([]any, 5)
	}
	cells := make([]any, 0, 5)
	for _, c := range []struct {
		key, how string
		v        float64
	}{{"cycle", "COUNT(%s)", float64(l.counts.Cycles)}, {"milk_l", "SUM(%s)", l.counts.MilkL}, {"loop_l", "SUM(%s)", l.counts.LoopL},
		{"plate_l", "SUM(%s)", l.counts.PlateL}, {"wash_l", "SUM(%s)", l.counts.WashL}} {
		if !b.ready() || l.in.from >= l.in.to {
			cells = append(cells, number{c.v, 0})
			continue
		}
		cells = append(cells, formula{fmt.Sprintf(c.how, b.cycles.ref(c.key, l.in)), c.v, 0})
	}
	return cells
}

// months has a row a month, then a row a stretch of the farm file; a figure
// takes four columns.
func months(s *season.Season, b *books) table {
	lines := monthLines(s)
	t := table{name: "Months", heads: []head{{"Month or season", 18}, {"Kind", 13}, {"Rows of Cycles", 12}, {"Cycles", 10},
		{"Milk (L)", 12}, {"Water through the loop (L)", 14}, {"Water through the plate (L)", 14}, {"Wash water (L)", 12}}}
	at := map[string]int{} // column of a key's value
	for _, l := range lines {
		for _, n := range l.figures {
			if _, ok := at[n.Key]; !ok {
				at[n.Key] = len(t.heads)
				for _, tail := range []string{"", ", as reported", ", low end", ", high end"} {
					t.heads = append(t.heads, head{withUnit(n.Label+tail, n.Figure.Unit), 14})
				}
			}
		}
	}
	for _, l := range lines {
		row := make([]any, len(t.heads))
		row[0], row[1] = l.name, l.kind
		if l.in.from < l.in.to {
			row[2] = fmt.Sprintf("%d to %d", l.in.from+firstRow, l.in.to-1+firstRow)
		}
		copy(row[3:], b.countCells(l))
		for _, n := range l.figures {
			if n.Figure.Basis == "" {
				continue
			}
			d := decimalsOf(n.Figure)
			copy(row[at[n.Key]:], []any{liveValue(n.Figure, b.recalcIn(n.Key, l.in)), number{n.Figure.Value, d}, number{n.Figure.Low, d}, number{n.Figure.High, d}})
		}
		t.rows = append(t.rows, row)
	}
	return t
}

func fits(s *season.Season, b *books, zone *time.Location) table {
	t := table{name: "Fits", heads: figureHeads(head{"Of", 20}, head{"Figure", 40}, head{"Key in results.json", 24},
		head{"From (UTC)", 20}, head{"From (local)", 20}, head{"To (UTC)", 20}, head{"To (local)", 20})}
	add := func(of, label, key string, from, to int64, f season.Figure) {
		e := expr{from: b.fitOf(of)}
		if x := b.recalc(ofPlant, key, b.all()); of == "Plant" && x.known() {
			e = x
		}
		t.rows = append(t.rows, figureCells(f, e, of, label, key, stampOf(from, time.UTC), stampOf(from, zone),
			stampOf(to, time.UTC), stampOf(to, zone)))
	}
	for _, n := range s.Loop.Figures {
		add("Loop", n.Label, n.Key, 0, 0, n.Figure)
	}
	if l := s.Loop; l.ModelWhy != "" {
		t.rows = append(t.rows, []any{"Loop", "Model: " + l.Model + " (" + l.ModelWhy + ")", "model"})
	}
	for _, n := range s.Plant.Figures {
		add("Plant", n.Label, n.Key, 0, 0, n.Figure)
	}
	add("Plant", "Caught against rejected: slope", "", 0, 0, s.Plant.Slope)
	add("Plant", "Caught against rejected: intercept", "", 0, 0, s.Plant.InterceptKWh)
	for _, p := range s.Pictures.UA {
		add("Stretch of days", "Loop: heat-transfer coefficient UA", "ua_w_per_k", p.From, p.To, p.UA)
	}
	return t
}

// plateWeeks has a row a week of the plate; a figure takes five columns.
func plateWeeks(s *season.Season, zone *time.Location) table {
	t := table{name: "Plate by week", heads: []head{{"From (UTC)", 20}, {"From (local)", 20}, {"To (UTC)", 20}, {"To (local)", 20}, {"Cycles", 10}}}
	for i, w := range s.Plant.Weeks {
		row := []any{stampOf(w.From, time.UTC), stampOf(w.From, zone), stampOf(w.To, time.UTC), stampOf(w.To, zone), number{float64(w.Cycles), 0}}
		for k, n := range w.Figures {
			if i == 0 {
				unit := func(text string) head { return head{withUnit(n.Label+text, n.Figure.Unit), 14} }
				t.heads = append(t.heads, unit(""), unit(", low end"), unit(", high end"), unit(", own low end"), unit(", own high end"))
			}
			d := decimalsOf(n.Figure)
			row = append(row, number{n.Figure.Value, d}, number{n.Figure.Low, d}, number{n.Figure.High, d}, number{w.Own[k].Figure.Low, d}, number{w.Own[k].Figure.High, d})
		}
		t.rows = append(t.rows, row)
	}
	return t
}

// changes are the steps on a date; the readings name no cause.
func changes(s *season.Season, zone *time.Location) table {
	t := table{name: "Changes", heads: []head{{"Date (UTC)", 20}, {"Date (local)", 20}, {"Not before (UTC)", 20}, {"Not after (UTC)", 20}, {"What changed", 36}, {"Key", 20},
		{"Unit", 10}, {"Before", 11}, {"Before, low end", 11}, {"Before, high end", 11}, {"After", 11}, {"After, low end", 11}, {"After, high end", 11},
		{"Unit of the step", 10}, {"Step", 11}, {"Step, low end", 11}, {"Step, high end", 11}, {"On the farm near that date", 40}, {"In words", 80}}}
	for _, c := range append(append([]season.Change{}, s.Loop.Changes...), s.Plant.Changes...) {
		var events []string
		for _, e := range c.Events {
			events = append(events, e.What+" ("+time.UnixMilli(e.At).In(zone).Format("2006-01-02")+")")
		}
		row := []any{stampOf(c.At, time.UTC), stampOf(c.At, zone), stampOf(c.AtLow, time.UTC), stampOf(c.AtHigh, time.UTC), c.Label, c.Of, c.Before.Unit}
		row = append(append(row, ends(c.Before)...), ends(c.After)...)
		row = append(append(row, c.Size.Unit), ends(c.Size)...)
		t.rows = append(t.rows, append(row, strings.Join(events, ", "), c.Text))
	}
	return t
}

// ends are a figure's value and interval; one that nobody filled in is empty.
func ends(f season.Figure) []any {
	if f.Basis == "" {
		return []any{nil, nil, nil}
	}
	d := decimalsOf(f)
	return []any{number{f.Value, d}, number{f.Low, d}, number{f.High, d}}
}

// labelsOf are the words for each key that budget and advice tell of.
func labelsOf(s *season.Season) map[string]string {
	out := map[string]string{}
	for _, list := range [][]season.Named{s.Headline, s.Saving.Figures, s.Heat.Seen, s.Electricity, s.Loop.Figures, s.Plant.Figures} {
		for _, n := range list {
			if out[n.Key] == "" {
				out[n.Key] = n.Label
			}
		}
	}
	return out
}

func budget(s *season.Season) table {
	words := labelsOf(s)
	t := table{name: "Budget", heads: []head{{"Figure", 36}, {"Key in results.json", 20}, {"Source of error", 40}, {"Kind", 10}, {"Share of the variance", 12},
		{"Its own error (95 %)", 20}, {"Assumed", 10}}}
	for _, r := range s.Budget {
		t.rows = append(t.rows, []any{words[r.Figure], r.Figure, r.Source, r.Kind, number{r.Share, 3}, r.Error, r.Assumed})
	}
	return t
}

// sensors is the budget by instrument, a column a headline figure.
func sensors(s *season.Season) table {
	t := table{name: "By instrument", heads: []head{{"Instrument or figure", 40}, {"Kind", 10}, {"Its own error (95 %)", 20}, {"Assumed", 10}}}
	for _, h := range s.Headline {
		t.heads = append(t.heads, head{h.Label, 16})
	}
	for _, r := range s.Sensors {
		row := []any{r.Sensor, r.Kind, r.Error, r.Assumed}
		for _, h := range s.Headline {
			var cell any
			for _, x := range r.Shares {
				if x.Figure == h.Key {
					cell = number{x.Share, 3}
				}
			}
			row = append(row, cell)
		}
		t.rows = append(t.rows, row)
	}
	return t
}

func improve(s *season.Season) table {
	words := labelsOf(s)
	t := table{name: "Improve", heads: []head{{"Figure", 36}, {"Key in results.json", 20}, {"In one line", 120}, {"Narrower by (share)", 12}, {"Then: low end", 14}, {"Then: high end", 14}, {"Unit", 8}}}
	for _, x := range s.Improve {
		t.rows = append(t.rows, []any{words[x.Figure], x.Figure, x.Text, number{x.Narrower, 2}, number{x.Then.Low, 2}, number{x.Then.High, 2}, x.Then.Unit})
	}
	return t
}

// matched: the probes held against each other, then what was taken off and the
// figures without that.
func matched(s *season.Season) table {
	t := table{name: "Compared probes", heads: []head{{"First probe, or figure", 36}, {"Other probe", 36}, {"From", 10}, {"Used", 8}, {"Difference or value", 18},
		{"Low end", 12}, {"High end", 12}, {"Unit", 8}, {"Stretches", 10}, {"Why not", 80}}}
	for _, p := range s.Matched.Pairs {
		t.rows = append(t.rows, []any{p.Probes[0], p.Probes[1], p.From, p.Applied, number{p.Offset.Value, 3}, number{p.Offset.Low, 3}, number{p.Offset.High, 3}, "K", p.Stretches, p.Why})
	}
	for _, x := range s.Matched.Taken {
		t.rows = append(t.rows, []any{x.Probe, "", "taken off", true, number{x.K, 3}, nil, nil, "K"})
	}
	for _, n := range s.Matched.Before {
		f := n.Figure
		t.rows = append(t.rows, []any{n.Label, "", "before", false, number{f.Value, 3}, number{f.Low, 3}, number{f.High, 3}, f.Unit})
	}
	return t
}

func sources(s *season.Season, zone *time.Location) table {
	t := table{name: "Sources", heads: []head{{"File", 30}, {"Sheet", 14}, {"Size (bytes)", 12}, {"SHA-256", 66}, {"Rows", 9}, {"Rows kept", 9}, {"Readings flagged", 34},
		{"First (UTC)", 20}, {"First (local)", 20}, {"Last (UTC)", 20}, {"Last (local)", 20}, {"Zone of the stamps", 16},
		{"Clock ahead (s)", 11}, {"Clock drift (s per day)", 11}, {"Clock", 11}, {"Corrections", 60}, {"Columns not read", 40}}}
	for _, f := range s.Files {
		t.rows = append(t.rows, []any{f.Name, f.Sheet, number{float64(f.SizeB), 0}, f.SHA256, f.Rows, f.Kept, f.FlagText(),
			stampOf(f.First, time.UTC), stampOf(f.First, zone), stampOf(f.Last, time.UTC), stampOf(f.Last, zone), f.Zone,
			number{f.Clock.AheadS, 1}, number{f.Clock.DriftSPerDay, 2}, f.Clock.From,
			strings.Join(f.Corrections, "; "), strings.Join(f.Ignored, "; ")})
	}
	return t
}

// problems lists what was doubtful in the input, then what the report warns
// of.
func problems(s *season.Season, zone *time.Location) table {
	t := table{name: "Problems", heads: []head{{"Code", 24}, {"Severity", 12}, {"File", 28}, {"Where", 24}, {"What", 90}, {"Because", 50},
		{"First (UTC)", 20}, {"First (local)", 20}, {"Last (UTC)", 20}, {"Last (local)", 20}}}
	for _, p := range s.Problems {
		t.rows = append(t.rows, []any{p.Code, string(p.Severity), p.File, p.Where, p.Text})
	}
	for _, c := range s.Cautions {
		t.rows = append(t.rows, []any{c.ID, "caution", nil, nil, c.Text, c.Because, stampOf(c.First, time.UTC), stampOf(c.First, zone),
			stampOf(c.Last, time.UTC), stampOf(c.Last, zone)})
	}
	for _, text := range s.Standing {
		t.rows = append(t.rows, []any{"standing-note", "caution", nil, nil, text})
	}
	return t
}
