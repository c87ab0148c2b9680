package web

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"net"
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
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "this came from another page, and nothing was done", http.StatusForbidden)
	}))
	inner := cross.Handler(s.entrance(s.formToken(next)))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		setHeaders(w.Header(), r.Host)
		if !slices.Contains(s.opt.Hosts, strings.ToLower(r.Host)) {
			http.Error(w, "this page answers only under the address that the yardheat window shows", http.StatusMisdirectedRequest)
			return
		}
		switch r.Method {
		case http.MethodGet, http.MethodHead, http.MethodPost:
		default:
			w.Header().Set("Allow", "GET, HEAD, POST")
			http.Error(w, "the page knows GET and POST", http.StatusMethodNotAllowed)
			return
		}
		out := newPacedWriter(w, s.opt.Limits.Step)
		defer out.extend()
		body := newPaced(w, r, s.opt.Limits)
		r.Body = body
		if r.Method != http.MethodPost {
			r.Body = http.NoBody // nobody has a use for what comes with a question
		}
		defer func() {
			if r.ContentLength != 0 {
				body.finish()
			}
		}()
		inner.ServeHTTP(out, r)
	})
}

func setHeaders(h http.Header, host string) {
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	// Not no-referrer: with that, browsers send "Origin: null" with forms, and on the
	// farm's network, where there is no Sec-Fetch-Site, no form would pass.
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	if loopbackHost(host) { // elsewhere browsers ignore it and complain
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
	}
}

func loopbackHost(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = hostport
	}
	ip := net.ParseIP(strings.Trim(host, "[]"))
	return strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
}

// cookieName of the session. Cookies are shared by the ports of a host, so the
// name carries the port.
func cookieName(r *http.Request) string {
	_, port, err := net.SplitHostPort(r.Host)
	if err != nil {
		port = "80"
	}
	return "yardheat-" + port
}

type sessionKey struct{}

// sessionOf is the session that the request belongs to; nil at the entrance.
func sessionOf(r *http.Request) *session {
	v, _ := r.Context().Value(sessionKey{}).(*session)
	return v
}

// entrance lets in who bears a session's cookie; who knows the link or the
// password gets one.
func (s *Server) entrance(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		cookie, err := r.Cookie(cookieName(r))
		if err == nil {
			if in := s.sessions.get(cookie.Value); in != nil && r.URL.Path != "/enter" {
				next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), sessionKey{}, in)))
				return
			}
		}
		read := r.Method != http.MethodPost
		switch {
		case r.URL.Path == "/enter" && read && s.keyFits(r.URL.Query().Get("key")):
			s.letIn(w, r)
		case r.URL.Path == "/enter" && !read:
			s.enterPassword(w, r)
		case strings.HasPrefix(r.URL.Path, "/assets/") && read:
			next.ServeHTTP(w, r) // the look of the entrance itself
		default:
			s.enterPage(w, r, http.StatusUnauthorized, enterView{Old: err == nil})
		}
	})
}

// formToken asks every POST for the token of its session.
func (s *Server) formToken(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodPost {
			next.ServeHTTP(w, r)
			return
		}
		in := sessionOf(r)
		if in == nil {
			s.fail(w, r, http.StatusForbidden, errToken)
			return
		}
		if s.closing.Load() {
			s.fail(w, r, http.StatusServiceUnavailable, errClosing)
			return
		}
		if err := checkToken(w, r, in.token); err != nil {
			status := http.StatusBadRequest
			var large *http.MaxBytesError
			switch {
			case errors.As(err, &large):
				status = http.StatusRequestEntityTooLarge
			case errors.Is(err, errToken):
				status = http.StatusForbidden
				err = errors.New(s.say(r, "page.token"))
			}
			s.fail(w, r, status, err)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (s *Server) letIn(w http.ResponseWriter, r *http.Request) {
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Value: s.sessions.begin(), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// same compares in a time that tells nothing of where they differ, nor of the
// length of b.
func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return b != "" && subtle.ConstantTimeCompare(x[:], y[:]) == 1
}
