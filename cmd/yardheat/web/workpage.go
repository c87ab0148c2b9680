package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/job"
	"yardheat/ingest"
	"yardheat/ingest/farm/edit"
	"yardheat/ingest/work"
)

// Period is what a report is to be about, as days YYYY-MM-DD in farm time, both
// included; "" = from the first reading, to the last.
type Period struct{ From, To string }

// The kinds of job.
const (
	jobReport = "report"
	jobBundle = "bundle"
	jobToday  = "today"
)

// workRoutes are the addresses of working a report out, with progress and a cancel.
func (s *Server) workRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /farm/{farm}/work", s.workPage)
	mux.HandleFunc("POST /farm/{farm}/work", s.workStart)
	mux.HandleFunc("GET /farm/{farm}/work/{job}", s.jobPage)
	mux.HandleFunc("GET /farm/{farm}/work/{job}/state", s.jobState)
	mux.HandleFunc("POST /farm/{farm}/work/{job}/cancel", s.jobCancel)
}

// done is what a job left: where to go, known once it has ended.
type done struct{ url func() string }

func toURL(url string) func() string { return func() string { return url } }

func jobURL(farm string, id job.ID) string {
	return farmURL(farm) + "/work/" + strconv.FormatInt(int64(id), 10)
}

// jobOf is the job of a farm and kind that waits or runs.
func (s *Server) jobOf(farm, kind string) (job.Job, bool) {
	for _, j := range s.jobs.List() {
		if j.Farm == farm && j.Kind == kind && !j.State.Ended() {
			return j, true
		}
	}
	return job.Job{}, false
}

// start puts work in the queue and remembers where its result stands. One that
// waits or runs already is given as it is: a second tab joins the first.
func (s *Server) start(farm, kind string, result func() string, do job.Work) (job.Job, error) {
	j, err := s.jobs.Start(farm, kind, do)
	if errors.Is(err, job.ErrAlready) {
		return j, nil
	}
	if err != nil {
		return j, err
	}
	s.results.Store(j.ID, done{result})
	s.results.Range(func(id, _ any) bool { // of jobs that nobody can ask for any more
		if _, ok := s.jobs.Get(id.(job.ID)); !ok {
			s.results.Delete(id)
		}
		return true
	})
	return j, nil
}

// workView is the page on which a report is asked for.
type workView struct {
	*view
	HaveToml  bool
	Guessed   int // figures of the farm that are guesses nobody looked at
	LastMonth Period
	Wrong     string
	Asked     Period
}

func (s *Server) workPage(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	if j, ok := s.jobOf(f.Name(), jobReport); ok {
		http.Redirect(w, r, jobURL(f.Name(), j.ID), http.StatusSeeOther)
		return
	}
	s.showWork(w, r, f, http.StatusOK, Period{}, "")
}

func (s *Server) showWork(w http.ResponseWriter, r *http.Request, f farms.Farm, status int, asked Period, wrong string) {
	src, err := f.TOML()
	guessed := 0
	if doc, broken := edit.New(src); err == nil && broken == nil {
		guessed = openMarks(doc)
	}
	v := s.words(r)
	s.show(w, r, status, "work", &view{Title: v.Say("work.title"), Farm: f, Section: "reports", Page: &workView{view: v, HaveToml: err == nil, Guessed: guessed, LastMonth: lastMonth(s.opt.Now()), Wrong: wrong, Asked: asked}})
}

// lastMonth is the calendar month before now.
func lastMonth(now time.Time) Period {
	first := time.Date(now.Year(), now.Month(), 1, 0, 0, 0, 0, time.UTC)
	return Period{first.AddDate(0, -1, 0).Format(time.DateOnly), first.AddDate(0, 0, -1).Format(time.DateOnly)}
}

// asked reads the period of the form; wrong is the key of what is not right.
func asked(v url.Values, now time.Time) (p Period, wrong string) {
	switch v.Get("period") {
	case "month":
		return lastMonth(now), ""
	case "days":
		p = Period{strings.TrimSpace(v.Get("from")), strings.TrimSpace(v.Get("to"))}
	default:
		return Period{}, ""
	}
	for _, day := range []string{p.From, p.To} {
		if _, err := time.Parse(time.DateOnly, day); day != "" && err != nil {
			return p, "work.wrong.day"
		}
	}
	if p.From != "" && p.To != "" && p.To < p.From {
		return p, "work.wrong.order"
	}
	return p, ""
}

func (s *Server) workStart(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, err)
		return
	}
	p, wrong := asked(r.PostForm, s.opt.Now())
	if wrong != "" {
		s.showWork(w, r, f, http.StatusBadRequest, p, wrong)
		return
	}
	var place atomic.Value // the report's identifier
	place.Store("")
	where := func() string { return reportURL(f, place.Load().(string)) }
	j, err := s.start(f.Name(), jobReport, where, func(ctx context.Context, tell func(job.Progress)) error {
		// Not before its turn: a report of the same second, cancelled too late, may
		// stand by then, and is not to be replaced.
		rep := f.NextReport(s.opt.Now())
		place.Store(rep.ID)
		if err := os.MkdirAll(filepath.Dir(rep.Dir), 0o755); err != nil {
			return err
		}
		return s.opt.Report(ctx, f.Dir(), rep.Dir, p, tell)
	})
	if err != nil {
		s.fail(w, r, http.StatusServiceUnavailable, err)
		return
	}
	http.Redirect(w, r, jobURL(f.Name(), j.ID), http.StatusSeeOther)
}

// bundleMake has a report's bundle made.
func (s *Server) bundleMake(w http.ResponseWriter, r *http.Request) {
	f, rep, ok := s.reportOf(w, r, r.PathValue("report"))
	if !ok {
		return
	}
	if s.opt.Bundle == nil {
		s.notFound(w, r)
		return
	}
	to := bundlePath(f, rep.ID)
	j, err := s.start(f.Name(), jobBundle, toURL(reportURL(f, rep.ID)+"#files"), func(ctx context.Context, tell func(job.Progress)) error {
		if err := farms.NoLinks(f.Dir(), to); err != nil {
			return err
		}
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		return s.opt.Bundle(ctx, f.Dir(), rep.Dir, to, tell)
	})
	if err != nil {
		s.fail(w, r, http.StatusServiceUnavailable, err)
		return
	}
	http.Redirect(w, r, jobURL(f.Name(), j.ID), http.StatusSeeOther)
}

// jobView is a job as the page shows it.
type jobView struct {
	*view
	job.Job
	Result string
	now    time.Time
}

func (s *Server) jobView(w http.ResponseWriter, r *http.Request) (*jobView, bool) {
	f, ok := s.farm(w, r)
	if !ok {
		return nil, false
	}
	id, err := strconv.ParseInt(r.PathValue("job"), 10, 64)
	if err != nil {
		id = 0 // no job
	}
	j, found := s.jobs.Get(job.ID(id))
	if !found || j.Farm != f.Name() {
		s.notFound(w, r)
		return nil, false
	}
	v := &jobView{view: s.words(r), Job: j, now: s.opt.Now()}
	v.view.Farm = f
	if d, ok := s.results.Load(j.ID); ok {
		v.Result = d.(done).url()
	}
	return v, true
}

func (s *Server) jobPage(w http.ResponseWriter, r *http.Request) {
	v, ok := s.jobView(w, r)
	if !ok {
		return
	}
	if v.State == job.Done && v.Result != "" {
		http.Redirect(w, r, v.Result, http.StatusSeeOther)
		return
	}
	section := "reports"
	if v.Kind == jobToday {
		section = "today"
	}
	s.show(w, r, http.StatusOK, "job", &view{Title: v.Say("work.going." + v.Kind), Farm: v.Farm(), Section: section, Page: v})
}

// Farm of the view; the job's is its name.
func (v *jobView) Farm() farms.Farm { return v.view.Farm }

// Runs says whether the page must be asked for again.
func (v *jobView) Runs() bool { return !v.State.Ended() }

// Again is the address at which the same is begun anew.
func (v *jobView) Again() string {
	if v.Kind == jobToday {
		return farmURL(v.Job.Farm) + "/today"
	}
	return farmURL(v.Job.Farm) + "/work"
}

// Status is one sentence on how it stands.
func (v *jobView) Status() string {
	switch {
	case v.State == job.Waiting:
		return v.Count("work.waiting", v.Place)
	case v.Stopping:
		return v.Say("work.stopping")
	case v.State == job.Cancelled:
		return v.Say("work.cancelled")
	case v.State == job.Failed:
		return v.Say("work.failed")
	case v.State == job.Done:
		return v.Say("work.done")
	}
	return v.StageText()
}

// StageText says in plain words what is being done.
func (v *jobView) StageText() string {
	p := v.Progress
	if p.Stage == "" {
		return v.Say("work.starting")
	}
	text := v.stage(p.Stage)
	if p.Total > 1 {
		text += " " + v.Say("work.parts", "done", v.Int(min(p.Done+1, p.Total)), "total", v.Int(p.Total))
	}
	return text
}

func (v *jobView) stage(stage work.Stage) string { return v.Say("work.stage." + string(stage)) }

// step is a stage in the list: behind, at work, or to come.
type step struct{ Name, Text, State string }

// stagesOf are the steps that the page shows, several stages of the work each.
var stagesOf = map[string][][]work.Stage{
	jobReport: {{work.StageRead, work.StageAlign, work.StageReread, work.StageFlag}, {work.StageGrid, work.StageAccount, work.StageMatch}, {work.StageFit, work.StagePlant, work.StageChanges},
		{work.StageTrials, work.StageGather}, {work.StageWrite, work.StagePlace}},
	jobBundle: {{work.StageRead, work.StageAlign, work.StageReread, work.StageFlag}, {work.StageGrid, work.StageAccount, work.StageMatch, work.StageFit, work.StagePlant, work.StageChanges, work.StageTrials, work.StageGather}, {work.StageWrite, work.StagePlace, work.StageBundle}},
	jobToday:  {{work.StageRead, work.StageAlign, work.StageReread, work.StageFlag}, {work.StageGrid, work.StageAccount, work.StageGather}},
}

// Steps of the work and how far each is.
func (v *jobView) Steps() []step {
	var out []step
	at := -1
	for i, group := range stagesOf[v.Kind] {
		for _, stage := range group {
			if stage == v.Progress.Stage {
				at = i
			}
		}
		out = append(out, step{Name: v.Say("work.step." + string(group[0]) + stepTail(v.Kind, i))})
	}
	for i := range out {
		switch {
		case i < at || v.State == job.Done:
			out[i].State = "behind"
		case i == at && v.State == job.Running:
			out[i].State = "now"
		default:
			out[i].State = "ahead"
		}
		out[i].Text = v.Say("work.state." + out[i].State)
	}
	return out
}

// stepTail tells the one long step of a bundle from the report's shorter ones.
func stepTail(kind string, i int) string {
	if kind == jobBundle && i > 0 {
		return ".bundle"
	}
	return ""
}

// Share of all the work that is behind, 0 to 100: stages count alike, as how long
// each takes differs from farm to farm; within one that has parts, those.
func (v *jobView) Share() int {
	if v.State == job.Done {
		return 100
	}
	var all []work.Stage
	for _, group := range stagesOf[v.Kind] {
		all = append(all, group...)
	}
	for i, stage := range all {
		if stage == v.Progress.Stage {
			part := 0.0
			if v.Progress.Total > 0 {
				part = float64(v.Progress.Done) / float64(v.Progress.Total)
			}
			return int(100 * (float64(i) + part) / float64(len(all)))
		}
	}
	return 0
}

// FilesText says how far the files are.
func (v *jobView) FilesText() string {
	if v.Progress.Total == 0 || v.Progress.File == "" {
		return ""
	}
	return v.Say("work.file", "file", clean(v.Progress.File))
}

// Elapsed is how long it has run, or ran.
func (v *jobView) Elapsed() string {
	if v.Started.IsZero() {
		return ""
	}
	end := v.now
	if !v.Ended.IsZero() {
		end = v.Ended
	}
	return v.Say("work.elapsed", "s", v.Int(max(0, int(end.Sub(v.Started).Seconds()))))
}

// faultRow is one fault of the input: what stood where, and what to do.
type faultRow struct{ File, Where, Got, Want, Do string }

// mostFaults are shown; the rest is counted.
const mostFaults = 30

// Faults are the faults of the input; empty where it failed otherwise.
func (v *jobView) Faults() []faultRow {
	var in *ingest.InputError
	if !errors.As(v.Err, &in) {
		return nil
	}
	var out []faultRow
	for _, f := range in.Faults {
		if len(out) < mostFaults {
			out = append(out, faultRow{clean(f.File), clean(f.Where), clean(f.Got), clean(f.Want), clean(f.Do)})
		}
	}
	return out
}

// MoreFaults is how many are not shown.
func (v *jobView) MoreFaults() int {
	var in *ingest.InputError
	if !errors.As(v.Err, &in) {
		return 0
	}
	return max(0, len(in.Faults)-mostFaults)
}

// FaultLink is where a file of a fault is looked after: farm.toml with the farm's
// figures, any other among the logs.
func (v *jobView) FaultLink(file string) string {
	if file == "farm.toml" {
		return farmURL(v.Job.Farm) + "/figures"
	}
	return farmURL(v.Job.Farm) + "/logs"
}

// Error is what went wrong where it is no fault of the input: its first line; the
// rest, such as where a program failed, is for the log.
func (v *jobView) Error() string {
	if v.Err == nil || v.State != job.Failed {
		return ""
	}
	line, _, _ := strings.Cut(strings.TrimSpace(v.Err.Error()), "\n")
	return clean(line)
}

// stateJSON is what the page's script asks for.
type stateJSON struct {
	State   string     `json:"state"`
	Ended   bool       `json:"ended"`
	Status  string     `json:"status"`
	File    string     `json:"file"`
	Elapsed string     `json:"elapsed"`
	Share   int        `json:"share"`
	Steps   []stepJSON `json:"steps"`
	// Next is where the browser goes once it has ended.
	Next string `json:"next"`
}

type stepJSON struct {
	State string `json:"state"`
	Text  string `json:"text"`
}

func (s *Server) jobState(w http.ResponseWriter, r *http.Request) {
	v, ok := s.jobView(w, r)
	if !ok {
		return
	}
	out := stateJSON{State: string(v.State), Ended: v.State.Ended(), Status: v.Status(), File: v.FilesText(), Elapsed: v.Elapsed(), Share: v.Share(), Next: jobURL(v.Job.Farm, v.ID)}
	if v.State == job.Done && v.Result != "" {
		out.Next = v.Result
	}
	for _, st := range v.Steps() {
		out.Steps = append(out.Steps, stepJSON{st.State, st.Text})
	}
	b, err := json.Marshal(out)
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(b) // the browser may be gone
}

func (s *Server) jobCancel(w http.ResponseWriter, r *http.Request) {
	v, ok := s.jobView(w, r)
	if !ok {
		return
	}
	if err := s.jobs.Cancel(v.ID); err != nil && !errors.Is(err, job.ErrUnknown) {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	http.Redirect(w, r, jobURL(v.Job.Farm, v.ID), http.StatusSeeOther)
}
