package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"yardheat/cmd/yardheat/web/display"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/looking"
	"yardheat/ingest/clock"
	"yardheat/ingest/look/again"
)

// logRoutes are the addresses of the logs.
func (s *Server) logRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /farm/{farm}/logs", s.logsPage)
	mux.HandleFunc("GET /farm/{farm}/logs/state", s.logsState)
	mux.HandleFunc("GET /farm/{farm}/logs/summary", s.logsSummary)
	mux.HandleFunc("GET /farm/{farm}/logs/card/{id}", s.logsCard)
	mux.HandleFunc("GET /farm/{farm}/logs/kept", s.logsKept)
	mux.HandleFunc("POST /farm/{farm}/logs/files", s.logsReceive)
	mux.HandleFunc("POST /farm/{farm}/logs/choose/{id}", s.logsChoose)
	mux.HandleFunc("POST /farm/{farm}/logs/keep", s.logsKeep)
}

// logsView is the logs page.
type logsView struct {
	Cards   []logCard
	Summary logsSummaryView
	Kept    []keptView
	// Done is how many files were just taken in.
	Done int
	// Faults are those of farm.toml.
	Faults []string
}

// logsSummaryView says how far the new files are.
type logsSummaryView struct {
	View                        *view
	Good, Reading, Open, Broken int
	// Left is how many files have a column left out because another has it.
	Left int
	// Ready: there is something to take in and nothing hinders.
	Ready bool
	// First: the farm has no farm file yet, and its zone is asked.
	First   bool
	Zone    string
	ZoneBad bool
	Faults  []string
}

type keptView struct {
	Name, Size, At string
	Used           bool
}

// newView is a view of one farm before it is shown.
func (s *Server) newView(r *http.Request, f farms.Farm, section string) *view {
	v := &view{Farm: f, Section: section, c: s.texts, Choice: display.FromRequest(r), Version: s.opt.Version}
	v.Lang = lang(v.Choice.Lang)
	if in := sessionOf(r); in != nil {
		v.Token = in.token
	}
	return v
}

// logsOf gathers all that the logs page shows.
func (s *Server) logsOf(v *view, f farms.Farm) (*batch, error) {
	b, err := s.gather(f)
	if err != nil {
		return nil, err
	}
	v.FarmZone = b.zone()
	if b.known != nil {
		for i := range b.known.Farm.Logs {
			v.LogNames = append(v.LogNames, b.known.Farm.Logs[i].Name)
		}
	}
	return b, nil
}

func (s *Server) logsPage(w http.ResponseWriter, r *http.Request) {
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
	s.showLogs(w, r, http.StatusOK, v, b, logsSummaryView{})
}

// showLogs shows the logs page; sum carries what a refused form had.
func (s *Server) showLogs(w http.ResponseWriter, r *http.Request, status int, v *view, b *batch, sum logsSummaryView) {
	page := logsView{Cards: v.cards(b), Faults: v.farmFaults(b)}
	page.Summary = v.summary(b, page.Cards, sum)
	kept, err := b.farm.Logs()
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	for _, l := range kept {
		page.Kept = append(page.Kept, keptView{Name: l.Name, Size: v.Choice.Number(float64(l.SizeB)/1000, 0), At: v.Choice.Day(l.At), Used: b.uses(l.Name)})
	}
	if r.URL.Query().Get("done") != "" {
		page.Done = int(positive(r.URL.Query().Get("done")))
	}
	v.Title, v.Page = v.Say("logs.title")+" – "+b.farm.Title(), page
	s.show(w, r, status, "logs", v)
}

// summary counts the cards and says whether they can be taken in.
func (v *view) summary(b *batch, cards []logCard, sum logsSummaryView) logsSummaryView {
	sum.View, sum.First = v, b.toml == nil
	for _, c := range cards {
		switch c.State {
		case stateReading:
			sum.Reading++
		case stateGood:
			sum.Good++
		case stateOpen:
			sum.Open++
		case stateBroken:
			sum.Broken++
		}
		if slices.ContainsFunc(c.Tables, logTable.leavesOut) {
			sum.Left++
		}
	}
	sum.Ready = sum.Good > 0 && sum.Reading == 0 && sum.Open == 0 && (b.toml == nil || b.known != nil)
	if sum.Zone == "" {
		sum.Zone = b.zoneName()
	}
	return sum
}

// logsState says as JSON how far each file is: {"files":[{"id","state"}]}.
func (s *Server) logsState(w http.ResponseWriter, r *http.Request) {
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
	type one struct {
		ID    string `json:"id"`
		State string `json:"state"`
	}
	out := struct {
		Files []one `json:"files"`
	}{Files: []one{}}
	for _, c := range v.cards(b) {
		out.Files = append(out.Files, one{c.ID, c.State})
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	_ = json.NewEncoder(w).Encode(out) // the browser may be gone
}

// logsSummary is the part of the page below the cards.
func (s *Server) logsSummary(w http.ResponseWriter, r *http.Request) {
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
	s.part(w, v, "logs", "summary", v.summary(b, v.cards(b), logsSummaryView{}))
}

// logsCard is the card of one file.
func (s *Server) logsCard(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	s.answerCard(w, r, f, r.PathValue("id"), 0, false)
}

func (s *Server) answerCard(w http.ResponseWriter, r *http.Request, f farms.Farm, id string, also int, saved bool) {
	v := s.newView(r, f, "logs")
	b, err := s.logsOf(v, f)
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	for _, c := range v.cards(b) {
		if c.ID == id {
			c.Also, c.Saved = also, saved
			s.part(w, v, "logs", "card", c)
			return
		}
	}
	s.notFound(w, r)
}

// part sends one template of a page alone, for a script that puts it in place.
func (s *Server) part(w http.ResponseWriter, v *view, page, name string, data any) {
	t, err := s.pages.set[page].Clone()
	if err != nil {
		s.logf("page %s: %v", page, err)
		http.Error(w, "the page could not be made", http.StatusInternalServerError)
		return
	}
	var b bytes.Buffer
	if err := t.Funcs(viewFuncs(v)).ExecuteTemplate(&b, name, data); err != nil {
		s.logf("page %s, %s: %v", page, name, err)
		http.Error(w, "the page could not be made", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(b.Bytes()) // the browser may be gone
}

// logsKept shows what was understood of one of the farm's own files.
func (s *Server) logsKept(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	name := r.URL.Query().Get("name")
	v := s.newView(r, f, "logs")
	b, err := s.logsOf(v, f)
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	for i, l := range b.logs {
		if l.Name != name {
			continue
		}
		card := v.keptCard(b, i, s.looker.Wait(b.keptAsk(l), 20*time.Second))
		if r.URL.Query().Get("part") != "" {
			s.part(w, v, "logs", "card", card)
			return
		}
		v.Title, v.Page = clean(name), card
		s.show(w, r, http.StatusOK, "logfile", v)
		return
	}
	s.notFound(w, r)
}

// logsReceive takes files in. They are looked at as soon as they stand.
func (s *Server) logsReceive(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	got, err := s.receiveFiles(w, r, f)
	for _, g := range got {
		if g.Err == nil {
			if path, err := f.Content(g.Waiting.ID); err == nil {
				s.looker.Get(askFor(g.Waiting, path, fileNote{}))
			}
		}
	}
	s.answerReceived(w, r, got, err, farmURL(f.Name())+"/logs")
}

// batch is the farm with its new files and what is known of them.
type batch struct {
	farm    farms.Farm
	waiting []farms.Waiting
	notes   []fileNote
	found   []*looking.Found // nil = being read
	toml    []byte           // nil = none yet
	known   *again.Known     // nil without a farm file that can be read
	faults  []string         // of farm.toml
	// comparing: the files of before are still being read.
	comparing bool
	logs      []farms.Log
	result    *again.Result
	// first is the match of a waiting file's first table in result.
	first []int
}

// gather reads what stands on the disk and asks the looker for the rest.
func (s *Server) gather(f farms.Farm) (*batch, error) {
	b := &batch{farm: f}
	var err error
	if b.waiting, err = f.Waiting(); err != nil {
		return nil, err
	}
	if b.logs, err = f.Logs(); err != nil {
		return nil, err
	}
	if b.toml, err = f.TOML(); err != nil && !errors.Is(err, farms.ErrNotFound) {
		return nil, err
	}
	all := b.waiting
	b.waiting = nil
	for _, w := range all {
		n, err := readNote(f, w.ID)
		path, errPath := f.Content(w.ID)
		if err = errors.Join(err, errPath); errors.Is(err, farms.ErrNotFound) {
			continue // another tab took it in, or out, just now
		}
		if err != nil {
			return nil, err
		}
		b.waiting = append(b.waiting, w)
		b.notes = append(b.notes, n)
		b.found = append(b.found, s.looker.Get(askFor(w, path, n)))
	}
	b.readFarm()
	if b.known != nil && len(b.waiting) > 0 {
		s.compare(b)
	}
	return b, nil
}

// keptAsk is how one of the farm's own files is looked at: as its [[log]] says.
func (b *batch) keptAsk(l farms.Log) looking.Ask {
	a := looking.Ask{Path: filepath.Join(b.farm.Dir(), filepath.FromSlash(l.Name)), Name: l.Name, SizeB: l.SizeB, Sum: true,
		Hash: strings.Join([]string{"kept", b.farm.Dir(), l.Name, itoa(int(l.SizeB)), l.At.UTC().Format(time.RFC3339Nano)}, "\x00")}
	if log := b.logFor(l.Name); log != nil {
		a.Dates, a.Decimal, a.Separator, a.Encoding, a.Zone = log.Dates, log.Decimal, log.Separator, log.Encoding, log.Zone
		if log.Header != nil {
			a.Header = itoa(*log.Header)
		}
	}
	return a
}

// hereZone is this computer's zone where it has an IANA name, else "".
func hereZone() string {
	for _, name := range [...]string{strings.TrimPrefix(os.Getenv("TZ"), ":"), time.Local.String()} {
		if strings.Contains(name, "/") && !filepath.IsAbs(name) {
			if _, err := clock.ParseZone(name); err == nil {
				return name
			}
		}
	}
	return ""
}
