package web

import (
	"cmp"
	"slices"
	"time"

	"yardheat/ingest/look"
	"yardheat/ingest/look/draft"
	"yardheat/ingest/series"
)

// turn is one table of a waiting file, in the order in which tables may claim a
// quantity.
type turn struct {
	file, table int
	said        bool
	spanS       float64
}

// turns puts the tables in the order in which they claim quantities: first those
// of which the farmer or a log of before says something, then the layouts that
// cover more time, so that a short trial file never pushes out the season's log
// for no other reason than its name.
func (b *batch) turns() []turn {
	var out []turn
	covered := map[string]float64{}
	for i, f := range b.found {
		if f == nil || b.twice(i) != "" {
			continue
		}
		for k := range f.Tables {
			t := &f.Tables[k]
			covered[likeness(b.waiting[i].Name, t)] += spanS(t.First, t.Last)
			out = append(out, turn{file: i, table: k, said: b.said(i, k)})
		}
	}
	for n := range out {
		x := &out[n]
		x.spanS = covered[likeness(b.waiting[x.file].Name, &b.found[x.file].Tables[x.table])]
	}
	slices.SortStableFunc(out, func(x, y turn) int {
		if x.said != y.said {
			if x.said {
				return -1
			}
			return 1
		}
		return cmp.Compare(y.spanS, x.spanS)
	})
	return out
}

// said: the farmer chose a quantity in the table, or a log of before has it.
func (b *batch) said(file, table int) bool {
	t := &b.found[file].Tables[table]
	match := b.match(file, table)
	for k := range t.Columns {
		if b.notes[file].column(columnKey(table, k), t.Columns[k].Name).Quantity != "" {
			return true
		}
		if match != nil && k < len(match.Columns) {
			e := effective{}
			if e.remember(&match.Columns[k]); e.before && e.m.used() {
				return true
			}
		}
	}
	return false
}

// spanS is the time from first to last, seconds; 0 where either can't be read.
func spanS(first, last string) float64 {
	for _, layout := range []string{"2006-01-02T15:04:05", time.RFC3339Nano} {
		a, errA := time.Parse(layout, first)
		z, errZ := time.Parse(layout, last)
		if errA == nil && errZ == nil {
			return z.Sub(a).Seconds()
		}
	}
	return 0
}

// asMilkings leaves out what holds for a log only: a list's rows have a start of
// their own, and the hours and minutes of its end are read.
func (t *logTable) asMilkings(found *look.Table) {
	t.Doubts = slices.DeleteFunc(t.Doubts, func(d doubtView) bool { return len(d.Picks) > 0 && d.Picks[0].Key == "stamp" })
	ends := map[int]bool{}
	for _, c := range found.Columns {
		ends[c.Number] = draft.IsMilkingEnd(c.Name)
	}
	var kept []problemView
	for k, p := range t.Problems {
		if q := found.Problems[k]; q.Code != series.CodeBadCell || !ends[q.Column] {
			kept = append(kept, p)
		}
	}
	t.Problems = kept
}
