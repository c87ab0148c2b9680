package draft

import (
	"fmt"
	"path"
	"slices"
	"sort"
	"strings"
	"unicode"

	"yardheat/ingest/look"
	"yardheat/ingest/series"
)

// logger is the tables of one logger: exports of alike layout.
type logger struct {
	files  []string
	tables []*look.Table
	key    string
}

func (g *logger) first() *look.Table { return g.tables[0] }

// milkList is the list of milkings that the farm keeps.
type milkList struct {
	file    string
	columns [][2]string // key and header
}

// group sorts the tables into loggers, and takes the milkings list out.
func group(files []File) ([]*logger, *milkList) { return groupAll(files, true) }

// groupAll is group; without lists a milkings list counts as a log.
func groupAll(files []File, lists bool) ([]*logger, *milkList) {
	var out []*logger
	var milk *milkList
	for i := range files {
		f := &files[i]
		if m := milkingList(f); m != nil && milk == nil && lists {
			milk = m
			continue
		}
		for k := range f.Tables {
			t := &f.Tables[k]
			key := layoutKey(f.Name, t)
			at := slices.IndexFunc(out, func(g *logger) bool {
				return g.key == key && !g.overlaps(t) && (t.Member != "" || !slices.Contains(g.files, f.Name))
			})
			if at < 0 {
				out = append(out, &logger{key: key})
				at = len(out) - 1
			}
			if !slices.Contains(out[at].files, f.Name) {
				out[at].files = append(out[at].files, f.Name)
			}
			out[at].tables = append(out[at].tables, t)
		}
	}
	return out, milk
}

// layoutKey is the same for exports of one logger: sheet, place, headers and
// what is left of the file's name without its digits and months.
func layoutKey(name string, t *look.Table) string {
	if t.Member != "" {
		name = t.Member
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s|%s|%d|%s|%s|", stem(name), t.Sheet, t.Number, strings.Join(t.Stamp.Columns, "\x00"), t.Separator)
	for _, c := range t.Columns {
		if !c.Tag {
			b.WriteString(c.Name + "\x00")
		}
	}
	return b.String()
}

// monthNames part the exports of one logger as digits do.
var monthNames = strings.Fields(`jan january januar janvier feb february februar fevrier mar march marz mars apr april avril may mai jun june juni juin jul july juli juillet
 aug august aout sep sept september septembre oct okt october oktober octobre nov november novembre dec dez december dezember decembre`)

// Stem is a file's name without folder, extension, digits and months: the same
// for the exports of one logger.
func Stem(name string) string { return stem(name) }

func stem(name string) string {
	base := strings.ToLower(path.Base(name))
	base = strings.TrimSuffix(base, path.Ext(base))
	words := strings.FieldsFunc(base, func(r rune) bool { return !unicode.IsLetter(r) })
	return strings.Join(slices.DeleteFunc(words, func(w string) bool { return slices.Contains(monthNames, w) }), " ")
}

// overlaps tells whether a table covers more than half of the shorter span of
// another: two loggers of one make, then, not two months of one.
func (g *logger) overlaps(t *look.Table) bool {
	for _, o := range g.tables {
		low, high := max(o.First, t.First), min(o.Last, t.Last)
		if low >= high {
			continue
		}
		shorter := o
		if t.Rows < o.Rows {
			shorter = t
		}
		if middle := middleOf(shorter); low <= middle && middle <= high {
			return true
		}
	}
	return false
}

// middleOf is about the middle of a table's span, in the form of First: the
// end of its first half where only the days tell.
func middleOf(t *look.Table) string {
	return between(t.First, t.Last)
}

// columns are those of the logger: of each the description with the most
// readings, its range over all files.
func (g *logger) columns() []look.Column {
	out := slices.Clone(g.first().Columns)
	for _, t := range g.tables[1:] {
		for i := range min(len(out), len(t.Columns)) {
			a, b := out[i], t.Columns[i]
			if a.Name != b.Name || a.Tag != b.Tag {
				continue
			}
			if b.Readings > a.Readings {
				out[i] = b
			}
			out[i].Min, out[i].Max = widest(a.Min, b.Min, -1), widest(a.Max, b.Max, 1)
			out[i].Readings = a.Readings + b.Readings
		}
	}
	return out
}

// widest is the one that lies further out in the direction of sign.
func widest(a, b *float64, sign float64) *float64 {
	if a == nil || b != nil && sign*(*b-*a) > 0 {
		return b
	}
	return a
}

// says describes the logger in one comment.
func (g *logger) says() string {
	t := g.first()
	first, last, rows := t.First, t.Last, 0
	for _, o := range g.tables {
		rows += o.Rows
		if o.First < first && o.First != "" {
			first = o.First
		}
		last = max(last, o.Last)
	}
	text := path.Base(g.files[0])
	if n := len(g.files); n > 1 {
		text += fmt.Sprintf(" and %d more", n-1)
	}
	text += ": " + series.Plural(rows, "row")
	if first != "" {
		text += fmt.Sprintf(", %s to %s", first, last)
	}
	if t.Stamp.Format != "" {
		text += ", stamps as " + t.Stamp.Format
	}
	if t.Stamp.Zone != "" {
		text += " (" + t.Stamp.Zone + ")"
	}
	return text
}

// doubts are what all files of the logger leave open, each key once: what one
// file proves of its logger's dates and marks holds for the others.
func (g *logger) doubts() []look.Doubt {
	count := map[string]int{}
	first := map[string]look.Doubt{}
	for _, t := range g.tables {
		seen := map[string]bool{}
		for _, u := range t.Unsure {
			if seen[u.About] {
				continue
			}
			seen[u.About] = true
			if count[u.About]++; count[u.About] == 1 {
				first[u.About] = u
			}
		}
	}
	var out []look.Doubt
	for key, u := range first {
		if (key == "dates" || key == "decimal") && count[key] < len(g.tables) || strings.HasPrefix(u.Assumed, "none is needed") {
			continue
		}
		out = append(out, u)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].About < out[j].About })
	return out
}
