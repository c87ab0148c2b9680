package web

import "net/http"

// logRoutes are the addresses of the logs: what was given, what was understood of it.
func (s *Server) logRoutes(mux *http.ServeMux) {
}
