package farm

import (
	"path"
	"slices"
	"strings"
	"time"
)

// dayTables reads what happens on the farm: milkings, seasons, events.
func (r *reader) dayTables(t *tab, f *Farm) {
	f.Milkings = r.milkings(t)
	for _, st := range t.tables("season") {
		f.Seasons = append(f.Seasons, r.season(st, f.Zone))
	}
	for _, et := range t.tables("event") {
		var e Event
		et.need("at", timeWant)
		et.need("what", "what happened, for example \"bedded\"")
		et.moment("at", &e.At, f.Zone)
		et.text("what", &e.What)
		et.number("tonnes", &e.Tonnes, above0(100000, "t"))
		et.close(nil)
		f.Events = append(f.Events, e)
	}
	slices.SortStableFunc(f.Events, func(a, b Event) int { return a.At.Compare(b.At) })
}

// milkingColumns are the columns that a list of milkings can have.
var milkingColumns = []string{"date", "start", "end", "milk_volume", "milk_in_temp", "milk_out_temp"}

func (r *reader) milkings(t *tab) Milkings {
	m := Milkings{MilkIs: "milking"}
	mt := t.table("milkings")
	if mt == nil {
		return m
	}
	m.Line = mt.node.line
	if mt.text("file", &m.File) {
		r.inFolder(mt.node.find("file").val, mt.key("file"))
	}
	mt.choice("dates", &m.Dates, "dmy", "mdy", "ymd")
	mt.choice("milk_is", &m.MilkIs, "milking", "day", "collection")
	if ct := mt.table("columns"); ct != nil {
		m.Columns = r.milkingHeaders(ct)
	}
	m.Times = r.times(mt)
	switch times, file := mt.node.find("times"), mt.node.find("file"); {
	case times != nil && file != nil:
		mt.bad(times, "either file or times", "take one of them out")
	case file != nil:
		mt.need("columns", "a table of columns: start = \"header\" and so on")
	case mt.node.find("columns") != nil && !r.broken:
		mt.need("file", "the list's file name")
	}
	mt.close(nil)
	return m
}

func (r *reader) milkingHeaders(t *tab) map[string]string {
	out, from := map[string]string{}, map[string]string{}
	for _, key := range milkingColumns {
		var header string
		if !t.text(key, &header) {
			continue
		}
		e := t.node.find(key)
		header = fold(header)
		if other := from[header]; other != "" {
			t.bad(e, "a header of its own for each column ("+other+" has this one)", "name another header, or leave one of the two out")
			continue
		}
		if header == "" || !validNumbered(header) {
			t.bad(e, "the header as written, or #n for the n-th column", "write the header")
			continue
		}
		from[header] = key
		out[key] = header
	}
	if _, ok := out["start"]; !ok && t.node.find("start") == nil && t.node.find("date") == nil {
		t.need("start", "the header of the column with the milkings' start, or date")
	}
	t.close(nil)
	return out
}

// times reads ["05:20-07:05", …].
func (r *reader) times(t *tab) [][2]int {
	const want = `start and end of each milking as "05:20-07:05"`
	_, list := t.texts("times", want)
	var out [][2]int
	for _, n := range list {
		from, to, ok := strings.Cut(strings.ReplaceAll(n.text, "–", "-"), "-")
		a, okA := minutes(from)
		b, okB := minutes(to)
		if !ok || !okA || !okB || a == b {
			r.add(n.line, t.key("times"), shown(n), want, "write hours and minutes with a colon")
			continue
		}
		out = append(out, [2]int{a, b})
	}
	slices.SortFunc(out, func(a, b [2]int) int { return a[0] - b[0] })
	for i := 1; i < len(out); i++ {
		if out[i][0] < out[i-1][1] && out[i-1][0] < out[i-1][1] {
			r.add(t.node.find("times").val.line, t.key("times"), "milkings that overlap", "each milking over before the next begins", "correct the times")
		}
	}
	return out
}

func (r *reader) season(t *tab, zone *time.Location) Season {
	s := Season{Kind: "normal"}
	t.text("name", &s.Name)
	t.choice("kind", &s.Kind, "normal", "recovery_off", "before")
	from := t.date("from", &s.From, zone)
	if t.date("to", &s.To, zone) {
		if e := t.node.find("to"); from && s.To.Before(s.From) {
			t.bad(e, "a day not before from", "swap the two, or correct the year")
		}
		y, m, d := s.To.Date()
		s.To = midnight(y, m, d+1, zone)
	}
	t.close(nil)
	return s
}

// inFolder refuses file names that leave the farm folder.
func (r *reader) inFolder(n *node, key string) bool {
	const want = "a name inside the farm folder, such as \"logs/yard-*.csv\""
	do := ""
	switch p := n.text; {
	case p == "":
		do = "write the file's name"
	case strings.Contains(p, `\`):
		do = "write / between folders, on every system"
	case strings.HasPrefix(p, "/") || len(p) > 1 && p[1] == ':':
		do = "name it from the farm folder on, and put the file there"
	case path.Clean(p) == ".." || strings.HasPrefix(path.Clean(p), "../"):
		do = "put the file into the farm folder"
	}
	if _, err := path.Match(n.text, ""); do == "" && err != nil {
		do = "close the bracket of the pattern"
	}
	if do != "" {
		r.add(n.line, key, shown(n), want, do)
	}
	return do == ""
}
