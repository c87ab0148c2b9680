package web

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"net/http"
	"slices"
	"strings"
)

// policy of every page: nothing but our own files, no inline script or style, no
// frame, no form to elsewhere.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; font-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// newToken is 256 bits by chance, in hexadecimal digits.
func newToken() string {
	b := make([]byte, 32)
	_, _ = rand.Read(b) // never fails (crypto/rand, Go 1.24 on)
	return hex.EncodeToString(b)
}

// guard stands before every address. The Host comes first: the cross-origin check
// compares Origin with Host, and lets a name through that was rebound to this
// computer.
func (s *Server) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	inner := cross.Handler(s.entrance(next))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if !slices.Contains(s.opt.Hosts, strings.ToLower(r.Host)) {
			http.Error(w, "this page answers only under the address that the yardheat window shows", http.StatusMisdirectedRequest)
			return
		}
		inner.ServeHTTP(w, r)
	})
}

// cookieName of the session. Cookies are shared by the ports of a host, so the
// name carries some of the key.
func (s *Server) cookieName() string { return "yardheat-" + s.session[:8] }

// entrance lets in who bears the session's cookie, or the key in the link.
func (s *Server) entrance(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c, err := r.Cookie(s.cookieName()); err == nil && same(c.Value, s.session) {
			next.ServeHTTP(w, r)
			return
		}
		if strings.HasPrefix(r.URL.Path, "/assets/") {
			next.ServeHTTP(w, r) // the look of the entrance itself
			return
		}
		if r.URL.Path == "/enter" && r.Method == http.MethodGet && same(r.URL.Query().Get("key"), s.opt.Key) {
			s.letIn(w)
			http.Redirect(w, r, "/", http.StatusSeeOther)
			return
		}
		s.enterPage(w, r)
	})
}

func (s *Server) letIn(w http.ResponseWriter) {
	http.SetCookie(w, &http.Cookie{Name: s.cookieName(), Value: s.session, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
}

func same(a, b string) bool { return b != "" && subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }
