package web

import (
	"crypto/rand"
	"fmt"
	"math/big"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"
)

// NewPassword is ten digits by chance, in two groups that can be typed on a phone.
// With the tries that the entrance allows, one in a thousand would be found in
// some three years of guessing without a pause.
func NewPassword() string {
	n, err := rand.Int(rand.Reader, big.NewInt(10_000_000_000))
	if err != nil {
		panic(err) // never: crypto/rand ends the program itself (Go 1.24 on)
	}
	digits := fmt.Sprintf("%010d", n)
	return digits[:5] + " " + digits[5:]
}

// enterView is what somebody sees who is not let in yet.
type enterView struct {
	Password bool // there is one
	Wrong    bool
	Wait     bool // too many tries
	Old      bool // the browser's session is over
}

func (s *Server) enterPage(w http.ResponseWriter, r *http.Request, status int, v enterView) {
	v.Password = s.opt.Password != ""
	if wantsJSON(r) {
		s.json(w, status, map[string]string{"error": s.say(r, "enter.json")})
		return
	}
	s.show(w, r, status, "enter", &view{Page: v})
}

// keyFits: the key of the link, or one that OnceKey gave out and nobody used yet.
func (s *Server) keyFits(key string) bool {
	if key == "" {
		return false
	}
	if same(key, s.opt.Key) {
		return true
	}
	s.once.Lock()
	defer s.once.Unlock()
	until, ok := s.once.keys[key]
	delete(s.once.keys, key)
	return ok && s.opt.Now().Before(until)
}

// onceKeys open once, within two minutes.
type onceKeys struct {
	sync.Mutex
	keys map[string]time.Time
}

// OnceKey is a key for /enter?key= that opens once. A link that is handed to
// another program on the command line can be seen by others on this computer.
func (s *Server) OnceKey() string {
	key := newToken()
	s.once.Lock()
	defer s.once.Unlock()
	s.once.keys[key] = s.opt.Now().Add(2 * time.Minute)
	return key
}

// enterPassword answers the form of the entrance.
func (s *Server) enterPassword(w http.ResponseWriter, r *http.Request) {
	if s.opt.Password == "" {
		s.enterPage(w, r, http.StatusUnauthorized, enterView{})
		return
	}
	if !s.tries.allow(addressOf(r)) {
		w.Header().Set("Retry-After", "60")
		s.enterPage(w, r, http.StatusTooManyRequests, enterView{Wait: true})
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, err)
		return
	}
	if !same(plainPassword(r.PostForm.Get("password")), plainPassword(s.opt.Password)) {
		s.logf("a wrong password from %s", addressOf(r))
		s.enterPage(w, r, http.StatusUnauthorized, enterView{Wrong: true})
		return
	}
	s.tries.right(addressOf(r))
	s.letIn(w, r)
}

// plainPassword leaves out what people put between groups of digits.
func plainPassword(p string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(" \u00a0\u2009\u202f-\u2013\t.", r) {
			return -1
		}
		return r
	}, p)
}

// leave ends the browser's session.
func (s *Server) leave(w http.ResponseWriter, r *http.Request) {
	if cookie, err := r.Cookie(cookieName(r)); err == nil {
		s.sessions.end(cookie.Value)
	}
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// addressOf is whose tries are counted together: an address, of IPv6 the network
// of 64 bits, since a device has as many addresses in it as it likes.
func addressOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	ip := net.ParseIP(strings.Split(host, "%")[0])
	if ip == nil || ip.To4() != nil {
		return host
	}
	return ip.Mask(net.CIDRMask(64, 128)).String()
}

// tries bounds how often a password is tried: each address has five and gets one
// back every 30 s; all together twenty, and one every 10 s.
type tries struct {
	mu  sync.Mutex
	now func() time.Time
	all bucket
	by  map[string]*bucket
}

const (
	triesEach, triesAll = 5, 20
	againEach, againAll = 30 * time.Second, 10 * time.Second
	mostAddresses       = 1000
)

type bucket struct {
	left float64
	at   time.Time
}

func (b *bucket) fill(now time.Time, most float64, again time.Duration) {
	b.left = min(most, b.left+float64(now.Sub(b.at))/float64(again))
	b.at = now
}

func newTries(now func() time.Time) *tries {
	return &tries{now: now, all: bucket{left: triesAll, at: now()}, by: map[string]*bucket{}}
}

// allow takes one try.
func (t *tries) allow(from string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.now()
	one := t.by[from]
	if one == nil {
		t.forget(now)
		one = &bucket{left: triesEach, at: now}
		t.by[from] = one
	}
	one.fill(now, triesEach, againEach)
	t.all.fill(now, triesAll, againAll)
	if one.left < 1 || t.all.left < 1 {
		return false
	}
	one.left--
	t.all.left--
	return true
}

// forget drops addresses that have all their tries again, and, where a thousand
// have not, all of them: the tries in all still hold.
func (t *tries) forget(now time.Time) {
	if len(t.by) < mostAddresses {
		return
	}
	for from, b := range t.by {
		if b.fill(now, triesEach, againEach); b.left >= triesEach {
			delete(t.by, from)
		}
	}
	if len(t.by) >= mostAddresses {
		clear(t.by)
	}
}

// right gives back the try of who knew the password.
func (t *tries) right(from string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.all.left = min(triesAll, t.all.left+1)
	if b := t.by[from]; b != nil {
		b.left = triesEach
	}
}
