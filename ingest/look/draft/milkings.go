package draft

import (
	"slices"
	"strings"
	"time"
)

// shortestMilkingS parts a list of milkings, a few rows a day, from a log.
const shortestMilkingS = 3 * 3600

// endWords name the column of a milking's end (common practice, no source).
var endWords = strings.Fields(`end ende fin fine eind einde stop finish fim`)

// milkingList tells a list of milkings from a log: milk volumes a few times a
// day.
func milkingList(f *File) *milkList {
	if len(f.Tables) != 1 {
		return nil
	}
	t := &f.Tables[0]
	if t.IntervalS < shortestMilkingS || len(t.Stamp.Columns) == 0 {
		return nil
	}
	m := &milkList{file: f.Name}
	switch len(t.Stamp.Columns) {
	case 1:
		m.columns = append(m.columns, [2]string{"start", t.Stamp.Columns[0]})
	default:
		m.columns = append(m.columns, [2]string{"date", t.Stamp.Columns[0]}, [2]string{"start", t.Stamp.Columns[1]})
	}
	volume := false
	for _, c := range t.Columns {
		switch {
		case IsMilkingEnd(c.Name):
			m.columns = append(m.columns, [2]string{"end", c.Name})
		case c.Quantity == "milk_volume", c.Quantity == "milk_in_temp", c.Quantity == "milk_out_temp":
			volume = volume || c.Quantity == "milk_volume"
			m.columns = append(m.columns, [2]string{c.Quantity, c.Name})
		}
	}
	if !volume {
		return nil
	}
	return m
}

func (w *writer) milkingsTable() {
	if w.milkings == nil {
		return
	}
	w.line("\n# check: a list of milkings, by its rows a day and its volumes of milk.")
	w.line("[milkings]")
	w.line("file = %s", quote(w.milkings.file))
	w.line("milk_is = \"milking\"   # check: or \"day\", \"collection\": what a row's volume is")
	w.line("\n[milkings.columns]")
	for _, c := range w.milkings.columns {
		w.line("%s = %s   # check", c[0], quote(c[1]))
	}
}

// between is the middle of two times as look writes them; the first where one
// cannot be read.
func between(first, last string) string {
	for _, form := range [...]string{"2006-01-02T15:04:05Z07:00", "2006-01-02T15:04:05"} {
		a, errA := time.Parse(form, first)
		b, errB := time.Parse(form, last)
		if errA == nil && errB == nil {
			return a.Add(b.Sub(a) / 2).Format(form)
		}
	}
	return first
}

// IsMilkingEnd tells whether a column of that name in a list of milkings is when
// they end.
func IsMilkingEnd(name string) bool { return slices.Contains(endWords, strings.ToLower(name)) }
