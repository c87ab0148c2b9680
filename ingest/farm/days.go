package farm

import (
	"path"
	"slices"
	"strings"
	"time"

	"yardheat/ingest/farm/keyed"
)

// dayTables reads what happens on the farm: milkings, seasons, events.
func (r *reader) dayTables(t *keyed.Tab, f *Farm) {
	f.Milkings = r.milkings(t)
	for _, st := range t.Tables("season") {
		f.Seasons = append(f.Seasons, r.season(st, f.Zone))
	}
	for _, et := range t.Tables("event") {
		var e Event
		et.Need("at", keyed.TimeWant)
		et.Need("what", "what happened, for example \"bedded\"")
		et.Moment("at", &e.At, f.Zone)
		et.Text("what", &e.What)
		et.Number("tonnes", &e.Tonnes, keyed.Above0(100000, "t"))
		et.Close(nil)
		f.Events = append(f.Events, e)
	}
	f.EventList = r.eventList(t)
	slices.SortStableFunc(f.Events, func(a, b Event) int { return a.At.Compare(b.At) })
}

// eventColumns are the columns that a list of events can have.
var eventColumns = []string{"at", "what", "tonnes"}

func (r *reader) eventList(t *keyed.Tab) EventList {
	var l EventList
	et := t.Table("events")
	if et == nil {
		return l
	}
	l.Line = et.Node.Line
	et.Need("file", "the list's file name")
	et.Need("columns", "a table of columns: at = \"header\", what = \"header\"")
	if et.Text("file", &l.File) {
		r.inFolder(et.Node.Find("file").Val, et.Key("file"))
	}
	et.Choice("dates", &l.Dates, "dmy", "mdy", "ymd")
	if ct := et.Table("columns"); ct != nil {
		l.Columns = r.headers(ct, eventColumns)
		for _, key := range eventColumns[:2] {
			if _, ok := l.Columns[key]; !ok && ct.Node.Find(key) == nil {
				ct.Need(key, "the header of that column")
			}
		}
		ct.Close(nil)
	}
	et.Close(nil)
	return l
}

// milkingColumns are the columns that a list of milkings can have.
var milkingColumns = []string{"date", "start", "end", "milk_volume", "milk_in_temp", "milk_out_temp"}

func (r *reader) milkings(t *keyed.Tab) Milkings {
	m := Milkings{MilkIs: "milking"}
	mt := t.Table("milkings")
	if mt == nil {
		return m
	}
	m.Line = mt.Node.Line
	if mt.Text("file", &m.File) {
		r.inFolder(mt.Node.Find("file").Val, mt.Key("file"))
	}
	mt.Choice("dates", &m.Dates, "dmy", "mdy", "ymd")
	mt.Choice("milk_is", &m.MilkIs, "milking", "day", "collection")
	if ct := mt.Table("columns"); ct != nil {
		m.Columns = r.milkingHeaders(ct)
	}
	m.Times = r.times(mt)
	switch times, file := mt.Node.Find("times"), mt.Node.Find("file"); {
	case times != nil && file != nil:
		mt.Bad(times, "either file or times", "take one of them out")
	case file != nil:
		mt.Need("columns", "a table of columns: start = \"header\" and so on")
	case mt.Node.Find("columns") != nil && !r.Broken:
		mt.Need("file", "the list's file name")
	}
	mt.Close(nil)
	return m
}

func (r *reader) milkingHeaders(t *keyed.Tab) map[string]string {
	out := r.headers(t, milkingColumns)
	if _, ok := out["start"]; !ok && t.Node.Find("start") == nil && t.Node.Find("date") == nil {
		t.Need("start", "the header of the column with the milkings' start, or date")
	}
	t.Close(nil)
	return out
}

// headers reads which header each of the keys stands for; each its own.
func (r *reader) headers(t *keyed.Tab, keys []string) map[string]string {
	out, from := map[string]string{}, map[string]string{}
	for _, key := range keys {
		var header string
		if !t.Text(key, &header) {
			continue
		}
		e := t.Node.Find(key)
		header = fold(header)
		if other := from[header]; other != "" {
			t.Bad(e, "a header of its own for each column ("+other+" has this one)", "name another header, or leave one of the two out")
			continue
		}
		if header == "" || !validNumbered(header) {
			t.Bad(e, "the header as written, or #n for the n-th column", "write the header")
			continue
		}
		from[header] = key
		out[key] = header
	}
	return out
}

// times reads ["05:20-07:05", …].
func (r *reader) times(t *keyed.Tab) [][2]int {
	const want = `start and end of each milking as "05:20-07:05"`
	_, list := t.Texts("times", want)
	var out [][2]int
	for _, n := range list {
		from, to, ok := strings.Cut(strings.ReplaceAll(n.Text, "–", "-"), "-")
		a, okA := keyed.Minutes(from)
		b, okB := keyed.Minutes(to)
		if !ok || !okA || !okB || a == b {
			r.Add(n.Line, t.Key("times"), keyed.Shown(n), want, "write hours and minutes with a colon")
			continue
		}
		out = append(out, [2]int{a, b})
	}
	slices.SortFunc(out, func(a, b [2]int) int { return a[0] - b[0] })
	for i := 1; i < len(out); i++ {
		if out[i][0] < out[i-1][1] && out[i-1][0] < out[i-1][1] {
			r.Add(t.Node.Find("times").Val.Line, t.Key("times"), "milkings that overlap", "each milking over before the next begins", "correct the times")
		}
	}
	return out
}

func (r *reader) season(t *keyed.Tab, zone *time.Location) Season {
	s := Season{Kind: "normal"}
	t.Text("name", &s.Name)
	t.Choice("kind", &s.Kind, "normal", "recovery_off", "before")
	from := t.Date("from", &s.From, zone)
	if t.Date("to", &s.To, zone) {
		if e := t.Node.Find("to"); from && s.To.Before(s.From) {
			t.Bad(e, "a day not before from", "swap the two, or correct the year")
		}
		y, m, d := s.To.Date()
		s.To = keyed.Midnight(y, m, d+1, zone)
	}
	t.Close(nil)
	return s
}

// inFolder refuses file names that leave the farm folder.
func (r *reader) inFolder(n *keyed.Node, key string) bool {
	const want = "a name inside the farm folder, such as \"logs/yard-*.csv\""
	do := ""
	switch p := n.Text; {
	case p == "":
		do = "write the file's name"
	case strings.Contains(p, `\`):
		do = "write / between folders, on every system"
	case strings.HasPrefix(p, "/") || len(p) > 1 && p[1] == ':':
		do = "name it from the farm folder on, and put the file there"
	case path.Clean(p) == ".." || strings.HasPrefix(path.Clean(p), "../"):
		do = "put the file into the farm folder"
	}
	if _, err := path.Match(n.Text, ""); do == "" && err != nil {
		do = "close the bracket of the pattern"
	}
	if do != "" {
		r.Add(n.Line, key, keyed.Shown(n), want, do)
	}
	return do == ""
}
