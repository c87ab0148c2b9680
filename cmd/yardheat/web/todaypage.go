package web

import "net/http"

// todayRoutes are the addresses of the last two days.
func (s *Server) todayRoutes(mux *http.ServeMux) {
}
