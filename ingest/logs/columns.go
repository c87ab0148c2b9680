package logs

import (
	"fmt"
	"strconv"
	"strings"

	"yardheat/ingest/series"
	"yardheat/ingest/stamps"
	"yardheat/ingest/table/celltext"
)

// bind finds the mapped columns in the log's tables.
func (l *Log) bind() {
	if len(l.Columns) == 0 {
		if len(l.names) > 0 {
			l.Found.Problem(series.CodeFileNotUsed, series.LeftOut, l.names[0], "", "no column of this log is named in [log.columns] (farm.toml, line %d): nothing of it is read", l.Farm.Line)
		}
		return
	}
	if l.Farm.TagColumn != "" {
		l.bindTags()
	} else {
		for _, t := range l.all {
			l.bindWide(t)
		}
	}
	l.missing()
}

func (l *Log) bindWide(t *Table) {
	t.cols = make([]int, len(l.Columns))
	hits := 0
	for k, c := range l.Columns {
		t.cols[k] = -1
		at := t.Find(c.Farm.Header)
		if len(at) == 0 {
			continue
		}
		if len(at) > 1 {
			l.double(t, c.Farm.Header, at)
		}
		t.cols[k] = at[0]
		hits++
	}
	if hits == 0 {
		t.cols = nil
	}
}

func (l *Log) double(t *Table, header string, at []int) {
	var ways []string
	for _, i := range at {
		ways = append(ways, fmt.Sprintf("#%d", i+1))
	}
	l.Found.Fault(t.Name, t.Place(t.HeaderLine, -1), fmt.Sprintf("%s columns named %s", countWord(len(at)), series.Quoted(header)), "a header that names one column",
		fmt.Sprintf("write %s in farm.toml, line %d, for the one that is meant", strings.Join(ways, " or "), l.lineOf(header)))
}

func countWord(n int) string {
	if n == 2 {
		return "two"
	}
	return strconv.Itoa(n)
}

func (l *Log) lineOf(header string) int {
	for _, c := range l.Columns {
		if c.Farm.Header == header {
			return c.Farm.Line
		}
	}
	return l.Farm.Line
}

// bindTags binds the columns of tag and value of a long log; which tags there
// are shows only in the rows.
func (l *Log) bindTags() {
	for _, t := range l.all {
		tag, value := t.findTag(l.Farm.TagColumn), t.Find(l.Farm.ValueColumn)
		if len(tag) == 0 || len(value) == 0 {
			name := l.Farm.TagColumn
			if len(tag) > 0 {
				name = l.Farm.ValueColumn
			}
			l.Found.Fault(t.Name, t.Place(t.HeaderLine, -1), t.Headers(), "a column "+series.Quoted(name)+", as [log] tags says", stamps.NearHint(name, t.Header))
			continue
		}
		t.tags, t.value = tag, value[0]
		byTag := map[string]int{}
		t.cols = make([]int, len(l.Columns))
		for k, c := range l.Columns {
			t.cols[k] = -1
			byTag[c.Farm.Header] = k
		}
		for i := range t.Rows {
			if k, ok := byTag[t.tagOf(t.Rows[i].Cells)]; ok {
				t.cols[k] = t.value
			}
		}
	}
}

// findTag finds the column of tags, or those whose headers a stroke joins: a
// device's and its channel's ("device/channel").
func (t *Table) findTag(name string) []int {
	if at := t.Find(name); len(at) > 0 {
		return at[:1]
	}
	var all []int
	for _, part := range strings.Split(name, "/") {
		at := t.Find(part)
		if len(at) == 0 {
			return nil
		}
		all = append(all, at[0])
	}
	return all
}

// tagOf is what a row is of: its tag, or the device's and its channel's joined
// by a stroke.
func (t *Table) tagOf(cells []string) string {
	if len(t.tags) == 1 {
		return celltext.FoldBlanks(cells[t.tags[0]])
	}
	parts := make([]string, len(t.tags))
	for n, i := range t.tags {
		parts[n] = celltext.FoldBlanks(cells[i])
	}
	return strings.Join(parts, "/")
}

// missing lists mapped columns that no file has (a fault) or not every file,
// and files that have none.
func (l *Log) missing() {
	files := map[string]bool{}
	for _, t := range l.all {
		if t.cols != nil {
			files[t.Name] = true
		}
	}
	for _, t := range l.all {
		if t.cols == nil && len(files) > 0 && len(l.Farm.TagColumn) == 0 {
			l.Found.Problem(series.CodeFileNotUsed, series.LeftOut, t.Name, t.Place(t.HeaderLine, -1), "no column that the farm file names stands here: %s", t.Headers())
		}
	}
	for k, c := range l.Columns {
		has := map[string]bool{}
		for _, t := range l.all {
			if t.cols != nil && t.cols[k] >= 0 {
				has[t.Name] = true
			}
		}
		c.seen = len(has)
		switch {
		case c.seen == 0:
			l.nowhere(c)
		case c.seen < len(files):
			without := ""
			for _, t := range l.all {
				if files[t.Name] && !has[t.Name] {
					without = t.Name
					break
				}
			}
			l.Found.Problem(series.CodeColumnMissing, series.Note, without, "", "%s (farm.toml, line %d) is not in %d of the log's %d files, first this one",
				series.Quoted(c.Farm.Header), c.Farm.Line, len(files)-c.seen, len(files))
		}
	}
}

// nowhere is the fault of a mapped column that no file has.
func (l *Log) nowhere(c *Column) {
	if len(l.all) == 0 {
		return // the files have faults of their own
	}
	t := l.all[0]
	names, want := t.Header, "a column "+series.Quoted(c.Farm.Header)
	got := t.Headers()
	if l.Farm.TagColumn != "" {
		names, want = l.tags(), "rows of the tag "+series.Quoted(c.Farm.Header)
		got = "the tags " + series.List(names, 12)
	}
	l.Found.Fault(t.Name, t.Place(t.HeaderLine, -1), got, want+", as farm.toml, line "+strconv.Itoa(c.Farm.Line)+", says", stamps.NearHint(c.Farm.Header, names))
}

// tags lists the tags of a long log's first files.
func (l *Log) tags() []string {
	seen := map[string]bool{}
	var out []string
	for _, t := range l.all {
		if len(t.tags) == 0 {
			continue
		}
		for i := range t.Rows {
			if s := t.tagOf(t.Rows[i].Cells); s != "" && !seen[s] && len(out) < 1000 {
				seen[s] = true
				out = append(out, s)
			}
		}
	}
	return out
}

// taken marks the columns that the farm file maps.
func (t *Table) taken() []bool {
	taken := make([]bool, len(t.Header))
	for _, i := range t.cols {
		if i >= 0 {
			taken[i] = true
		}
	}
	if t.Tagged {
		taken[t.value] = true
		for _, i := range t.tags {
			taken[i] = true
		}
	}
	return taken
}

// ignored lists the columns that are neither mapped nor ignored by name nor
// stamps.
func (t *Table) ignored() []string {
	taken := t.taken()
	for _, i := range t.Columns {
		taken[i] = true
	}
	for _, c := range t.log.Farm.Columns {
		if c.Quantity == "ignore" {
			for _, i := range t.Find(c.Header) {
				taken[i] = true
			}
		}
	}
	var out []string
	for i, h := range t.Header {
		if taken[i] {
			continue
		}
		if h == "" {
			h = fmt.Sprintf("#%d", i+1)
		}
		out = append(out, h)
	}
	return out
}
