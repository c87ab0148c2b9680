package web

import (
	"errors"
	"net/http"
	"net/url"

	"yardheat/cmd/yardheat/web/display"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/texts"
)

// farmsView is the first page.
type farmsView struct {
	Folder string
	Names  []string
}

func (s *Server) farmsPage(w http.ResponseWriter, r *http.Request) {
	names, err := s.opt.Store.List()
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	if s.opt.Store.One() && len(names) == 1 {
		http.Redirect(w, r, farmURL(names[0]), http.StatusSeeOther)
		return
	}
	s.show(w, r, http.StatusOK, "farms", &view{Page: farmsView{Folder: s.opt.Store.Dir(), Names: names}})
}

func farmURL(name string) string { return "/farm/" + url.PathEscape(name) }

func (s *Server) farmNew(w http.ResponseWriter, r *http.Request) {
	f, err := s.opt.Store.New(r.PostFormValue("name"))
	if errors.Is(err, farms.ErrName) || errors.Is(err, farms.ErrExists) {
		s.fail(w, r, http.StatusBadRequest, err)
		return
	}
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	http.Redirect(w, r, farmURL(f.Name()), http.StatusSeeOther)
}

func (s *Server) farmPage(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	s.show(w, r, http.StatusOK, "farm", &view{Title: f.Title(), Farm: f, Section: "home"})
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
