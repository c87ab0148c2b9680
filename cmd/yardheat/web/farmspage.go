package web

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"yardheat/cmd/yardheat/web/display"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/texts"
	"yardheat/ingest/farm/edit"
	figures "yardheat/ingest/farm/form"
)

// farmsView is the first page.
type farmsView struct {
	Folder string
	Farms  []farmLink
	Sample bool // an invented farm can be written
	// Name as typed and what is wrong with it.
	Name, Bad string
}

type farmLink struct{ Name, Title string }

func (s *Server) farmsPage(w http.ResponseWriter, r *http.Request) {
	s.showFarms(w, r, http.StatusOK, farmsView{})
}

func (s *Server) showFarms(w http.ResponseWriter, r *http.Request, status int, page farmsView) {
	names, err := s.opt.Store.List()
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	if s.opt.Store.One() && len(names) == 1 && page.Bad == "" {
		http.Redirect(w, r, farmURL(names[0]), http.StatusSeeOther)
		return
	}
	page.Folder, page.Sample = s.opt.Store.Dir(), s.opt.Sample != nil && !s.opt.Store.One()
	for _, n := range names {
		link := farmLink{Name: n, Title: n}
		if f, err := s.opt.Store.Find(n); err == nil {
			link.Title = f.Title()
		}
		page.Farms = append(page.Farms, link)
	}
	s.show(w, r, status, "farms", &view{Page: page})
}

func farmURL(name string) string { return "/farm/" + url.PathEscape(name) }

func (s *Server) farmNew(w http.ResponseWriter, r *http.Request) {
	name := strings.TrimSpace(field(r, "name"))
	page := farmsView{Name: name}
	if name == "" {
		page.Bad = s.say(r, "farms.name.empty")
		s.showFarms(w, r, http.StatusUnprocessableEntity, page)
		return
	}
	f, err := s.opt.Store.New(name)
	switch {
	case errors.Is(err, farms.ErrName):
		page.Bad = s.say(r, "farms.name.bad")
		s.showFarms(w, r, http.StatusUnprocessableEntity, page)
	case errors.Is(err, farms.ErrExists):
		page.Bad = s.say(r, "farms.name.taken")
		s.showFarms(w, r, http.StatusConflict, page)
	case err != nil:
		s.fail(w, r, http.StatusInternalServerError, err)
	default:
		http.Redirect(w, r, farmURL(f.Name()), http.StatusSeeOther)
	}
}

// sampleTitle is the invented farm's folder.
const sampleTitle = "Invented farm"

// farmSample writes the invented farm, once, and opens it.
func (s *Server) farmSample(w http.ResponseWriter, r *http.Request) {
	if s.opt.Sample == nil {
		s.notFound(w, r)
		return
	}
	s.sampling.Lock() // two tabs
	defer s.sampling.Unlock()
	f, err := s.sampleFarm()
	if err == nil {
		if _, noToml := f.TOML(); errors.Is(noToml, farms.ErrNotFound) {
			err = s.writeSample(r.Context(), f.Dir())
		}
	}
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	http.Redirect(w, r, farmURL(f.Name()), http.StatusSeeOther)
}

// mostSamples are the folders that are tried for the invented farm.
const mostSamples = 20

// sampleFarm is the folder of the invented farm: one with a farm file, or one that
// is empty. A folder of the same name in which somebody has begun a farm of their
// own is left alone.
func (s *Server) sampleFarm() (farms.Farm, error) {
	title := sampleTitle
	for n := 2; n <= mostSamples; n++ {
		f, err := s.opt.Store.New(title)
		if err == nil {
			return f, nil
		}
		if !errors.Is(err, farms.ErrExists) {
			return nil, err
		}
		f, err = s.opt.Store.Find(title)
		if err != nil && !errors.Is(err, farms.ErrNotFound) {
			return nil, err
		}
		if err == nil {
			if fits, err := sampleFits(f); fits || err != nil {
				return f, err
			}
		}
		title = fmt.Sprintf("%s %d", sampleTitle, n)
	}
	return nil, farms.ErrExists
}

func sampleFits(f farms.Farm) (bool, error) {
	_, err := f.TOML()
	if !errors.Is(err, farms.ErrNotFound) {
		return err == nil, err
	}
	waiting, err := f.Waiting()
	if err != nil {
		return false, err
	}
	entries, err := os.ReadDir(f.Dir())
	return len(waiting) == 0 && len(entries) <= 1, err // .yardheat
}

// writeSample writes the invented farm aside and then puts it in place, farm.toml
// last: a folder with a farm.toml is whole, whenever the program was stopped.
func (s *Server) writeSample(ctx context.Context, dir string) (err error) {
	part := filepath.Join(dir, ".yardheat", "part-sample") // the next start removes what was left
	if err := errors.Join(os.RemoveAll(part), os.Mkdir(part, 0o755)); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(part)) }()
	if err := s.opt.Sample(ctx, part); err != nil {
		return err
	}
	entries, err := os.ReadDir(part)
	if err != nil {
		return err
	}
	slices.SortStableFunc(entries, func(a, b os.DirEntry) int {
		return cmp.Compare(lastOf(a.Name()), lastOf(b.Name()))
	})
	for _, e := range entries {
		if err := os.Rename(filepath.Join(part, e.Name()), filepath.Join(dir, e.Name())); err != nil {
			return err
		}
	}
	return nil
}

func lastOf(name string) int {
	if name == "farm.toml" {
		return 1
	}
	return 0
}

// The states of a step.
const (
	stepDone  = "done"
	stepNow   = "now"
	stepLater = "later"
)

// homeView is a farm's overview.
type homeView struct {
	Steps  []homeStep
	Latest *latestView
	Known  bool // there are logs
}

type homeStep struct {
	Key, State, Href string
	Notes            []string
}

// latestView is the newest report in one line.
type latestView struct {
	ID, At, First, Last string
	Answer, Heat        string
}

func (s *Server) farmPage(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	v := s.newView(r, f, "home")
	page, err := s.home(v, f)
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	v.Title, v.Page = f.Title(), page
	s.show(w, r, http.StatusOK, "farm", v)
}

// home says how far the farm is and what comes next.
func (s *Server) home(v *view, f farms.Farm) (homeView, error) {
	var page homeView
	waiting, err := f.Waiting()
	if err != nil {
		return page, err
	}
	doc, _, _ := openDoc(f) // one that can't be read is said on the pages of logs and figures
	logs := 0
	if doc != nil {
		all, err := f.Logs()
		if err != nil {
			return page, err
		}
		logs = len(all)
	}
	reports, err := f.Reports()
	if err != nil {
		return page, err
	}
	base := farmURL(f.Name())
	give := homeStep{Key: "logs", Href: base + "/logs", State: stepNow}
	check := homeStep{Key: "check", Href: base + "/logs#new", State: stepLater}
	figures := homeStep{Key: "figures", Href: base + "/figures", State: stepLater}
	work := homeStep{Key: "work", Href: base + "/work", State: stepLater}
	if logs > 0 {
		give.State, check.State = stepDone, stepDone
		give.Notes = append(give.Notes, v.Count("home.logs", logs))
		figures.State, work.State = stepDone, stepNow
		if n := openMarks(doc); n > 0 {
			figures.Notes = append(figures.Notes, v.Count("home.figures", n))
			figures.State, work.State = stepNow, stepLater
		}
		if len(reports) > 0 && figures.State == stepDone {
			work.State = stepDone
		}
	}
	if n := len(waiting); n > 0 {
		give.State, check.State = stepDone, stepNow
		check.Notes = append(check.Notes, v.Count("home.check", n))
		if figures.State == stepNow {
			figures.State = stepLater
		}
		work.State = stepLater
	}
	page.Known = logs > 0
	page.Steps = []homeStep{give, check, figures, work}
	if len(reports) > 0 {
		page.Latest = v.latest(f, reports[0])
	}
	return page, nil
}

// openMarks counts the figures of the form that are guesses nobody looked at.
func openMarks(d *edit.Doc) int {
	n := 0
	for _, m := range d.Marks() {
		table, _, _ := strings.Cut(m.Table, "[")
		if _, ok := figures.Find(table + "." + m.Key); ok {
			n++
		}
	}
	return n
}

// latest reads the newest report's answer; nil where it can't be read.
func (v *view) latest(f farms.Farm, rep farms.Report) *latestView {
	file, err := f.ReportFile(rep.ID, "results.json")
	if err != nil {
		return nil
	}
	defer func() { _ = file.Close() }() // read only
	type figure struct {
		Value *float64 `json:"value"`
		Shown string   `json:"shown"`
	}
	var res struct {
		Period struct{ Start, End time.Time }
		Farm   struct{ Timezone string }
		Heat   struct {
			Loop  figure `json:"loop_kwh"`
			Plant figure `json:"plant_kwh"`
		}
		Saving struct {
			Saved figure `json:"saved_kwh"`
			Money figure `json:"money"`
		}
	}
	if err := json.NewDecoder(io.LimitReader(file, 64<<20)).Decode(&res); err != nil {
		return nil
	}
	zone := time.UTC
	if z, err := time.LoadLocation(res.Farm.Timezone); err == nil {
		zone = z
	}
	out := &latestView{ID: rep.ID, At: v.Choice.Moment(rep.At), First: v.Choice.Day(res.Period.Start.In(zone)), Last: v.Choice.Day(res.Period.End.In(zone).Add(-time.Second))}
	shown := func(f figure) string { return v.Choice.Shown(f.Shown) }
	switch {
	case res.Saving.Saved.Value == nil:
		out.Answer = v.Say("home.saved.none")
	case res.Saving.Money.Value == nil:
		out.Answer = v.Say("home.saved", "value", shown(res.Saving.Saved))
	default:
		out.Answer = v.Say("home.saved.money", "value", shown(res.Saving.Saved), "money", shown(res.Saving.Money))
	}
	if res.Heat.Loop.Value != nil && res.Heat.Plant.Value != nil {
		out.Heat = v.Say("home.heat", "loop", shown(res.Heat.Loop), "plant", shown(res.Heat.Plant))
	}
	return out
}

func (s *Server) displayPage(w http.ResponseWriter, r *http.Request) {
	s.show(w, r, http.StatusOK, "display", &view{Page: texts.Languages()})
}

func (s *Server) displaySave(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, err)
		return
	}
	http.SetCookie(w, display.FromForm(r.PostForm).Cookie())
	http.Redirect(w, r, "/", http.StatusSeeOther)
}
