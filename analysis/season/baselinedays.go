package season

import (
	"fmt"
	"math"
	"slices"

	"yardheat/analysis/account"
	"yardheat/analysis/baseline"
	"yardheat/analysis/doubt"
	"yardheat/ingest/farm"
)

// dayRow is one local day: the cycles that start in it, and which side it is on.
type dayRow struct {
	day    int
	cycles []int
	hours  float64
	side   string // a baseline's kind, "report", or "" (neither)
}

// days cuts the cycles into local days and says on which side each lies.
func (b *builder) days() []dayRow {
	var out []dayRow
	for i, c := range b.acc.Cycles {
		n := account.DayNumber(c.Start, b.acc.Zone)
		if len(out) == 0 || out[len(out)-1].day != n {
			out = append(out, dayRow{day: n})
		}
		d := &out[len(out)-1]
		d.cycles = append(d.cycles, i)
		d.hours += c.Hours()
	}
	for k := range out {
		out[k].side = b.side(&out[k])
	}
	return out
}

// span is a stretch of the farm file in Unix ms, ends open where none is given.
func span(s farm.Season) (from, to int64) {
	from, to = math.MinInt64, math.MaxInt64
	if !s.From.IsZero() {
		from = s.From.UnixMilli()
	}
	if !s.To.IsZero() {
		to = s.To.UnixMilli()
	}
	return from, to
}

// side of a day: inside a stretch without recovery, and settled; reported on; or
// neither.
func (b *builder) side(d *dayRow) string {
	o, f := b.opt.Baseline, b.rec.Farm
	for _, i := range d.cycles {
		if !b.acc.Cycles[i].Whole {
			return ""
		}
	}
	if d.hours < o.DayLeastH || d.hours > o.DayMostH {
		return ""
	}
	start, end := b.acc.Cycles[d.cycles[0]].Start, b.acc.Cycles[d.cycles[len(d.cycles)-1]].End
	settle := int64(o.SettleDays) * 24 * 3600 * 1000
	normal, inNormal := false, false
	for _, s := range f.Seasons {
		from, to := span(s)
		picked := slices.Contains(f.Baseline.Season, s.Name) && s.Name != ""
		if s.Kind == "normal" {
			if picked {
				normal, inNormal = true, inNormal || start >= from && end <= to
			}
			continue
		}
		switch {
		case from != math.MinInt64 && start >= from && start < from+settle, to != math.MaxInt64 && start >= to && start < to+settle:
			return ""
		case start >= from && start < to:
			if end > to || len(f.Baseline.Season) > 0 && b.namesKind(s.Kind) && !picked {
				return ""
			}
			return s.Kind
		case start < from && end > from:
			return ""
		}
	}
	if normal && !inNormal {
		return ""
	}
	return "report"
}

// namesKind: [baseline] names stretches of this kind.
func (b *builder) namesKind(kind string) bool {
	f := b.rec.Farm
	return slices.ContainsFunc(f.Seasons, func(s farm.Season) bool {
		return s.Kind == kind && s.Name != "" && slices.Contains(f.Baseline.Season, s.Name)
	})
}

// variable is one of the account's, a value a cycle: sums, and levels times the
// cycle's part of a day, so that a day is the sum of its cycles.
func (b *builder) variable(name string) []float64 {
	share := b.opt.Account.Cycle.CoveredShare
	out := make([]float64, len(b.acc.Cycles))
	for i, c := range b.acc.Cycles {
		day := c.Hours() / 24
		switch out[i] = nan; name {
		case farm.VariableConstant:
			out[i] = day
		case farm.VariableHeat:
			out[i] = b.acc.Row(i, share).BaselineHeatKWh
		case farm.VariableTank:
			// The element fills what an earlier wash took. How much of it the probes see
			// is left to a coefficient of its own: a probe on top scales it.
			if b.acc.Store.Why == "" {
				out[i] = b.acc.Store.ChangeKWh[i]
			}
		case farm.VariableMilk:
			if b.acc.Milk.Rows != nil {
				out[i] = b.acc.Milk.Rows[i].Litres
			}
		case farm.VariableFeed:
			if b.acc.Feed != nil {
				out[i] = b.acc.Feed[i].TempC * day
			}
		case milkHeat:
			out[i] = b.acc.Row(i, share).MilkKWh
		case outdoorC:
			if s := b.grid.Stream("outdoor_temp"); s != nil {
				mean, n := meanOf(s.Values[c.A:c.B])
				if float64(n) >= 0.5*float64(c.B-c.A) {
					out[i] = mean * day
				}
			}
		}
	}
	return out
}

// Variables of the compressor's model.
const (
	milkHeat = "milk_heat"
	outdoorC = "outdoor_temp"
)

// variableWords are labels and units, a day.
var variableWords = map[string][2]string{
	farm.VariableConstant: {"a day", "kWh"}, farm.VariableHeat: {"heat delivered", "kWh"}, farm.VariableTank: {"change of the tank's heat", "kWh"}, farm.VariableMilk: {"milk", "L"},
	farm.VariableFeed: {"cold feed", "degC"}, milkHeat: {"heat taken from the milk", "kWh"}, outdoorC: {"outdoor temperature", "degC"},
}

// table is y and the variables by day.
type table struct {
	names []string
	y     []float64   // a cycle
	x     [][]float64 // by variable, a cycle
	days  []dayRow
}

func (b *builder) table(days []dayRow, names []string, y []float64) *table {
	t := &table{names: names, y: y, days: days}
	for _, n := range names {
		t.x = append(t.x, b.variable(n))
	}
	return t
}

// picked are the days of a side in which everything is known.
func (t *table) picked(side string) []dayRow {
	var out []dayRow
	for _, d := range t.days {
		if d.side != side {
			continue
		}
		sum := 0.0
		for _, i := range d.cycles {
			sum += t.y[i]
			for _, x := range t.x {
				sum += x[i]
			}
		}
		if !math.IsNaN(sum) {
			out = append(out, d)
		}
	}
	return out
}

// rows of days, as the fit takes them.
func (t *table) rows(days []dayRow) baseline.Rows {
	r := baseline.Rows{Constant: slices.Index(t.names, farm.VariableConstant)}
	for _, n := range t.names {
		r.Names = append(r.Names, variableWords[n][0])
	}
	for _, d := range days {
		y, x := 0.0, make([]float64, len(t.names))
		for _, i := range d.cycles {
			y += t.y[i]
			for j := range x {
				x[j] += t.x[j][i]
			}
		}
		r.Day, r.Y, r.X = append(r.Day, d.day), append(r.Y, y), append(r.X, x)
	}
	return r
}

// cycle is a cycle's variables.
func (t *table) cycle(i int) []float64 {
	x := make([]float64, len(t.x))
	for j := range x {
		x[j] = t.x[j][i]
	}
	return x
}

// byCycle spreads a value a day over the cycles of the days.
func byCycle(days []dayRow, of []float64, n int) []float64 {
	out := make([]float64, n)
	for k, d := range days {
		for _, i := range d.cycles {
			out[i] = of[k]
		}
	}
	return out
}

// weighted are parts with a weight a cycle.
func weighted(parts []doubt.Part, weight []float64) []doubt.Part {
	out := make([]doubt.Part, len(parts))
	for k, p := range parts {
		out[k] = p.Scaled(weight)
	}
	return out
}

func cyclesOf(days []dayRow) []int {
	var out []int
	for _, d := range days {
		out = append(out, d.cycles...)
	}
	return out
}

// outsideText says which variable leaves its range, by how much and how often.
func outsideText(o baseline.Outside, name string) string {
	unit := doubt.ShowUnit(variableWords[name][1])
	return fmt.Sprintf("On %d of the %d days reported on %s lay outside what the baseline's days had (%.4g to %.4g %s; reported on: %.4g to %.4g): for these the model is carried beyond what was seen.",
		o.Days, o.Of, o.Name, o.Low, o.High, unit, o.Lowest, o.Highest)
}
