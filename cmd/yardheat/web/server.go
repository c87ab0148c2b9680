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
	"log"
	"net/http"
	"time"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/texts"
)

// Options of a server. All but Log are needed.
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
	// Report reads the farm in dir and writes its report into out, whole or not at
	// all.
	Report func(ctx context.Context, dir, out string) error
	// Log takes what went wrong inside; nil = nobody reads it.
	Log *log.Logger
}

// Server answers the page's requests. Make it with New.
type Server struct {
	opt     Options
	texts   *texts.Catalogue
	pages   *pages
	session string
	handler http.Handler
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
	s := &Server{opt: opt, texts: c, pages: p, session: newToken()}
	s.handler = s.guard(s.routes())
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// routes lists every address of the page. What changes something is a POST.
func (s *Server) routes() *http.ServeMux {
	mux := http.NewServeMux()
	mux.Handle("GET /assets/", assetHandler())
	mux.HandleFunc("GET /{$}", s.farmsPage)
	mux.HandleFunc("POST /farms", s.farmNew)
	mux.HandleFunc("GET /display", s.displayPage)
	mux.HandleFunc("POST /display", s.displaySave)
	mux.HandleFunc("GET /farm/{farm}", s.farmPage)
	s.logRoutes(mux)
	s.figureRoutes(mux)
	s.workRoutes(mux)
	s.reportRoutes(mux)
	s.todayRoutes(mux)
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
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return nil, false
	}
	return f, true
}

func (s *Server) logf(format string, args ...any) {
	if s.opt.Log != nil {
		s.opt.Log.Printf(format, args...)
	}
}
