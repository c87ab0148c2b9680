package web

import "net/http"

// reportRoutes are the addresses of reports: read, compared, downloaded.
func (s *Server) reportRoutes(mux *http.ServeMux) {
}
