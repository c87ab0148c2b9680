package workbook

import (
	"fmt"

	"yardheat/analysis/season"
)

// fuelTerm is the heat that the alternative would have had to give.
const fuelTerm = "fuel"

func shareKey(term string) string           { return "share:" + term }
func behindKey(term string) string          { return "behind:" + term }
func addedKey(term string) string           { return "added:" + term }
func usualKey(term string, line int) string { return fmt.Sprintf("usual:%s:%d", term, line) }

// unseenSheet says by cycle what was not seen of each term, and what is put in
// its place.
func (b *books) unseenSheet() {
	g := &grown{name: unseenName, at: map[string]int{}, n: len(b.s.Cycles)}
	b.unseen = g
	g.add("cycle", "Cycle", 8, func(i int) any { return number{float64(b.s.Cycles[i].N), 0} })
	// The rows of the sheet Whole period are fixed before they are filled in.
	for i, x := range b.filled() {
		b.wholeRow[x.key] = i + firstRow
	}
	for _, x := range b.filled() {
		g.add(shareKey(x.key), x.label+": share seen", 12, values(x.fill.Share, 3))
		g.add(behindKey(x.key), x.label+": behind the mean (1)", 10, flag(x.fill.Behind))
		if x.fill.Why != "" {
			continue
		}
		if x.fill.NothingIsMissing {
			g.add(addedKey(x.key), x.label+": put in (kWh)", 12, values(x.fill.AddedKWh, 3))
			continue
		}
		g.add(addedKey(x.key), x.label+": put in (kWh)", 12, live(3, func(i int) string { return b.putIn(x, i) }, func(i int) float64 { return x.fill.AddedKWh[i] }))
	}
	if len(b.l.PowerLine) < 2 || b.l.FuelLine == nil {
		return
	}
	for _, t := range b.powerTerms() {
		for k, line := range b.l.PowerLine {
			g.add(usualKey(t.Key, k), t.Label+": share of its usual hours at "+b.said(line), 12, values(t.UsualShare[k], 4))
		}
	}
}

// filled is a term that is estimated for the whole period.
type filled struct {
	key, label string
	fill       *season.LedgerFill
	// seen is the kWh seen of a cycle: a column, or an expression over its cells.
	seen func(i int) string
}

func (b *books) filled() []filled {
	var out []filled
	for i := range b.l.Terms {
		t := &b.l.Terms[i]
		out = append(out, filled{t.Key, t.Label, &t.Fill, func(i int) string { return b.cycles.cellFrom(seenKey(t.Key), i) }})
	}
	if b.l.FuelLine != nil && b.cycles.has("above_kwh") && b.l.Alternative {
		out = append(out, filled{fuelTerm, "Heat the alternative would have had to give", &b.l.FuelFill, nil})
	}
	return out
}

// putIn is what stands for the part of a cycle that was not seen.
func (b *books) putIn(x filled, i int) string {
	perH := fmt.Sprintf("%s!$%s$%d", quoted(wholeName), letter(wholePerH), b.wholeRow[x.key])
	hours, share := b.cycles.cellFrom("hours", i), b.unseen.cell(shareKey(x.key), i)
	if x.fill.Behind[i] {
		return fmt.Sprintf("%s*%s*(1-%s)", perH, hours, share)
	}
	if x.seen == nil { // nothing of it counts as seen
		return fmt.Sprintf("MAX(0,%s*%s)", perH, hours)
	}
	return fmt.Sprintf("MAX(0,%s*%s-%s)", perH, hours, x.seen(i))
}

// The columns of the sheet Whole period.
const (
	wholeSeen = iota + 2
	wholePerH
	wholeAdded
	wholeSum
	wholePrice
	wholeCost
)

func wholeHeads() []head {
	return []head{{"Of", 64}, {"Key", 26}, {"As seen (kWh)", 14}, {"Mean of the cycles behind it (kWh per hour seen)", 14}, {"Put in for what was not seen (kWh)", 14},
		{"Whole period (kWh)", 14}, {"Price", 12}, {"Cost", 12}, {"Comes from", 90}}
}

// wholeSheet has a row a term, then a row a price of electricity and use.
func (b *books) wholeSheet() {
	t := table{name: wholeName, heads: wholeHeads()}
	for i, x := range b.filled() {
		t.rows = append(t.rows, b.wholeTerm(x, i+firstRow))
	}
	b.wholeTable = t
	b.wholeMoney()
}

func (b *books) wholeTerm(x filled, row int) []any {
	in := b.all()
	var seen, from string
	if x.seen == nil {
		cover := b.unseen.ref(behindKey(x.key), in)
		var sum []string
		for _, part := range []string{"wash_kwh", "other_use_kwh", "above_kwh"} {
			sum = append(sum, fmt.Sprintf("SUMIFS(%s,%s,1)", b.cycles.ref(part, in), cover))
		}
		seen = sum[0] + "+" + sum[1] + "-" + sum[2]
		from = fmt.Sprintf("%s + %s − %s where %s=1", b.cycles.said("wash_kwh", in), b.cycles.said("other_use_kwh", in), b.cycles.said("above_kwh", in), b.unseen.said(behindKey(x.key), in))
	} else {
		seen, from = fmt.Sprintf("SUM(%s)", b.cycles.ref(seenKey(x.key), in)), b.cycles.said(seenKey(x.key), in)
	}
	out := []any{x.label, x.key, formula{seen, x.fill.SeenKWh, 2}, nil, nil, nil, nil, nil, from}
	if x.fill.Why != "" {
		out[8] = from + "; can't be estimated: " + x.fill.Why
		return out
	}
	if !x.fill.NothingIsMissing {
		out[wholePerH] = formula{b.meanOf(x, seen), x.fill.PerH, 4}
	}
	added := fmt.Sprintf("SUM(%s)", b.unseen.ref(addedKey(x.key), in))
	out[wholeAdded] = formula{added, x.fill.PutInKWh, 2}
	out[wholeSum] = formula{fmt.Sprintf("%s%d+%s%d", letter(wholeSeen), row, letter(wholeAdded), row), x.fill.WholeKWh, 2}
	out[8] = from + " and " + b.unseen.said(addedKey(x.key), in)
	return out
}

// meanOf is Σ q / Σ hours·share over the cycles behind the mean.
func (b *books) meanOf(x filled, seen string) string {
	in := b.all()
	behind, share, hours := b.unseen.ref(behindKey(x.key), in), b.unseen.ref(shareKey(x.key), in), b.cycles.ref("hours", in)
	if x.seen != nil {
		seen = fmt.Sprintf("SUMIFS(%s,%s,1)", b.cycles.ref(seenKey(x.key), in), behind)
	}
	return fmt.Sprintf("(%s)/SUMPRODUCT(%s,%s,%s)", seen, behind, hours, share)
}

// wholeMoney adds the electricity by price, and the own solar.
func (b *books) wholeMoney() {
	if !b.l.Alternative {
		return
	}
	for _, x := range b.l.Lines {
		row := len(b.wholeTable.rows) + firstRow
		b.wholeRow[lineKey(x.Term, x.Line)] = row
		b.wholeTable.rows = append(b.wholeTable.rows, b.wholeLine(x, func(column int) string { return fmt.Sprintf("%s%d", letter(column), row) }))
	}
}

// wholeLine is one use of electricity, or the own solar, at one price; here gives
// a cell of the row.
func (b *books) wholeLine(x season.LedgerLine, here func(column int) string) []any {
	in, line, key := b.all(), b.l.PowerLine[x.Line], lineKey(x.Term, x.Line)
	what := ": " + b.l.Assumptions[b.assumed[line]-firstRow].What
	seen := formula{fmt.Sprintf("SUM(%s)", b.cycles.ref(key, in)), x.SeenKWh, 2}
	price := formula{b.value(line), x.PerKWh, 4}
	if x.Term == season.SunTerm {
		whole := "1"
		if e := b.term("element_kwh"); e != nil && e.Fill.SeenKWh != 0 {
			whole = b.wholeCell("element_kwh", wholeSum) + "/" + b.wholeCell("element_kwh", wholeSeen)
		}
		return []any{"Own solar" + what, line, seen, nil, nil, formula{here(wholeSeen) + "*" + whole, x.WholeKWh, 2}, price,
			formula{"-" + here(wholeSum) + "*" + here(wholePrice), x.WholeCost, 2}, b.cycles.said(key, in) + ", by the element's whole over seen"}
	}
	put := fmt.Sprintf("SUM(%s)", b.unseen.ref(addedKey(x.Term), in))
	from := b.unseen.said(addedKey(x.Term), in)
	if len(b.l.PowerLine) > 1 {
		usual := usualKey(x.Term, x.Line)
		put = fmt.Sprintf("SUMPRODUCT(%s,%s)", b.unseen.ref(addedKey(x.Term), in), b.unseen.ref(usual, in))
		from += " × " + b.unseen.said(usual, in)
	}
	return []any{b.term(x.Term).Label + what, line, seen, nil, formula{put, x.PutInKWh, 2}, formula{here(wholeSeen) + "+" + here(wholeAdded), x.WholeKWh, 2}, price,
		formula{here(wholeSum) + "*" + here(wholePrice), x.WholeCost, 2}, b.cycles.said(key, in) + " and " + from}
}

func (b *books) wholeCell(key string, column int) string {
	return fmt.Sprintf("$%s$%d", letter(column), b.wholeRow[key])
}
