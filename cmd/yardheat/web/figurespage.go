package web

import "net/http"

// figureRoutes are the addresses of the farm's figures.
func (s *Server) figureRoutes(mux *http.ServeMux) {
}
