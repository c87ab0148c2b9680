package web

import (
	"sync"
	"time"
)

// session is one browser that was let in.
type session struct {
	token string // of its forms
	at    time.Time
}

// mostSessions are kept; beyond that the oldest ends.
const mostSessions = 500

type sessions struct {
	mu  sync.Mutex
	now func() time.Time
	all map[string]*session
}

func newSessions(now func() time.Time) *sessions {
	return &sessions{now: now, all: map[string]*session{}}
}

// begin gives the cookie of a new session.
func (s *sessions) begin() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.all) >= mostSessions {
		oldest := ""
		for id, one := range s.all {
			if oldest == "" || one.at.Before(s.all[oldest].at) {
				oldest = id
			}
		}
		delete(s.all, oldest)
	}
	id := newToken()
	s.all[id] = &session{token: newToken(), at: s.now()}
	return id
}

// get is nil for a cookie of none. The cookie is 256 bits by chance: that the
// search takes a time of its own tells nobody one.
func (s *sessions) get(id string) *session {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.all[id]
}

func (s *sessions) end(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.all, id)
}

// NewKey is the key of a link, by chance.
func NewKey() string { return newToken() }
