package look

import (
	"sort"

	"yardheat/ingest/table/celltext"
)

// Words that name the columns of a long log (common practice, no source).
var (
	wordsTag   = list(`tag channel sensor name point parameter param variable signal register kanal messstelle bezeichnung capteur canal voie punto sensore nombre variabele kenmerk sonde item measurement quantity device probe`)
	wordsValue = list(`value val reading wert messwert valeur valor valore waarde mesure medida misura meting data`)
)

// mostTags is how many tags a long log has at most.
const mostTags = 300

// findTags tells whether the table is a long log (a row holds one tag and one
// value) and describes each tag as a column.
func (d *describer) findTags() {
	tag, value := d.tagColumns()
	if tag < 0 {
		return
	}
	d.out.Tags = &Tags{Tag: d.name(d.cols[tag]), Value: d.name(d.cols[value])}
	if d.spread() { // several rows share a stamp by nature
		open := d.at.Open
		d.tryStamps()
		d.at.Open = open
	}
	tallies := map[string]*tally{}
	for _, s := range d.tagNames(tag) {
		unit := celltext.HeaderUnit(s)
		tallies[s] = newTally(cellMarks{d.src.Decimal, d.src.Thousands}, unit, isTemperature(s, unit))
	}
	first, last := d.span()
	for r := range d.rows() {
		if t := tallies[celltext.FoldBlanks(r.cells[d.cols[tag]])]; t != nil {
			t.add(r.line, r.cells[d.cols[value]], tenth(r.atMS, first, last))
		}
	}
	for _, s := range d.tagNames(tag) {
		t := tallies[s]
		t.close()
		c := Column{Name: s, Number: d.cols[value] + 1, Tag: true}
		d.describeColumn(&c, t, s)
		d.out.Columns = append(d.out.Columns, c)
	}
}

func (d *describer) tagNames(tag int) []string {
	seen := map[string]bool{}
	var out []string
	for s := range d.tally[tag].texts {
		if s = celltext.FoldBlanks(s); !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	sort.Strings(out)
	return out
}

// tagColumns finds a column of few texts, in every row, beside one column of
// values, where the names of both say so or rows share their stamps.
func (d *describer) tagColumns() (tag, value int) {
	tag, value = -1, -1
	if !d.at.Ready {
		return -1, -1
	}
	for k := range d.cols {
		t := d.tally[k]
		h := newHeader(d.src.Header[d.cols[k]])
		switch c := &d.out.Columns[k]; {
		case c.Kind == Text && t.bad+t.states >= t.rows*19/20 && len(t.texts) <= mostTags && t.rows >= 2*len(t.texts):
			if tag < 0 || h.any(wordsTag) && !newHeader(d.src.Header[d.cols[tag]]).any(wordsTag) {
				tag = k
			}
		case c.Kind != Index && c.Kind != Text && c.Kind != Event && c.Readings > 0:
			if value >= 0 {
				return -1, -1
			}
			value = k
		}
	}
	if tag < 0 || value < 0 {
		return -1, -1
	}
	named := newHeader(d.src.Header[d.cols[tag]]).any(wordsTag) && newHeader(d.src.Header[d.cols[value]]).any(wordsValue)
	if !named && (len(d.tally[tag].texts) < 2 || !d.sharedStamps()) {
		return -1, -1
	}
	return tag, value
}

// sharedStamps: at least three in ten rows carry the stamp of the row before.
func (d *describer) sharedStamps() bool {
	same, n := 0, 0
	var last int64
	for r := range d.rows() {
		if n > 0 && r.atMS == last {
			same++
		}
		last = r.atMS
		n++
	}
	return 10*same >= 3*n
}
