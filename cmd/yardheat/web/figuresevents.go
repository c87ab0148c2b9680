package web

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/ingest/farm/edit"
	figures "yardheat/ingest/farm/form"
)

// eventWords are the events with words of their own.
var eventWords = []string{"bedded", "cleared", "turned", "housed", "turned_out", "serviced", "descaled", "bled", "meter_changed"}

func (v *view) eventPicks(now string) []pick {
	out := make([]pick, len(eventWords))
	for i, w := range eventWords {
		out[i] = pick{Value: w, Label: v.Say("event." + w), Now: w == now}
	}
	return out
}

// events lists what stands in the farm file.
func (v *view) events(d *edit.Doc) []eventView {
	var out []eventView
	for n := range d.Len("event") {
		table := fmt.Sprintf("event[%d]", n)
		at, _ := d.Get(table, "at")
		what, _ := d.Get(table, "what")
		e := eventView{N: n, At: strings.TrimSuffix(strings.Replace(fmt.Sprint(at), "T", " ", 1), ":00"), What: clean(fmt.Sprint(what))}
		if t, ok := at.(time.Time); ok {
			e.At = t.Format("2006-01-02 15:04 -07:00")
		}
		if v.c.Has("event." + fmt.Sprint(what)) {
			e.What = v.Say("event." + fmt.Sprint(what))
		}
		if t, ok := d.Get(table, "tonnes"); ok {
			var x float64
			if _, err := fmt.Sscan(fmt.Sprint(t), &x); err == nil {
				e.Tonnes = v.plainNumber(x) + "\u00a0t"
			}
		}
		out = append(out, e)
	}
	return out
}

// eventAdd notes one more event.
func (s *Server) eventAdd(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	v := s.newView(r, f, "figures")
	doc, toml, err := openDoc(f)
	if err != nil || doc == nil {
		s.showFigures(w, r, http.StatusConflict, v, doc, toml, err, figuresView{Nothing: doc == nil && err == nil}, nil)
		return
	}
	e := eventForm{At: field(r, "at"), What: field(r, "what"), Own: strings.TrimSpace(field(r, "own")), Tonnes: strings.TrimSpace(field(r, "tonnes"))}
	at, err := time.Parse("2006-01-02T15:04", e.At)
	e.AtBad = err != nil || at.Year() < 1990 || at.Year() > 2200
	pairs := []edit.Pair{}
	if !e.AtBad {
		if raw, err := edit.Raw(at.Format("2006-01-02T15:04:05")); err == nil {
			pairs = append(pairs, edit.Pair{Key: "at", Value: raw})
		}
	}
	what := e.What
	if e.Own != "" {
		what = e.Own
	}
	pairs = append(pairs, edit.Pair{Key: "what", Value: edit.Text(what)})
	if e.Tonnes != "" {
		x, _, why := figures.ParseNumber(e.Tonnes, "t")
		if e.TonnesBad = why != "" || !(x > 0) || x > 1e5; !e.TonnesBad {
			pairs = append(pairs, edit.Pair{Key: "tonnes", Value: edit.Number(x)})
		}
	}
	if e.AtBad || e.TonnesBad || what == "" {
		s.showFigures(w, r, http.StatusUnprocessableEntity, v, doc, toml, nil, figuresView{Event: e}, nil)
		return
	}
	next := doc.Copy()
	if _, err := next.Add("event", pairs...); err != nil {
		s.fail(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	s.setEvents(w, r, v, f, toml, next)
}

// eventRemove takes one out, if it is still the one that was shown.
func (s *Server) eventRemove(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	v := s.newView(r, f, "figures")
	doc, toml, err := openDoc(f)
	n := int(positive(field(r, "n"))) - 1
	if err != nil || doc == nil || baseOf(toml) != field(r, "base") || n < 0 || n >= doc.Len("event") {
		s.showFigures(w, r, http.StatusConflict, v, doc, toml, err, figuresView{Nothing: doc == nil && err == nil, Conflict: true}, nil)
		return
	}
	next := doc.Copy()
	if err := next.Remove(fmt.Sprintf("event[%d]", n)); err != nil {
		s.fail(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	s.setEvents(w, r, v, f, toml, next)
}

func (s *Server) setEvents(w http.ResponseWriter, r *http.Request, v *view, f farms.Farm, toml []byte, next *edit.Doc) {
	if _, faults := next.Farm(); len(faults) > 0 {
		now, _ := edit.New(toml) // it was read before
		s.showFigures(w, r, http.StatusUnprocessableEntity, v, now, toml, nil, figuresView{Rest: []string{faultLine(faults[0])}}, nil)
		return
	}
	switch err := f.SetTOML(toml, next.Bytes()); {
	case errors.Is(err, farms.ErrChanged):
		now, _ := edit.New(toml)
		s.showFigures(w, r, http.StatusConflict, v, now, toml, nil, figuresView{Conflict: true}, nil)
	case err != nil:
		s.fail(w, r, http.StatusInternalServerError, err)
	default:
		http.Redirect(w, r, farmURL(f.Name())+"/figures?saved=1#events", http.StatusSeeOther)
	}
}

// fileView is the farm file as text, with its earlier forms.
type fileView struct {
	Now     string
	Earlier []earlierView
	Done    bool
	Bad     bool
	Base    string
}

type earlierView struct{ ID, At, Text string }

func (s *Server) filePage(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	s.showFile(w, r, http.StatusOK, f, false)
}

func (s *Server) showFile(w http.ResponseWriter, r *http.Request, status int, f farms.Farm, bad bool) {
	v := s.newView(r, f, "figures")
	toml, err := f.TOML()
	if err != nil && !errors.Is(err, farms.ErrNotFound) {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	page := fileView{Now: shownText(toml), Done: r.URL.Query().Get("done") != "", Bad: bad, Base: baseOf(toml)}
	all, err := f.Earlier()
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	for _, e := range all {
		b, err := f.EarlierTOML(e.ID)
		if err != nil {
			continue
		}
		page.Earlier = append(page.Earlier, earlierView{ID: e.ID, At: v.Choice.Moment(e.At.Local()), Text: shownText(b)})
	}
	v.Title, v.Page = v.Say("other.title")+" – "+f.Title(), page
	s.show(w, r, status, "file", v)
}

// shownText is a text file fit to show: lines kept, other signs marked.
func shownText(b []byte) string {
	lines := strings.Split(strings.ReplaceAll(strings.ToValidUTF8(string(b), "�"), "\r\n", "\n"), "\n")
	for i, l := range lines {
		lines[i] = clean(strings.ReplaceAll(l, "\t", "    "))
	}
	return strings.Join(lines, "\n")
}

// fileBack puts an earlier form in place again.
func (s *Server) fileBack(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	now, err := f.TOML()
	if err != nil && !errors.Is(err, farms.ErrNotFound) {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	b, err := f.EarlierTOML(field(r, "id"))
	if errors.Is(err, farms.ErrNotFound) {
		s.notFound(w, r)
		return
	}
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	doc, err := edit.New(b)
	if err == nil {
		if _, faults := doc.Farm(); len(faults) > 0 {
			err = errors.New("faults")
		}
	}
	if err != nil {
		s.showFile(w, r, http.StatusUnprocessableEntity, f, true)
		return
	}
	if err := f.SetTOML(now, b); err != nil {
		s.fail(w, r, http.StatusConflict, err)
		return
	}
	http.Redirect(w, r, farmURL(f.Name())+"/file?done=1", http.StatusSeeOther)
}
