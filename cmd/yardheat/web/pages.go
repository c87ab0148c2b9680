package web

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"
	"unicode"

	"yardheat/cmd/yardheat/web/display"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/texts"
)

//go:embed pages/*.tmpl
var pageFiles embed.FS

//go:embed assets
var assetFiles embed.FS

// pages are the templates, one set a page: layout.tmpl around NAME.tmpl.
type pages struct{ set map[string]*template.Template }

// layoutFile frames every page; parts.tmpl holds what several pages share.
const layoutFile, partsFile = "pages/layout.tmpl", "pages/parts.tmpl"

// cardFile is how a log file is shown; two pages use it.
const cardFile = "pages/part-card.tmpl"

func loadPages() (*pages, error) {
	names, err := fs.Glob(pageFiles, "pages/*.tmpl")
	if err != nil {
		return nil, err
	}
	p := &pages{set: map[string]*template.Template{}}
	for _, name := range names {
		if name == layoutFile || name == partsFile || name == cardFile {
			continue
		}
		t, err := template.New("layout.tmpl").Funcs(viewFuncs(nil)).ParseFS(pageFiles, layoutFile, partsFile, cardFile, name)
		if err != nil {
			return nil, fmt.Errorf("page %s: %w", name, err)
		}
		p.set[strings.TrimSuffix(path.Base(name), ".tmpl")] = t
	}
	return p, nil
}

// view is what every page is made of: who reads it and how, the farm it is about,
// and the page's own data.
type view struct {
	Lang    texts.Language
	Choice  display.Choice
	Title   string // of the browser's tab
	Farm    farms.Farm
	Section string // of the farm's navigation that is shown
	Version string
	// Token goes with every form of the page: {{template "token" .}} writes it.
	Token string
	// Leaving: the browser was let in by a password and can leave again.
	Leaving bool
	Page    any
	// FarmZone is the farm's zone; nil = not known.
	FarmZone *time.Location
	// LogNames are those of the farm file's loggers.
	LogNames []string
	// Currency of the farm, "" = not known.
	Currency string
	c        *texts.Catalogue
}

// Say gives a text of the catalogue in the reader's language.
func (v *view) Say(key string, pairs ...any) string { return v.c.Say(v.Choice.Lang, key, pairs...) }

// Count is Say for texts with a form for one and one for more.
func (v *view) Count(key string, n int, pairs ...any) string {
	return v.c.Count(v.Choice.Lang, key, n, pairs...)
}

// lang is the language of a code; English where it is none of ours.
func lang(code string) texts.Language {
	for _, l := range texts.Languages() {
		if l.Code == code {
			return l
		}
	}
	return texts.Languages()[0]
}

// viewFuncs are the functions of the templates. t and tn are the catalogue's;
// the rest shows numbers as the reader wants them.
func viewFuncs(v *view) template.FuncMap {
	if v == nil {
		v = &view{} // for parsing only
	}
	return template.FuncMap{
		"t":       v.Say,
		"tn":      v.Count,
		"clean":   clean,
		"farmurl": farmURL,
		"args":    func(list ...any) []any { return list },
		"num":     v.Choice.Number,
		"temp":    v.Choice.TempText,
		"vol":     v.Choice.VolumeText,
		"shown":   v.Choice.Shown,
		"row":     rowOf,
		"add":     func(a, b int) int { return a + b },
		"zones":   func() []string { return zoneNames },
	}
}

// clean makes a name from a file fit to show: characters that cannot be seen or
// turn the direction of writing are shown as a mark.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == unicode.ReplacementChar {
			return '�'
		}
		return r
	}, s)
}

// show renders a page into a buffer and sends it whole.
func (s *Server) show(w http.ResponseWriter, r *http.Request, status int, name string, v *view) {
	t, err := s.pages.set[name].Clone()
	if err != nil {
		s.logf("page %s: %v", name, err)
		http.Error(w, "the page could not be made", http.StatusInternalServerError)
		return
	}
	v.c, v.Choice, v.Version = s.texts, display.FromRequest(r), s.opt.Version
	v.Lang = lang(v.Choice.Lang)
	if in := sessionOf(r); in != nil {
		v.Token, v.Leaving = in.token, s.opt.Password != ""
	}
	var b bytes.Buffer
	if err := t.Funcs(viewFuncs(v)).ExecuteTemplate(&b, "layout.tmpl", v); err != nil {
		s.logf("page %s: %v", name, err)
		http.Error(w, "the page could not be made", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // the browser may be gone
}

// say gives a text in the language of the request.
func (s *Server) say(r *http.Request, key string, pairs ...any) string {
	return s.texts.Say(display.FromRequest(r).Lang, key, pairs...)
}

// notFound says that there is no such page.
func (s *Server) notFound(w http.ResponseWriter, r *http.Request) {
	s.show(w, r, http.StatusNotFound, "notfound", &view{})
}

// fail shows what was wrong, in the words of the error.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, status int, err error) {
	if status >= http.StatusInternalServerError {
		s.logf("%s %s: %v", r.Method, r.URL.Path, err)
	}
	if wantsJSON(r) {
		s.json(w, status, map[string]string{"error": err.Error()})
		return
	}
	s.show(w, r, status, "failed", &view{Page: strings.Split(strings.TrimSpace(err.Error()), "\n")})
}

func assetHandler() http.Handler {
	files := http.FileServerFS(assetFiles)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		info, err := fs.Stat(assetFiles, strings.TrimPrefix(path.Clean(r.URL.Path), "/"))
		if err != nil || info.IsDir() {
			http.NotFound(w, r) // no lists of folders
			return
		}
		files.ServeHTTP(w, r)
	})
}
