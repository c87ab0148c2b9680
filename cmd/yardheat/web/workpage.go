package web

import "net/http"

// workRoutes are the addresses of working a report out, with progress and a cancel.
func (s *Server) workRoutes(mux *http.ServeMux) {
}
