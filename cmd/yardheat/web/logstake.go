package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/looking"
	"yardheat/ingest/clock"
	"yardheat/ingest/farm/edit"
	"yardheat/ingest/look"
	"yardheat/ingest/look/again"
	"yardheat/ingest/look/draft"
	"yardheat/ingest/series"
)

// logsChoose takes what the farmer says of one file: choices of its columns, a fix
// of one click, or that it goes out again.
func (s *Server) logsChoose(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	id := r.PathValue("id")
	r.Body = http.MaxBytesReader(w, r.Body, 1<<20)
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, err)
		return
	}
	back := farmURL(f.Name()) + "/logs"
	if r.PostForm.Get("drop") != "" {
		if err := f.Drop(id); err != nil && !errors.Is(err, farms.ErrNotFound) {
			s.fail(w, r, http.StatusInternalServerError, err)
			return
		}
		http.Redirect(w, r, back, http.StatusSeeOther)
		return
	}
	also, err := s.choose(f, id, r.PostForm)
	switch {
	case errors.Is(err, farms.ErrNotFound):
		s.notFound(w, r)
		return
	case err != nil:
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	s.waitFor(f, id)
	if r.Header.Get("X-Part") != "" {
		s.answerCard(w, r, f, id, also, true)
		return
	}
	http.Redirect(w, r, back+"#file-"+id, http.StatusSeeOther)
}

// waitFor lets a file that is read anew a moment, so that most answers already
// show it.
func (s *Server) waitFor(f farms.Farm, id string) {
	b, err := s.gather(f)
	if err != nil {
		return
	}
	for i, w := range b.waiting {
		if path, err := f.Content(w.ID); w.ID == id && err == nil {
			s.looker.Wait(askFor(w, path, b.notes[i]), 1500*time.Millisecond)
		}
	}
}

// choose books choices of one file, and of the other new files of the same layout;
// also is how many these are.
func (s *Server) choose(f farms.Farm, id string, form url.Values) (also int, err error) {
	b, err := s.gather(f)
	if err != nil {
		return 0, err
	}
	i := slices.IndexFunc(b.waiting, func(w farms.Waiting) bool { return w.ID == id })
	if i < 0 {
		return 0, farms.ErrNotFound
	}
	before := b.notes[i]
	n := before.with(b.found[i], form, b.lay()[i])
	if err := writeNote(f, id, n); err != nil {
		return 0, err
	}
	if b.found[i] == nil {
		return 0, nil
	}
	for k := range b.waiting {
		if k == i || !alike(b, i, k) {
			continue
		}
		o, changed := b.notes[k].follow(before, n)
		if !changed {
			continue
		}
		if err := writeNote(f, b.waiting[k].ID, o); err != nil {
			return also, err
		}
		also++
	}
	return also, nil
}

// alike tells two new files of the same layout.
func alike(b *batch, i, k int) bool {
	x, y := b.found[i], b.found[k]
	if x == nil || y == nil || len(x.Tables) != len(y.Tables) || len(x.Tables) == 0 {
		return false
	}
	for t := range x.Tables {
		if likeness(b.waiting[i].Name, &x.Tables[t]) != likeness(b.waiting[k].Name, &y.Tables[t]) {
			return false
		}
	}
	return true
}

// follow makes the changes from before to after in another file's note.
func (n fileNote) follow(before, after fileNote) (fileNote, bool) {
	changed := false
	for _, key := range saidKeys {
		if before.Said[key] != after.Said[key] && n.Said[key] != after.Said[key] {
			n.Said[key], changed = after.Said[key], true
		}
	}
	for key, c := range after.Columns {
		if before.Columns[key] != c && n.Columns[key] != c {
			n.Columns[key], changed = c, true
		}
	}
	return n, changed
}

// with is the note with a form's entries. What the form does not name stays.
func (n fileNote) with(found *looking.Found, form url.Values, eff [][]effective) fileNote {
	out := fileNote{Said: map[string]string{}, Columns: map[string]columnNote{}}
	for k, v := range n.Said {
		out.Said[k] = v
	}
	for k, v := range n.Columns {
		out.Columns[k] = v
	}
	if found != nil {
		for i := range found.Tables {
			for k := range found.Tables[i].Columns {
				key := columnKey(i, k)
				if form.Has("q." + key) {
					now := effective{}
					if i < len(eff) {
						now = eff[i][k]
					}
					out.enter(key, found.Tables[i].Columns[k].Name, form, now)
				}
			}
		}
	}
	if key, value, ok := strings.Cut(form.Get("fix"), "="); ok {
		out.fix(key, value, found)
	}
	return out
}

// enter books one column's entries; one that is left as it is shown is no choice.
func (n fileNote) enter(key, name string, form url.Values, now effective) {
	c := n.column(key, name)
	if q := form.Get("q." + key); q != now.m.Quantity && !(q == notUsed && !now.m.used()) {
		if _, known := series.Lookup(series.Quantity(q)); known || q == notUsed {
			c.Quantity = q
			c.Place = now.m.Place
			if q == notUsed {
				c.Place = ""
			}
		}
	}
	text := func(field string, into *string) {
		if form.Has(field + "." + key) {
			v := strings.TrimSpace(form.Get(field + "." + key))
			if r := []rune(v); len(r) > 60 {
				v = string(r[:60])
			}
			*into = v
		}
	}
	if form.Has("p."+key) && strings.TrimSpace(form.Get("p."+key)) != now.m.Place {
		text("p", &c.Place)
		if c.Quantity == "" && now.m.used() {
			c.Quantity = now.m.Quantity
		}
	}
	if u := form.Get("u." + key); u != "" && u != now.m.Unit || u != "" && form.Has("save") && now.m.Assumed && form.Get("q."+key) == now.m.Quantity {
		if _, ok := series.ParseUnit(u); ok {
			c.Unit = u
		}
	}
	if v := form.Get("n." + key); v == "yes" || v == "no" {
		if (v == "yes") != now.m.Counter {
			c.Counter = v
		}
	}
	if form.Has("f." + key) {
		if v := form.Get("f." + key); v == "" || v == "pocket" || v == "pipe" {
			c.Fit = v
		}
	}
	text("s", &c.Scale)
	text("v", &c.Volts)
	text("h", &c.Phases)
	text("w", &c.Factor)
	if c != (columnNote{Name: name}) {
		n.Columns[key] = c
	} else {
		delete(n.Columns, key)
	}
}

// fix books what one click settles.
func (n fileNote) fix(key, value string, found *looking.Found) {
	switch key {
	case "unsay":
		delete(n.Said, value)
	case "without":
		if name, ok := columnName(found, value); ok {
			n.Columns[value] = columnNote{Name: name, Quantity: notUsed}
		}
	case "like":
		at, of, _ := strings.Cut(value, "|")
		quantity, place, _ := strings.Cut(of, "@")
		_, known := series.Lookup(series.Quantity(quantity))
		if name, ok := columnName(found, at); ok && known {
			n.Columns[at] = columnNote{Name: name, Quantity: quantity, Place: place, Same: true}
		}
	default:
		if slices.Contains(saidKeys, key) && n.canSay(key, value) {
			n.Said[key] = value
		}
	}
}

// canSay refuses settings that the reader would not take.
func (n fileNote) canSay(key, value string) bool {
	opt := look.Options{}
	switch key {
	case "dates":
		opt.Dates = value
	case "zone":
		opt.Zone = value
	case "decimal":
		opt.Table.Decimal = value
	case "encoding":
		opt.Table.Encoding = value
	case "separator":
		opt.Table.Separator = value
	case "stamp":
		return value == "start" || value == "end" || value == "instant"
	case "header":
		return len(value) < 6 && strings.Trim(value, "0123456789") == ""
	}
	return opt.Validate() == nil
}

func columnName(found *looking.Found, key string) (string, bool) {
	if found == nil {
		return "", false
	}
	for i := range found.Tables {
		for k := range found.Tables[i].Columns {
			if columnKey(i, k) == key {
				return found.Tables[i].Columns[k].Name, true
			}
		}
	}
	return "", false
}

// isMilkings tells a list of milkings, as the first draft of a farm file does.
func isMilkings(name string, found *looking.Found) bool {
	d, err := edit.New(draft.New([]draft.File{{Name: name, Tables: found.Tables}}, draft.Options{Name: "x", Zone: "UTC"}).TOML)
	if err != nil {
		return false
	}
	_, ok := d.Get("milkings", "file")
	return ok
}

// errFarmFile: the farm file would not be one.
type errFarmFile struct{ faults []series.Fault }

func (e *errFarmFile) Error() string {
	var lines []string
	for _, f := range e.faults {
		lines = append(lines, fmt.Sprintf("%s: got %s; want %s; %s", f.Where, f.Got, f.Want, f.Do))
	}
	return strings.Join(lines, "\n")
}

// logsKeep takes the understood files in.
func (s *Server) logsKeep(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	v := s.newView(r, f, "logs")
	b, err := s.logsOf(v, f)
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	zone := strings.TrimSpace(field(r, "zone"))
	sum := v.summary(b, v.cards(b), logsSummaryView{Zone: zone})
	if b.toml == nil {
		if _, err := clock.ParseZone(zone); err != nil || !strings.Contains(zone, "/") && zone != "UTC" {
			sum.ZoneBad = true
		}
	}
	if !sum.Ready || sum.ZoneBad {
		s.showLogs(w, r, http.StatusUnprocessableEntity, v, b, sum)
		return
	}
	n, err := b.keep(zone)
	var bad *errFarmFile
	switch {
	case errors.Is(err, farms.ErrChanged) || errors.Is(err, farms.ErrExists) || errors.Is(err, farms.ErrNotFound): // another tab was first
		sum.Faults = []string{v.Say("logs.conflict")}
		s.showLogs(w, r, http.StatusConflict, v, b, sum)
	case errors.As(err, &bad):
		sum.Faults = append([]string{v.Say("logs.edit.failed")}, strings.Split(bad.Error(), "\n")...)
		s.showLogs(w, r, http.StatusUnprocessableEntity, v, b, sum)
	case err != nil:
		s.fail(w, r, http.StatusInternalServerError, err)
	default:
		http.Redirect(w, r, fmt.Sprintf("%s/logs?done=%d", farmURL(f.Name()), n), http.StatusSeeOther)
	}
}

// keep makes the farm file that reads the files, and puts both in place at once.
func (b *batch) keep(zone string) (int, error) {
	names, files, err := b.names()
	if err != nil {
		return 0, err
	}
	var doc *edit.Doc
	if b.toml == nil {
		doc, err = b.draftFarm(zone, files)
	} else {
		doc, err = b.next(files)
	}
	if err != nil {
		return 0, err
	}
	if _, faults := doc.Farm(); len(faults) > 0 {
		return 0, &errFarmFile{faults}
	}
	return len(names), b.farm.Keep(names, b.toml, doc.Bytes())
}

// taking is a file that is taken in, under the name that it gets.
type taking struct {
	at   int // into waiting
	name string
}

// names gives every file that is taken in a name that is free.
func (b *batch) names() (map[string]string, []taking, error) {
	names := map[string]string{}
	used := map[string]bool{}
	var files []taking
	for i, w := range b.waiting {
		if b.found[i] == nil || !usable(b.found[i]) || b.twice(i) != "" {
			continue
		}
		name, err := b.freeName(w.Name, used)
		if err != nil {
			return nil, nil, err
		}
		names[w.ID] = name
		files = append(files, taking{i, name})
	}
	return names, files, nil
}

func (b *batch) freeName(name string, used map[string]bool) (string, error) {
	free, err := b.farm.FreeName(name)
	if err != nil {
		return "", err
	}
	stem, ext := free, ""
	if k := strings.LastIndexByte(free, '.'); k > 0 {
		stem, ext = free[:k], free[k:]
	}
	for n := 2; used[strings.ToLower(free)]; n++ {
		if free, err = b.farm.FreeName(fmt.Sprintf("%s (%d)%s", stem, n, ext)); err != nil {
			return "", err
		}
	}
	used[strings.ToLower(free)] = true
	return free, nil
}

// tables are a file's tables that hold rows, called by its new name.
func (b *batch) tables(t taking) []look.Table {
	var out []look.Table
	for _, tab := range b.found[t.at].Tables {
		if tab.Rows > 0 {
			tab.File = t.name
			out = append(out, tab)
		}
	}
	return out
}

// draftFarm drafts the farm file of a first visit.
func (b *batch) draftFarm(zone string, files []taking) (*edit.Doc, error) {
	opt := draft.Options{Name: b.farm.Title(), Zone: zone, ZoneFrom: "as chosen"}
	all := b.lay()
	var in []draft.File
	for _, t := range files {
		in = append(in, draft.File{Name: t.name, Tables: b.tables(t)})
		for i := range b.found[t.at].Tables {
			tab := &b.found[t.at].Tables[i]
			at := draft.At{File: t.name, Sheet: tab.Sheet, Number: tab.Number}
			for k := range tab.Columns {
				if c, ok := b.choice(t.at, i, k, all[t.at][i][k], true); ok {
					c.At = at
					opt.Choices = append(opt.Choices, c)
				}
			}
			for _, p := range b.notes[t.at].settings() {
				opt.Settings = append(opt.Settings, draft.Setting{At: at, Key: p.Key, Value: p.Value})
			}
		}
	}
	doc, err := edit.New(draft.New(in, opt).TOML)
	if err != nil {
		return nil, err
	}
	if err := doc.Set("farm", "timezone", edit.Text(zone)); err != nil {
		return nil, err
	}
	for _, m := range doc.Marks() {
		if m.Table == "milkings.columns" { // seen on the page, and taken in
			if err := doc.Confirm(m.Table, m.Key); err != nil {
				return nil, err
			}
		}
	}
	return doc, nil
}

// choice is a column as the farm file is to have it; ok is false where the draft's
// own guess, or what stands, may stay. all: also columns that nobody touched.
func (b *batch) choice(file, table, column int, e effective, all bool) (draft.Choice, bool) {
	tab := &b.found[file].Tables[table]
	note := b.notes[file].column(columnKey(table, column), tab.Columns[column].Name)
	touched := note != (columnNote{Name: note.Name})
	left := e.same != "" && !e.m.used() // said on the page; the draft's own guess must not bring it back
	if !touched && (!all || !e.m.used() && !left || e.before) {
		return draft.Choice{}, false
	}
	c := draft.Choice{Column: draft.Key(tab, column), Quantity: e.m.Quantity, Place: e.m.Place, Unit: e.m.Unit, Counter: e.m.Counter, Scale: e.m.Scale,
		Fit: e.m.Fit, Volts: e.m.Volts, Phases: e.m.Phases, PowerFactor: e.m.Factor}
	if !e.m.used() {
		c = draft.Choice{Column: c.Column, Quantity: notUsed}
	}
	return c, true
}

// settings are what was said of a file, as [[log]] writes it.
func (n fileNote) settings() []edit.Pair {
	var out []edit.Pair
	for _, key := range saidKeys {
		value := n.Said[key]
		switch {
		case value == "":
		case key == "header":
			out = append(out, edit.Pair{Key: key, Value: edit.Number(positive(value))})
		default:
			out = append(out, edit.Pair{Key: key, Value: edit.Text(value)})
		}
	}
	return out
}

// next plans the edits for new files of a farm that stands.
func (b *batch) next(files []taking) (*edit.Doc, error) {
	doc, err := edit.New(b.toml)
	if err != nil {
		return nil, err
	}
	in := make([]again.File, len(files))
	answers := map[int]again.Answer{}
	all := b.lay()
	n := 0
	for i, t := range files {
		in[i] = again.File{Name: t.name, SHA256: b.waiting[t.at].SHA256}
		for k := range b.found[t.at].Tables {
			tab := b.found[t.at].Tables[k]
			tab.File = t.name
			in[i].Tables = append(in[i].Tables, tab)
			m := b.match(t.at, k)
			a := again.Answer{Skip: tab.Rows == 0, Settings: b.notes[t.at].settings()}
			for c := range tab.Columns {
				note := b.notes[t.at].column(columnKey(k, c), tab.Columns[c].Name)
				if m != nil && c < len(m.Columns) && note == (columnNote{Name: note.Name, Same: true, Quantity: m.Columns[c].Quantity, Place: m.Columns[c].Place}) &&
					m.Columns[c].State == again.Renamed {
					a.Same = append(a.Same, m.Columns[c].Key) // with all that stood for the old one
					continue
				}
				if ch, ok := b.choice(t.at, k, c, all[t.at][k][c], m == nil || m.Log < 0); ok {
					a.Columns = append(a.Columns, ch)
				}
			}
			answers[n] = a
			n++
		}
	}
	plan, err := again.Compare(*b.known, in).Plan(doc, answers)
	if err != nil {
		return nil, err
	}
	return doc, plan.Apply(doc)
}
