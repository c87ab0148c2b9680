package look

import (
	"slices"
	"sort"
	"strings"

	"yardheat/ingest/logs"
	"yardheat/ingest/series"
	"yardheat/ingest/table/celltext"
)

// Words that name the columns of a long log (common practice, no source).
var (
	wordsTag = list(`tag channel sensor name point parameter param variable signal register kanal messstelle bezeichnung capteur canal voie punto sensore nombre variabele kenmerk sonde item measurement quantity device probe
 node station unit_id site location address meter gerat geraet appareil dispositivo apparaat fuhler zahler`)
	wordsValue = list(`value val reading wert messwert valeur valor valore waarde mesure medida misura meting data`)
	// wordsNumbered are all that names a column of numbers of devices.
	wordsNumbered = list(`tag channel sensor device probe node station unit meter logger kanal messstelle capteur canal voie punto sonde gerat appareil dispositivo address addr id no nr num number nummer numero`)
	// wordsQuality name what is said of a reading.
	wordsQuality = list(`quality qual status flag flags qc valid validity state code error err alarm grade qualitat qualite calidad qualita kwaliteit statut estado stato`)
)

// mostTags is how many tags a long log has at most.
const mostTags = 300

// tagSet are the columns of a long log, by index into cols.
type tagSet struct {
	tags  []int // what a row is of: one column, or a device's and its channel's
	value int
	unit  int // column of the table that holds the unit, -1 = none
}

// findTags tells whether the table is a long log (a row holds one tag and one
// value) and describes each tag as a column.
func (d *describer) findTags() {
	if !d.at.Ready {
		return
	}
	s, ok := d.tagColumns()
	if !ok {
		d.mixedRows()
		return
	}
	var names []string
	for _, k := range s.tags {
		names = append(names, d.name(d.cols[k]))
	}
	d.out.Tags = &Tags{Tag: strings.Join(names, "/"), Value: d.name(d.cols[s.value])}
	if d.spread() { // several rows share a stamp by nature
		open := d.at.Open
		d.tryStamps()
		d.at.Open = open
	}
	tags := d.tagUnits(&s)
	tallies := map[string]*tally{}
	for tag, unit := range tags {
		tallies[tag] = newTally(cellMarks{d.src.Decimal, d.src.Thousands}, unit.text, isTemperature(tag, unit.text))
		if celltext.IsDifference(tag) {
			tallies[tag].ofDifferences()
		}
	}
	first, last := d.span()
	for r := range d.rows() {
		tallies[d.tagOf(s.tags, r.cells)].add(r.line, r.cells[d.cols[s.value]], tenth(r.atMS, first, last))
	}
	d.describeTags(&s, tags, tallies)
}

func (d *describer) describeTags(s *tagSet, units map[string]*tagUnit, tallies map[string]*tally) {
	var mixed []string
	for _, tag := range sortedKeys(units) {
		t, unit := tallies[tag], units[tag]
		t.close()
		c := Column{Name: tag, Number: d.cols[s.value] + 1, Tag: true}
		d.describeColumn(&c, t, tag)
		if unit.beside {
			c.Because = filledJoin("unit from the column "+series.Quoted(d.name(s.unit)), c.Because)
			c.UnitAssumed = c.Unit // the loader looks at tags and cells only
		}
		if unit.mixed {
			mixed = append(mixed, tag)
		}
		d.out.Columns = append(d.out.Columns, c)
	}
	if len(mixed) > 0 {
		d.doubt("log.columns", "# nothing to set: export in one unit", "none", "the column %s holds several units for %s", series.Quoted(d.name(s.unit)), series.List(mixed, 8))
		d.ofColumns(mixed)
	}
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// tagOf joins what a row is of, as the farm file's tags do.
func (d *describer) tagOf(tags []int, cells []string) string {
	if len(tags) == 1 {
		return celltext.FoldBlanks(cells[d.cols[tags[0]]])
	}
	parts := make([]string, len(tags))
	for n, k := range tags {
		parts[n] = celltext.FoldBlanks(cells[d.cols[k]])
	}
	return strings.Join(parts, "/")
}

// tagUnit is a tag's unit: of its name, else of the column beside the values,
// else of the values' header. mixed: that column holds several.
type tagUnit struct {
	text          string
	beside, mixed bool
}

// tagUnits gives each tag's unit.
func (d *describer) tagUnits(s *tagSet) map[string]*tagUnit {
	out := map[string]*tagUnit{}
	for r := range d.rows() {
		tag := d.tagOf(s.tags, r.cells)
		u := out[tag]
		if u == nil {
			u = &tagUnit{text: d.src.Units[d.cols[s.value]]}
			for _, k := range s.tags {
				if named := celltext.HeaderUnit(celltext.FoldBlanks(r.cells[d.cols[k]])); named != "" {
					u.text = named
				}
			}
			if s.unit >= 0 && u.text == "" {
				u.text, u.beside = r.cells[s.unit], true
			}
			out[tag] = u
			continue
		}
		if !u.beside {
			continue
		}
		if unit := r.cells[s.unit]; u.text == "" {
			u.text = unit
		} else if unit != "" && unit != u.text {
			u.mixed = true
		}
	}
	for _, u := range out {
		if u.beside = u.beside && u.text != ""; u.mixed {
			u.text, u.beside = "", false
		}
	}
	return out
}

// tagColumns finds the columns of few texts, in every row, beside one column of
// values, where the names of both say so or rows share their stamps.
func (d *describer) tagColumns() (tagSet, bool) {
	s := tagSet{value: d.valueColumn(), unit: -1}
	if s.value < 0 {
		return s, false
	}
	able := d.tagCandidates()
	able = slices.DeleteFunc(able, func(k int) bool { return k == s.value })
	first := d.firstTag(able)
	if first < 0 {
		return s, false
	}
	named := d.isTagName(first) && newHeader(d.src.Header[d.cols[s.value]]).any(wordsValue)
	if !named && (d.combinations([]int{first}) < 2 || !d.sharedStamps() && !d.partsReadings(first, s.value)) {
		return s, false
	}
	s.tags = d.widen([]int{first}, able)
	if units := slices.IndexFunc(d.src.Header, isUnitName); units >= 0 { // of the one value, wherever it stands
		s.unit = units
	}
	return s, len(s.tags) > 0
}

// partsReadings: the texts of column k are names as programs make them
// ("sensor.tank_temp") and tell apart what cannot be one reading: numbers from
// words for on and off, or numbers that hardly vary but with the name.
func (d *describer) partsReadings(k, value int) bool {
	for s := range d.tally[k].texts {
		if !strings.ContainsAny(s, "._/:") || celltext.LeadingDigits(s) > 0 {
			return false // a time of day, a number with a mark
		}
	}
	type part struct{ n, sum, squares, words float64 }
	parts, all := map[string]*part{}, part{}
	for r := range d.rows() {
		tag, text := d.tagOf([]int{k}, r.cells), r.cells[d.cols[value]]
		if parts[tag] == nil {
			parts[tag] = &part{}
		}
		p := parts[tag]
		if v, _, ok := parse(text, d.tally[value].marks); ok {
			p.n, p.sum, p.squares = p.n+1, p.sum+v, p.squares+v*v
			all.n, all.sum, all.squares = all.n+1, all.sum+v, all.squares+v*v
		} else if _, state := logs.StateOf(text); state {
			p.words++
		}
	}
	numbers, words, within := 0, 0, 0.0
	for _, tag := range sortedKeys(parts) {
		switch p := parts[tag]; {
		case p.n > 9*p.words:
			numbers++
			within += p.squares - p.sum*p.sum/p.n
		case p.words > 9*p.n:
			words++
		default:
			return false
		}
	}
	return numbers > 0 && words > 0 || numbers > 1 && within < 0.1*(all.squares-all.sum*all.sum/all.n)
}

// firstTag is the column that says most plainly what a row is of: one of texts,
// by its name if it has one; else one of numbers that are not all the same. -1 =
// none.
func (d *describer) firstTag(able []int) int {
	first := -1
	for _, k := range able {
		if first < 0 && d.out.Columns[k].Kind == Text || first >= 0 && d.isTagName(k) && !d.isTagName(first) {
			first = k
		}
	}
	for _, k := range able {
		if first < 0 && d.out.Columns[k].Kind != Text && d.combinations([]int{k}) > 1 {
			first = k
		}
	}
	return first
}

func (d *describer) isTagName(k int) bool { return newHeader(d.src.Header[d.cols[k]]).any(wordsTag) }

// tagCandidates are the columns that may say what a row is of: few texts in
// every row, or numbers under a name that says so.
func (d *describer) tagCandidates() []int {
	var out []int
	for k := range d.cols {
		t, c := d.tally[k], &d.out.Columns[k]
		h := d.src.Header[d.cols[k]]
		switch {
		case isUnitName(h) || newHeader(h).any(wordsQuality):
		case c.Kind == Text && t.bad+t.states >= t.rows*19/20 && len(t.texts) <= mostTags && t.rows >= 2*len(t.texts),
			d.isNumberedTag(k):
			out = append(out, k)
		}
	}
	return out
}

// isNumberedTag: whole numbers, a few of them, under the name of a device or
// channel.
func (d *describer) isNumberedTag(k int) bool {
	t, h := d.tally[k], newHeader(d.src.Header[d.cols[k]])
	for _, word := range h.tokens { // "Probe 1" is a probe's readings
		if !slices.Contains(wordsNumbered, word) {
			return false
		}
	}
	return d.out.Columns[k].Kind != Text && t.numbers == t.rows && t.whole && t.least >= 0 && len(t.codes) == 0 && d.src.Units[d.cols[k]] == "" &&
		len(h.tokens) > 0 && d.combinations([]int{k}) <= min(mostTags, t.rows/2)
}

// valueColumn is the one column of values, an index into cols; what is said of
// them beside (a quality, a device's number) aside. -1 = none, or several.
func (d *describer) valueColumn() int {
	var all, rest []int
	for k := range d.cols {
		if c := &d.out.Columns[k]; c.Kind == Index || c.Kind == Text || c.Kind == Event || c.Readings == 0 {
			continue
		}
		all = append(all, k)
		if h := newHeader(d.src.Header[d.cols[k]]); (!h.any(wordsQuality) || h.any(wordsValue)) && !d.isNumberedTag(k) {
			rest = append(rest, k)
		}
	}
	switch {
	case len(rest) == 1:
		return rest[0]
	case len(all) == 1:
		return all[0]
	}
	return -1
}

// widen adds the columns that part the tags further: those by whose name a row
// is of a device or channel, and those without which rows of one tag share
// their stamps. nil where that makes too many.
func (d *describer) widen(tags, able []int) []int {
	n, same := d.combinations(tags), d.sameStamps(tags)
	for _, k := range able {
		if slices.Contains(tags, k) {
			continue
		}
		more := append(slices.Clone(tags), k)
		wider := d.combinations(more)
		if wider == n {
			continue
		}
		if shared := d.sameStamps(more); d.isTagName(k) || 2*shared <= same && same > 0 {
			tags, n, same = more, wider, shared
		}
	}
	if n > mostTags {
		return nil
	}
	for i := 0; i < len(tags) && len(tags) > 1; { // a column that parts nothing, such as the one device's
		if less := slices.Delete(slices.Clone(tags), i, i+1); d.combinations(less) == n {
			tags = less
		} else {
			i++
		}
	}
	slices.Sort(tags)
	return tags
}

// combinations counts what differing tags the columns make together, up to one
// more than there may be.
func (d *describer) combinations(tags []int) int {
	seen := map[string]bool{}
	for r := range d.rows() {
		if seen[d.tagOf(tags, r.cells)] = true; len(seen) > mostTags {
			break
		}
	}
	return len(seen)
}

// stampOf is a row's stamp as written: rows of one minute may have been spread
// over it.
func (d *describer) stampOf(r row) int64 {
	if d.spread() {
		return r.atMS / 60000 * 60000
	}
	return r.atMS
}

// sameStamps counts rows that share stamp and tag with the row of that tag
// before.
func (d *describer) sameStamps(tags []int) int {
	last, n := map[string]int64{}, 0
	for r := range d.rows() {
		tag, at := d.tagOf(tags, r.cells), d.stampOf(r)
		if before, some := last[tag]; some && before == at {
			n++
		}
		last[tag] = at
	}
	return n
}

// sharedStamps: at least three in ten rows carry the stamp of the row before.
func (d *describer) sharedStamps() bool {
	same, n := 0, 0
	var last int64
	for r := range d.rows() {
		at := d.stampOf(r)
		if n > 0 && at == last {
			same++
		}
		last = at
		n++
	}
	return 10*same >= 3*n
}

// mixedRows lists, in a table of several columns of values, a column that says
// of what device each row is: its devices' readings stand in one column.
func (d *describer) mixedRows() {
	for _, k := range d.tagCandidates() {
		n := d.combinations([]int{k})
		if n < 2 || !d.isTagName(k) && (!d.sharedStamps() || d.sameStamps([]int{k}) > len(d.at.Order)/20) {
			continue
		}
		name := d.name(d.cols[k])
		var sees []string
		for i := range d.out.Columns {
			if c := &d.out.Columns[i]; i != k && c.Readings > 0 && c.Kind != Text && c.Kind != Event && c.Kind != Index {
				sees = append(sees, c.Name)
			}
		}
		if len(sees) < 2 {
			continue
		}
		d.doubt("tags", "# nothing to set: export each one's rows to a file of its own", "they are read as one",
			"%s says of which of %d each row is: the readings of all stand mixed in %s", series.Quoted(name), n, series.List(sees, 8))
		d.ofColumns(sees)
		return
	}
}
