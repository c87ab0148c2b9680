package logs

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/ingest/reading"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
)

// part is what one table holds of one column, in the order of time.
type part struct {
	reading.Column
	missing, bad int
	badAt        []badCell
	cellUnit     string // the first unit that stood in a cell
	noUnit       bool
	refused      string // a unit in a cell that cannot be used, and where
	refusedAt    string
}

type badCell struct {
	line int
	text string
}

// shownBad is how many bad cells of a column are shown: those that stand first
// in the file, whichever way its rows run.
const shownBad = 3

func (p *part) show(b badCell) {
	at := len(p.badAt)
	for at > 0 && p.badAt[at-1].line > b.line {
		at--
	}
	if at < shownBad {
		p.badAt = slices.Insert(p.badAt, at, b)
		p.badAt = p.badAt[:min(len(p.badAt), shownBad)]
	}
}

// readCells reads the mapped cells of every used table, several tables at a
// time, and gives the tables' rows free.
func (l *Log) readCells(opt Options) {
	var tables []*Table
	for _, t := range l.all {
		if t.Ready {
			tables = append(tables, t)
		}
	}
	scales := make([][]scale, len(tables))
	for i, t := range tables {
		t.Ignored = t.ignored()
		scales[i] = make([]scale, len(l.Columns))
		for k, c := range l.Columns {
			if t.cols[k] < 0 {
				continue
			}
			s, ok := l.scaleOf(t, c, t.cols[k])
			if !ok {
				t.cols[k] = -1
				continue
			}
			scales[i][k] = s
			c.note(t, t.cols[k], s)
		}
	}
	parts := make([][]part, len(tables))
	parallel(opt.Workers, len(tables), func(i int) {
		parts[i] = tables[i].cells(l, scales[i], opt.Workers)
	})
	l.Tables = tables
	l.collect(parts)
}

// note keeps what the first file says of a column: header, unit, factor.
func (c *Column) note(t *Table, col int, s scale) {
	if c.HeaderText == "" {
		c.HeaderText = t.Header[col]
		if c.HeaderText == "" || t.log.Farm.TagColumn != "" {
			c.HeaderText = c.Farm.Header
		}
		c.UnitText = s.unit.Text
		c.FactorBase = math.Abs(s.unit.Factor * s.scale)
		c.Written = s.written
	}
	if s.unit.Factor != 1 || s.unit.Before != 0 || s.unit.After != 0 || s.scale != 1 || s.offset != 0 {
		text := fmt.Sprintf("units: %s read in %s, kept in %s", series.Quoted(c.HeaderText), series.Quoted(s.unit.Text), c.Info.Class.BaseUnit())
		if s.scale != 1 || s.offset != 0 {
			text += fmt.Sprintf(" (scale %g, offset %g)", s.scale, s.offset)
		}
		t.Corrections = append(t.Corrections, text)
	}
}

// cells reads every mapped column of one table.
func (t *Table) cells(l *Log, scales []scale, workers int) []part {
	parts := make([]part, len(l.Columns))
	if t.Stream != nil {
		t.streamedCells(parts, scales, workers)
		return parts
	}
	if l.Farm.TagColumn != "" {
		t.tagged(l, parts, scales)
		return parts
	}
	for k, c := range l.Columns {
		if t.cols[k] < 0 {
			continue
		}
		t.column(&parts[k], c, &scales[k], t.cols[k])
	}
	return parts
}

// column reads one column on the table's stamps.
func (t *Table) column(p *part, c *Column, s *scale, col int) {
	p.T, p.Origins = t.axis()
	p.V = make([]float64, len(p.T))
	p.Flags = series.NewFlags(len(p.T))
	for i, r := range t.Order {
		v, ok := t.cell(p, c, s, r, col)
		if !ok {
			p.V[i] = math.NaN()
			p.Flags.Or(i, series.Absent)
			continue
		}
		p.V[i] = v
		p.Flags.Or(i, t.rowFlag(r))
	}
}

// axis is the stamps of the table's rows in the order of time and where they
// stand, shared by its columns.
func (t *Table) axis() ([]int64, series.Origins) {
	if t.stampsMS != nil {
		return t.stampsMS, t.origins
	}
	if n := len(t.Order); t.Stream != nil && n == len(t.At) && slices.IsSorted(t.Order) {
		t.stampsMS = t.At // every row, as it stands
		t.origins.AppendRun(t.origin(0), n)
	} else {
		t.stampsMS = make([]int64, len(t.Order))
		for i, r := range t.Order {
			t.stampsMS[i] = t.At[r]
			t.origins.Append(t.origin(r))
		}
	}
	return t.stampsMS, t.origins
}

func (t *Table) origin(row int32) series.Origin {
	return series.Origin{File: t.File, Line: int32(t.LineOf(int(row)))}
}

func (t *Table) rowFlag(row int32) series.Flag {
	if t.RowFlags == nil {
		return 0
	}
	return t.RowFlags[row]
}

// tagged deals the rows of a long log out to the columns by their tag.
func (t *Table) tagged(l *Log, parts []part, scales []scale) {
	byTag := map[string]int{}
	for k, c := range l.Columns {
		if t.cols[k] >= 0 {
			byTag[c.Farm.Header] = k
		}
	}
	for _, r := range t.Order {
		k, ok := byTag[t.tagOf(t.Rows[r].Cells)]
		if !ok {
			continue
		}
		if v, ok := t.cell(&parts[k], l.Columns[k], &scales[k], r, t.value); ok {
			parts[k].Append(t.At[r], v, t.rowFlag(r), t.origin(r))
		}
	}
}

// cell reads one cell; not ok where it holds no reading.
func (t *Table) cell(p *part, c *Column, s *scale, row int32, col int) (float64, bool) {
	return t.cellText(p, c, s, t.Rows[row].Cells[col], t.Rows[row].Line)
}

func (t *Table) cellText(p *part, c *Column, s *scale, text string, line int) (float64, bool) {
	if text == "" {
		p.missing++
		return 0, false
	}
	v, ok := t.valueOf(p, c, s, text)
	if !ok {
		p.missing++
		if !table.IsMissing(text) {
			p.bad++
			p.show(badCell{line, text})
		}
	}
	return v, ok
}

// valueOf is the base value of a cell.
func (t *Table) valueOf(p *part, c *Column, s *scale, text string) (float64, bool) {
	if c.Info.Class == series.OnOff {
		if v, ok := stateWord(text); ok {
			return v, true
		}
	}
	v, unit, ok := table.ParseNumber(text, t.Decimal, t.Thousands)
	if !ok {
		return 0, false
	}
	if c.Info.Class == series.OnOff {
		return onOff(v * s.scale), true
	}
	base := s.base(v)
	if unit != "" && s.open {
		if p.cellUnit == "" {
			p.cellUnit = unit
		}
		u, ok := series.ParseUnit(unit)
		if !ok || u.Gallon || u.Class != c.Info.Class || u.Ampere {
			if p.refused == "" {
				p.refused, p.refusedAt = unit, text
			}
			return 0, false
		}
		base = u.Base(v*s.scale + s.offset)
	} else if unit != "" && unit != s.unit.Text {
		u, ok := series.ParseUnit(unit)
		switch {
		case ok && u.Class == s.unit.Class && !u.Gallon && !u.Ampere && !s.unit.Ampere:
			base = u.Base(v*s.scale + s.offset) // what stands beside the number is nearer than the header
		case ok || c.Farm.Unit == "":
			return 0, false // "12 bar" in a column of °C: a bad cell
		}
	} else if s.open {
		p.noUnit = true
	}
	return base, !math.IsInf(base, 0) && !math.IsNaN(base)
}

// onOff reads a state written as a number: 1, 100 % and a byte or word of ones
// are on.
func onOff(v float64) float64 {
	if v == 100 || v == 255 || v == -1 {
		return 1
	}
	return v
}

// stateWords in the languages whose loggers are met (common practice, no
// source).
var stateWords = func() map[string]float64 {
	out := map[string]float64{}
	for _, w := range strings.Fields(`on true yes open opened running run start started active high ein an auf offen geöffnet ja läuft oui marche ouvert
 si sì sí acceso aperto encendido abierto aan aperta ligado aberto`) {
		out[w] = 1
	}
	for _, w := range strings.Fields(`off false no closed close shut stopped stop idle inactive low aus zu geschlossen nein steht non arrêt arret fermé ferme
 spento chiuso apagado cerrado uit dicht nee desligado fechado`) {
		out[w] = 0
	}
	return out
}()

func stateWord(text string) (float64, bool) {
	switch text {
	case "1":
		return 1, true
	case "0":
		return 0, true
	}
	v, ok := stateWords[strings.ToLower(text)]
	return v, ok
}

// collect lists what the cells left open and hands the parts on to merge.
func (l *Log) collect(parts [][]part) {
	for k, c := range l.Columns {
		cellUnit, noUnit := "", false
		for i, t := range l.Tables {
			p := &parts[i][k]
			c.Missing += p.missing
			l.badCells(t, c, p, t.cols[k])
			noUnit = noUnit || p.noUnit
			if cellUnit == "" {
				cellUnit = p.cellUnit
			}
			if p.refused != "" {
				l.usable(t, c, p.refused, fmt.Sprintf("cells such as %s", series.Quoted(p.refusedAt)))
			}
		}
		if cellUnit != "" && c.UnitText == c.Info.Class.BaseUnit() {
			c.UnitText = cellUnit
			if u, ok := series.ParseUnit(cellUnit); ok && u.Class == c.Info.Class {
				c.FactorBase = math.Abs(u.Factor)
				c.Written = u.Written
			}
		}
		if noUnit && c.Info.Class != series.OnOff && len(l.Tables) > 0 {
			l.Found.Problem(series.CodeUnitAssumed, series.Note, l.Tables[0].Name, "", "%s names no unit and is read in %s: unit = … on the column (farm.toml, line %d) states it",
				series.Quoted(c.Farm.Header), c.Info.Class.BaseUnit(), c.Farm.Line)
		}
		c.parts = make([]*part, len(l.Tables))
		for i := range l.Tables {
			c.parts[i] = &parts[i][k]
		}
	}
	for _, t := range l.Tables {
		t.Rows, t.At, t.Order, t.stampsMS, t.Stream = nil, nil, nil, nil, nil
	}
}

// badCells lists cells that are neither a number nor a word for "missing".
func (l *Log) badCells(t *Table, c *Column, p *part, col int) {
	for _, b := range p.badAt {
		if p.refused != "" {
			return
		}
		l.Found.Problem(series.CodeBadCell, series.LeftOut, t.Name, t.Place(b.line, col), "%s: got %s; want %s", series.Quoted(c.HeaderText), series.Quoted(b.text), wanted(c))
	}
	if more := p.bad - len(p.badAt); more > 0 && p.refused == "" {
		l.Found.Problem(series.CodeBadCell, series.LeftOut, t.Name, t.Place(0, col), "%s: and %s more like these", series.Quoted(c.HeaderText), series.Plural(more, "cell"))
	}
}

func wanted(c *Column) string {
	if c.Info.Class == series.OnOff {
		return "on or off, open or closed, 1 or 0"
	}
	return fmt.Sprintf("a number in %s, %g to %g %s", c.UnitText, c.Info.Low, c.Info.High, c.Info.Class.BaseUnit())
}
