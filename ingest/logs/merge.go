package logs

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"yardheat/ingest/reading"
	"yardheat/ingest/series"
)

// tally counts rows, each once however many columns it has, and keeps the
// first place.
type tally struct {
	rows  map[series.Origin]bool
	first series.Origin
	what  string
}

func (a *tally) add(o series.Origin, what string) {
	if a.rows == nil {
		a.rows = map[series.Origin]bool{}
	}
	if len(a.rows) == 0 || o.File < a.first.File || o.File == a.first.File && o.Line < a.first.Line {
		a.first, a.what = o, what
	}
	a.rows[o] = true
}

// merge brings the readings of the log's tables together. A table whose
// readings end later is the later one.
func (l *Log) merge() {
	byAge := make([]int, len(l.Tables))
	for i := range byAge {
		byAge[i] = i
	}
	slices.SortStableFunc(byAge, func(a, b int) int {
		x, y := l.Tables[a], l.Tables[b]
		if x.Last != y.Last {
			return int(max(-1, min(1, x.Last-y.Last)))
		}
		return strings.Compare(x.Name, y.Name)
	})
	l.twoTables()
	var same, other, differ tally
	var last axis
	for _, c := range l.Columns {
		parts := make([]*reading.Column, 0, len(byAge))
		for _, i := range byAge {
			if c.parts[i].Len() > 0 {
				parts = append(parts, &c.parts[i].Column)
			}
		}
		c.Column = c.together(parts, &last, &same, &other, &differ)
		c.parts = nil
		if c.Len() == 0 && c.seen > 0 && !c.units.refused && len(l.Tables) > 0 {
			l.Found.Problem(series.CodeColumnEmpty, series.LeftOut, l.Tables[0].Name, "", "%s holds no reading in any file of this log", series.Quoted(c.Farm.Header))
		}
	}
	l.sortByAge(byAge)
	l.tell(same, other, differ)
}

func (l *Log) sortByAge(byAge []int) {
	tables := make([]*Table, len(byAge))
	for k, i := range byAge {
		tables[k] = l.Tables[i]
	}
	l.Tables = tables
}

// twoTables is a fault where two tables of one file hold the same column over
// the same time: one of them is not the log.
func (l *Log) twoTables() {
	for i, a := range l.Tables {
		for _, b := range l.Tables[i+1:] {
			if a.Name != b.Name || a.First >= b.Last || b.First >= a.Last {
				continue
			}
			for k, c := range l.Columns {
				if a.cols[k] < 0 || b.cols[k] < 0 || l.Farm.TagColumn != "" {
					continue
				}
				what, do := "table", "say which by table = 1, 2, … in [[log]]"
				if a.Sheet != b.Sheet {
					what, do = "sheet", "say which by sheet = … in [[log]]: "+series.Quoted(a.Sheet)+" or "+series.Quoted(b.Sheet)
				}
				l.Found.Fault(a.Name, b.Place(b.HeaderLine, b.cols[k]), "two "+what+"s that hold "+series.Quoted(c.Farm.Header)+" for the same time", "one "+what+" of each reading", do)
				return
			}
		}
	}
}

// tell lists what stood more than once.
func (l *Log) tell(same, other, differ tally) {
	name := func(o series.Origin) *Table {
		for _, t := range l.Tables {
			if t.File == o.File {
				return t
			}
		}
		return l.Tables[0]
	}
	if n := len(same.rows); n > 0 {
		t := name(same.first)
		l.Found.Problem(series.CodeDuplicate, series.Note, t.Name, t.Place(int(same.first.Line), -1), "%s with the stamp of another row and equal readings (first %s): counted once", series.Plural(n, "row"), series.Quoted(same.what))
	}
	if n := len(other.rows); n > 0 {
		t := name(other.first)
		l.Found.Problem(series.CodeDuplicate, series.Doubt, t.Name, t.Place(int(other.first.Line), -1), "%s with the stamp of a later row and other readings (first %s): the later row is kept", series.Plural(n, "row"), series.Quoted(other.what))
	}
	if n := len(differ.rows); n > 0 {
		t := name(differ.first)
		l.Found.Problem(series.CodeOverlapDiffers, series.Doubt, t.Name, t.Place(int(differ.first.Line), -1),
			"%s that a later file of this log reads otherwise (first %s): the later file is kept; where many differ, the files may have been exported in different zones", series.Plural(n, "row"), series.Quoted(differ.what))
	}
}

// axis is the stamps of several tables joined, kept so that the next column
// of the same tables shares them.
type axis struct {
	of    [][]int64
	t     []int64
	order []int32    // how the joined stamps come into the order of time; nil = they stand in it
	twice [][2]int32 // runs [from, to) of equal stamps
}

// join joins the stamps of parts, unless it just did.
func (a *axis) join(parts []*reading.Column) {
	same := len(a.of) == len(parts)
	for i := 0; same && i < len(parts); i++ {
		x, y := a.of[i], parts[i].T
		same = len(x) == len(y) && &x[0] == &y[0]
	}
	if same {
		return
	}
	*a = axis{t: parts[0].T}
	for _, p := range parts {
		a.of = append(a.of, p.T)
	}
	if len(parts) > 1 {
		a.t = slices.Concat(a.of...)
		a.sort()
	}
	for k := 1; k < len(a.t); k++ {
		if a.t[k] > a.t[k-1] {
			continue
		}
		from := int32(k - 1)
		for k < len(a.t) && a.t[k] == a.t[from] {
			k++
		}
		a.twice = append(a.twice, [2]int32{from, int32(k)})
	}
}

// sort puts the stamps in the order of time; of equal ones the older file's
// comes first.
func (a *axis) sort() {
	if slices.IsSorted(a.t) {
		return
	}
	a.order = make([]int32, len(a.t))
	for i := range a.order {
		a.order[i] = int32(i)
	}
	slices.SortStableFunc(a.order, func(x, y int32) int { return cmp.Compare(a.t[x], a.t[y]) })
	t := make([]int64, len(a.t))
	for k, i := range a.order {
		t[k] = a.t[i]
	}
	a.t = t
}

// together joins the parts of a column, older first.
func (c *Column) together(parts []*reading.Column, a *axis, same, other, differ *tally) reading.Column {
	if len(parts) == 0 {
		return reading.Column{}
	}
	a.join(parts)
	all := *parts[0]
	if len(parts) > 1 {
		all = reading.Column{V: make([]float64, 0, len(a.t))}
		for _, p := range parts {
			all.Add(p)
		}
	}
	if a.order != nil {
		all = sorted(&all, a.order)
	}
	all.T = a.t
	c.once(&all, a.twice, same, other, differ)
	return all
}

// sorted puts all but the stamps of a column in an order.
func sorted(a *reading.Column, order []int32) reading.Column {
	out := reading.Column{V: make([]float64, len(order))}
	for k, o := range order {
		i := int(o)
		out.V[k] = a.V[i]
		out.Flags.Append(a.Flags.At(i))
		out.Origins.Append(a.Origins.At(i))
	}
	return out
}

// once settles readings that share a stamp. The last good one is kept. Of the
// others, one of the same file is flagged as a duplicate; one of an older file
// is left out where it is equal, as it is the same reading, and flagged where
// it differs.
func (c *Column) once(a *reading.Column, twice [][2]int32, same, other, differ *tally) {
	for _, run := range twice {
		k, end := int(run[0]), int(run[1])
		keep := end - 1
		for keep > k && a.Flags.At(keep) != 0 {
			keep--
		}
		for j := k; j < end; j++ {
			if j == keep || a.Flags.At(j) != 0 {
				continue
			}
			o, equal := a.Origins.At(j), alike(a.V[j], a.V[keep])
			switch {
			case o.File == a.Origins.At(keep).File && equal:
				same.add(o, c.HeaderText)
			case o.File == a.Origins.At(keep).File:
				other.add(o, c.HeaderText)
			case equal:
				a.V[j] = math.NaN()
				a.Flags.Or(j, series.Absent)
				continue
			default:
				differ.add(o, c.HeaderText)
			}
			a.Flags.Or(j, series.Duplicate)
		}
	}
}

// alike: equal but for the rounding of a unit.
func alike(a, b float64) bool { return a == b || math.Abs(a-b) <= 1e-9*max(math.Abs(a), math.Abs(b)) }
