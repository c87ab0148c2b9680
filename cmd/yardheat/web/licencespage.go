package web

import (
	"net/http"
	"runtime"

	"yardheat/cmd/yardheat/licences"
)

// licencesPage says which version this is, and what else is in it.
func (s *Server) licencesPage(w http.ResponseWriter, r *http.Request) {
	parts, err := licences.All(runtime.Version())
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	s.show(w, r, http.StatusOK, "licences", &view{Title: s.say(r, "page.licences"), Page: parts})
}
