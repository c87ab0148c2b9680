// Package web is the farmer's page: a server for this computer's own browser that
// turns logger exports into a report without a command line.
//
// Flow: guard (who may ask: host, origin, key or password; how much) → routes →
// handlers (forms change things by POST and answer with a redirect) → pages
// (templates; every sentence from the catalogue of package texts) → the browser.
// farms keeps folders and files, job does the heavy work one at a time; reading,
// computing and writing are passed in by the command, so that this package holds
// no physics and writes no report itself.
package web

import (
	"context"
	"errors"
	"fmt"
	"log"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"yardheat/analysis/today"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/job"
	"yardheat/cmd/yardheat/web/looking"
	"yardheat/cmd/yardheat/web/texts"
)

// Options of a server. Password, Limits, Close and Log may be left out.
type Options struct {
	Store farms.Store
	// Key lets a browser in that was given it in its link; one a run.
	Key string
	// Password lets in who types it; "" = only by the key.
	Password string
	// Hosts are the Host headers that are answered, with their ports.
	Hosts []string
	// Version as printed.
	Version string
	Now     func() time.Time
	// Report reads the farm in dir and writes its report on a period into out, whole
	// or not at all. It ends soon after ctx, with ctx's error, and may tell how far it
	// is until it returns.
	Report func(ctx context.Context, dir, out string, p Period, tell func(job.Progress)) error
	// Bundle packs a finished report with its originals into the file to; nil = that
	// is not offered.
	Bundle func(ctx context.Context, dir, report, to string, tell func(job.Progress)) error
	// Today looks at the last two days of the farm in dir; nil = that is not offered.
	Today func(ctx context.Context, dir string, tell func(job.Progress)) (*today.Today, error)
	// Sample writes the invented farm into a folder; nil = it is not offered.
	Sample func(ctx context.Context, dir string) error
	// Limits of uploads and of slow clients; the zero value is DefaultLimits.
	Limits Limits
	// Close is called by Server.Close, last; nil = nothing to close.
	Close func(ctx context.Context) error
	// Log takes what went wrong inside; nil = nobody reads it.
	Log *log.Logger
}

// Server answers the page's requests. Make it with New.
type Server struct {
	opt      Options
	texts    *texts.Catalogue
	pages    *pages
	sessions *sessions
	once     onceKeys
	tries    *tries
	uploads  *places
	looker   *looking.Looker
	closing  atomic.Bool
	// jobs does the heavy work; results says where that of each ended one stands.
	jobs    *job.Runner
	results sync.Map
	// sampling: the invented farm is written by one at a time.
	sampling sync.Mutex
	readings *readings
	days     *days
	closers  []func(context.Context) error
	handler  http.Handler
}

// New prepares a server; it listens to nothing itself.
func New(opt Options) (*Server, error) {
	if opt.Store == nil || opt.Now == nil || opt.Key == "" || len(opt.Hosts) == 0 {
		return nil, errors.New("the page's server lacks a store, a clock, a key or its hosts")
	}
	c, err := texts.Load()
	if err != nil {
		return nil, err
	}
	p, err := loadPages()
	if err != nil {
		return nil, err
	}
	insideOnly(&opt)
	jobs, err := job.New(job.DefaultOptions())
	if err != nil {
		return nil, err
	}
	if opt.Limits == (Limits{}) {
		opt.Limits = DefaultLimits()
	}
	s := &Server{
		opt: opt, texts: c, pages: p, jobs: jobs, readings: newReadings(), days: newDays(), sessions: newSessions(opt.Now), tries: newTries(opt.Now),
		once: onceKeys{keys: map[string]time.Time{}}, uploads: newPlaces(opt.Limits.Uploads, opt.Limits.Wait),
	}
	s.onClose(jobs.Close)
	s.looker = looking.New(looking.Options{Now: opt.Now, Explain: func(text string) { s.logf("%s", text) }})
	s.handler = s.guard(s.routes())
	return s, nil
}

// insideOnly refuses to write where a link leads.
func insideOnly(opt *Options) {
	if report := opt.Report; report != nil {
		opt.Report = func(ctx context.Context, dir, out string, p Period, tell func(job.Progress)) error {
			if err := farms.NoLinks(dir, out); err != nil {
				return err
			}
			return report(ctx, dir, out, p, tell)
		}
	}
	if bundle := opt.Bundle; bundle != nil {
		opt.Bundle = func(ctx context.Context, dir, report, to string, tell func(job.Progress)) error {
			if err := errors.Join(farms.NoLinks(dir, report), farms.NoLinks(dir, to)); err != nil {
				return err
			}
			return bundle(ctx, dir, report, to, tell)
		}
	}
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

var errClosing = errors.New("yardheat is being stopped; start it again and repeat this")

// onClose has something ended when the server is.
func (s *Server) onClose(f func(context.Context) error) { s.closers = append(s.closers, f) }

// Close refuses what would change something from now on, and ends what was
// begun, as long as ctx lasts.
func (s *Server) Close(ctx context.Context) error {
	s.closing.Store(true)
	var errs []error
	for _, f := range s.closers {
		errs = append(errs, f(ctx))
	}
	if s.opt.Close != nil {
		errs = append(errs, s.opt.Close(ctx))
	}
	return errors.Join(errs...)
}

// routes lists every address of the page. What changes something is a POST.
func (s *Server) routes() *http.ServeMux {
	mux := http.NewServeMux()
	mux.Handle("GET /assets/", assetHandler())
	mux.HandleFunc("GET /{$}", s.farmsPage)
	mux.HandleFunc("POST /farms", s.farmNew)
	mux.HandleFunc("POST /farms/sample", s.farmSample)
	mux.HandleFunc("GET /display", s.displayPage)
	mux.HandleFunc("POST /display", s.displaySave)
	mux.HandleFunc("POST /leave", s.leave)
	mux.HandleFunc("GET /farm/{farm}", s.farmPage)
	s.logRoutes(mux)
	s.figureRoutes(mux)
	s.workRoutes(mux)
	s.reportRoutes(mux)
	s.todayRoutes(mux)
	mux.HandleFunc("GET /licences", s.licencesPage)
	mux.HandleFunc("/", s.notFound)
	return mux
}

// farm is the farm that the address names; it answers itself where there is none.
func (s *Server) farm(w http.ResponseWriter, r *http.Request) (farms.Farm, bool) {
	f, err := s.opt.Store.Find(r.PathValue("farm"))
	if errors.Is(err, farms.ErrNotFound) {
		s.notFound(w, r)
		return nil, false
	}
	if errors.Is(err, farms.ErrBusy) || errors.Is(err, farms.ErrLink) {
		s.fail(w, r, http.StatusConflict, err)
		return nil, false
	}
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return nil, false
	}
	return f, true
}

func (s *Server) logf(format string, args ...any) {
	if s.opt.Log != nil {
		s.opt.Log.Print(logText(fmt.Sprintf(format, args...)))
	}
}

// logText is a message that cannot pass for another one, nor steer a terminal:
// names and addresses come from outside. Further lines are set in.
func logText(text string) string {
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = clean(strings.ReplaceAll(lines[i], "\t", " "))
	}
	return strings.Join(lines, "\n    ")
}
