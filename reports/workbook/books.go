package workbook

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"yardheat/analysis/season"
	"yardheat/reports/internal/rows"
)

// The sheets that formulas reach into.
const (
	cyclesName      = "Cycles"
	unseenName      = "Not seen"
	wholeName       = "Whole period"
	assumptionsName = "Assumptions"
)

// formula is a cell that a spreadsheet computes again; cached is what it gives as
// reported. Its text is made of references and names of functions, never of text
// from the farm.
type formula struct {
	text     string
	cached   float64
	decimals int
}

// grownColumn is one column of a sheet that formulas reach into: a value a row.
type grownColumn struct {
	key  string
	head head
	cell func(i int) any
}

// grown is a sheet of columns by cycle, and where each stands.
type grown struct {
	name    string
	columns []grownColumn
	at      map[string]int // index of a column's first cell, by key
	n       int
}

func (g *grown) add(key, text string, width float64, cell func(i int) any) {
	g.at[key] = len(g.columns)
	g.columns = append(g.columns, grownColumn{key, head{text, width}, cell})
}

func (g *grown) has(key string) bool {
	_, ok := g.at[key]
	return ok
}

func (g *grown) table() table {
	t := table{name: g.name}
	for _, c := range g.columns {
		t.heads = append(t.heads, c.head)
	}
	for i := range g.n {
		row := make([]any, len(g.columns))
		for k, c := range g.columns {
			row[k] = c.cell(i)
		}
		t.rows = append(t.rows, row)
	}
	return t
}

// letter is a column's letter, right past Z.
func letter(column int) string {
	name, err := excelize.ColumnNumberToName(column + 1)
	if err != nil {
		panic(err) // more columns than a sheet has
	}
	return name
}

// span is a range of cycles, [from, to): the whole period, a month, a stretch.
type span struct{ from, to int }

// firstRow of a sheet of cycles: below its headers.
const firstRow = 2

// ref is a column's range on its sheet as a formula writes it; without the sheet
// and the signs as a person reads it.
func (g *grown) ref(key string, in span) string {
	c := letter(g.at[key])
	return fmt.Sprintf("%s!$%s$%d:$%s$%d", quoted(g.name), c, in.from+firstRow, c, in.to-1+firstRow)
}

func (g *grown) said(key string, in span) string {
	c := letter(g.at[key])
	return fmt.Sprintf("%s!%s%d:%s%d", g.name, c, in.from+firstRow, c, in.to-1+firstRow)
}

// cell is one cell of the same row, or of the same cycle on another sheet.
func (g *grown) cell(key string, i int) string {
	return fmt.Sprintf("%s%d", letter(g.at[key]), i+firstRow)
}

func (g *grown) cellFrom(key string, i int) string {
	return quoted(g.name) + "!" + g.cell(key, i)
}

func quoted(sheet string) string {
	if strings.ContainsRune(sheet, ' ') {
		return "'" + sheet + "'"
	}
	return sheet
}

// books are the sheets that totals are computed from, with the place of each
// column.
type books struct {
	s      *season.Season
	l      *season.Ledger
	cycles *grown
	unseen *grown
	// assumed and whole are the rows of their sheets, by key.
	assumed, wholeRow map[string]int
	wholeTable        table
}

func newBooks(s *season.Season, zone *time.Location) *books {
	b := &books{s: s, l: &s.Ledger, assumed: map[string]int{}, wholeRow: map[string]int{}}
	for i, a := range s.Ledger.Assumptions {
		if _, twice := b.assumed[a.Key]; !twice {
			b.assumed[a.Key] = i + firstRow
		}
	}
	b.cyclesSheet(zone)
	if b.ready() {
		b.unseenSheet()
		b.wholeSheet()
	}
	return b
}

// ready: there is a ledger for the cycles. (A season made by hand may have none.)
func (b *books) ready() bool { return len(b.s.Cycles) > 0 && len(b.l.Hours) == len(b.s.Cycles) }

func (b *books) all() span { return span{0, len(b.s.Cycles)} }

// value is an assumption's cell; 0 where the farm has none.
func (b *books) value(key string) string {
	row, ok := b.assumed[key]
	if !ok {
		return "0"
	}
	return fmt.Sprintf("%s!$%s$%d", assumptionsName, letter(assumedValue), row)
}

func (b *books) knows(key string) bool {
	_, ok := b.assumed[key]
	return ok
}

func (b *books) term(key string) *season.LedgerTerm {
	for i := range b.l.Terms {
		if b.l.Terms[i].Key == key {
			return &b.l.Terms[i]
		}
	}
	return nil
}

// flag is 1 or 0, so that every spreadsheet adds and compares it alike.
func flag(of []bool) func(i int) any {
	return func(i int) any {
		if of[i] {
			return number{1, 0}
		}
		return number{0, 0}
	}
}

func values(of []float64, decimals int) func(i int) any {
	return func(i int) any { return number{of[i], decimals} }
}

// live is a formula by row with what it gives; a row whose value is not known
// stays empty.
func live(decimals int, text func(i int) string, cached func(i int) float64) func(i int) any {
	return func(i int) any {
		v := cached(i)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		return formula{text(i), v, decimals}
	}
}

// cyclesSheet is the columns that milkings.csv has too, then those that totals
// are made of.
func (b *books) cyclesSheet(zone *time.Location) {
	g := &grown{name: cyclesName, at: map[string]int{}, n: len(b.s.Cycles)}
	b.cycles = g
	shared := b.sharedFormulas()
	for _, c := range rows.Cycles() {
		switch {
		case c.Kind == rows.Time:
			two := headsOf(c)
			g.add(c.Key, two[0].text, 20, func(i int) any { return stampOf(c.At(&b.s.Cycles[i]), time.UTC) })
			g.add(c.Key+"_local", two[1].text, 20, func(i int) any { return stampOf(c.At(&b.s.Cycles[i]), zone) })
		case c.Kind == rows.Text:
			g.add(c.Key, c.Head, 16, func(i int) any { return c.Text(&b.s.Cycles[i]) })
		case c.Kind == rows.YesNo:
			g.add(c.Key, c.Head, 13, func(i int) any { return c.Number(&b.s.Cycles[i]) == 1 })
		case shared[c.Key] != nil:
			g.add(c.Key, withUnit(c.Head, c.Unit), 13, live(c.Decimals, shared[c.Key], func(i int) float64 { return c.Number(&b.s.Cycles[i]) }))
		default:
			g.add(c.Key, withUnit(c.Head, c.Unit), 13, func(i int) any { return number{c.Number(&b.s.Cycles[i]), c.Decimals} })
		}
	}
	if b.ready() {
		b.termColumns()
		b.moneyColumns()
		b.countColumns()
	}
}

// sharedFormulas are the columns of a cycle that follow from others in its row.
func (b *books) sharedFormulas() map[string]func(i int) string {
	if !b.ready() {
		return nil
	}
	g := b.cycles
	out := map[string]func(i int) string{
		"unexplained_kwh": func(i int) string {
			return fmt.Sprintf("%s+%s+%s-%s-%s-%s-%s", g.cell("loop_kwh", i), g.cell("plant_kwh", i), g.cell("element_kwh", i),
				g.cell("wash_kwh", i), g.cell("other_use_kwh", i), g.cell("loss_kwh", i), g.cell("store_change_kwh", i))
		},
	}
	if b.knows("milk.density_kg_per_l") {
		out["milk_kwh"] = func(i int) string {
			return fmt.Sprintf("%s*%s*%s*(%s-%s)/3600", g.cell("milk_l", i), b.value("milk.density_kg_per_l"), b.value("milk.specific_heat_kj_per_kg_k"),
				g.cell("milk_in_c", i), g.cell("milk_out_c", i))
		}
	}
	if b.l.Alternative && b.term("wash_kwh") != nil && b.knows("instead.efficiency") {
		out["baseline_kwh"] = func(i int) string {
			return fmt.Sprintf("(%s)/%s+%s*%s/24", b.heat(i), b.value("instead.efficiency"), b.value("instead.standing_loss_kwh_per_day"), g.cell("hours", i))
		}
		out["saved_kwh"] = func(i int) string {
			return fmt.Sprintf("%s-%s-%s", g.cell("baseline_kwh", i), g.cell("element_kwh", i), g.cell("pump_kwh", i))
		}
	}
	return out
}

// heat is the heat that the alternative would have had to give in a cycle.
func (b *books) heat(i int) string {
	return fmt.Sprintf("%s+%s-%s", b.cycles.cell("wash_kwh", i), b.cycles.cell("other_use_kwh", i), b.cycles.cell("above_kwh", i))
}

// seenKey is the column of a term's kWh as seen; lineKey of those at one price.
func seenKey(term string) string           { return "seen:" + term }
func lineKey(term string, line int) string { return fmt.Sprintf("line:%s:%d", term, line) }

func (b *books) termColumns() {
	g := b.cycles
	g.add("hours", "Length (h)", 10, values(b.l.Hours, 2))
	for _, t := range b.l.Terms {
		g.add(seenKey(t.Key), t.Label+", as seen, covered or not (kWh)", 14, values(t.SeenKWh, 2))
	}
	if b.l.AboveKWh != nil {
		g.add("above_kwh", "Of wash and other use: above what the element heats to (kWh)", 14, values(b.l.AboveKWh, 2))
	}
	if b.l.SunLowKWh != nil {
		g.add("sun_low", "Element from own solar, low end (kWh)", 14, values(b.l.SunLowKWh, 2))
		g.add("sun_high", "Element from own solar, high end (kWh)", 14, values(b.l.SunHighKWh, 2))
	}
}

// sun is the own solar taken in a cycle: midway between both ends.
func (b *books) sun(i int) string {
	if b.l.SunLowKWh == nil {
		return "0"
	}
	return fmt.Sprintf("(%s+%s)/2", b.cycles.cell("sun_low", i), b.cycles.cell("sun_high", i))
}

// powerTerms are the uses of electricity that are bought for the water.
func (b *books) powerTerms() []*season.LedgerTerm {
	var out []*season.LedgerTerm
	for _, key := range []string{"element_kwh", "pump_kwh"} {
		if t := b.term(key); t != nil && t.ByLine != nil {
			out = append(out, t)
		}
	}
	return out
}

func (b *books) moneyColumns() {
	g, l := b.cycles, b.l
	if l.FuelLine == nil {
		return
	}
	for k, line := range l.PowerLine {
		price := b.said(line)
		for _, t := range b.powerTerms() {
			g.add(lineKey(t.Key, k), t.Label+" at "+price+" (kWh)", 14, values(t.ByLine[k], 2))
		}
		if l.SunByLine != nil {
			g.add(lineKey(season.SunTerm, k), "Own solar at the hours of "+price+" (kWh)", 14, values(l.SunByLine[k], 2))
		}
	}
	g.add("power_cost", withUnit("Bought", b.s.Saving.Currency), 12, live(3, b.spent, func(i int) float64 { return l.PowerCost[i] }))
	if !l.Alternative {
		return
	}
	g.add("fuel_price", "Price of the carrier", 12, func(i int) any {
		if !b.knows(l.FuelLine[i]) {
			return nil
		}
		return formula{b.value(l.FuelLine[i]), l.Assumptions[b.assumed[l.FuelLine[i]]-firstRow].Value, 4}
	})
	g.add("fuel_cost", withUnit("Not bought", b.s.Saving.Currency), 12, live(3,
		func(i int) string { return g.cell("baseline_kwh", i) + "*" + g.cell("fuel_price", i) },
		func(i int) float64 { return l.FuelCost[i] }))
}

// said is an assumption as a person finds it.
func (b *books) said(key string) string {
	return fmt.Sprintf("%s!%s%d", assumptionsName, letter(assumedValue), b.assumed[key])
}

// spent: every kWh at its price, less the own solar, and that at what it would
// have earned.
func (b *books) spent(i int) string {
	var at []string
	for k, line := range b.l.PowerLine {
		var kwh []string
		for _, t := range b.powerTerms() {
			kwh = append(kwh, b.cycles.cell(lineKey(t.Key, k), i))
		}
		sum := strings.Join(kwh, "+")
		if b.l.SunByLine != nil {
			sum += "-" + b.cycles.cell(lineKey(season.SunTerm, k), i)
		}
		at = append(at, fmt.Sprintf("(%s)*%s", sum, b.value(line)))
	}
	text := strings.Join(at, "+")
	if b.l.SunLowKWh != nil {
		text += fmt.Sprintf("+%s*%s", b.sun(i), b.value("electricity.export_price_per_kwh"))
	}
	return text
}

func (b *books) countColumns() {
	g := b.cycles
	g.add("counts_saving", "Counts for the saving (1: every term covered)", 12, flag(b.l.CountsSaving))
	g.add("counts_unexplained", "Counts for the unexplained (1: whole, every term)", 12, flag(b.l.CountsUnexplained))
	g.add("counts_unused", "Counts for the heat not used (1: whole, every term but the tanks' loss)", 12, flag(b.l.CountsUnused))
	g.add("counts_recovery", "Counts for the recovery fraction", 12, flag(b.l.CountsRecovery))
}
