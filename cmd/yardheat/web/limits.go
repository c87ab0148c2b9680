package web

import (
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"time"
)

// Limits of what one request may take. A client that moves is let through however
// slow its line; one that holds a connection and sends next to nothing is cut.
type Limits struct {
	RequestB int64         // bytes of one upload with all its files
	Parts    int           // files and fields of one upload
	Uploads  int           // uploads that are read at the same time
	Wait     time.Duration // for one of these places
	// StepB must arrive, and be taken, within Step each.
	StepB int
	Step  time.Duration
	// Longest is the time an upload may take in all.
	Longest time.Duration
}

// DefaultLimits: 16 KiB in 30 s is slower than any telephone line.
func DefaultLimits() Limits {
	return Limits{RequestB: 4 << 30, Parts: 400, Uploads: 64, Wait: 2 * time.Minute, StepB: 16 << 10, Step: 30 * time.Second, Longest: 6 * time.Hour}
}

var errBusy = errors.New("too many uploads at once; try again in a minute")

// places let so many in at a time.
type places struct {
	free chan struct{}
	wait time.Duration
}

func newPlaces(n int, wait time.Duration) *places {
	return &places{free: make(chan struct{}, n), wait: wait}
}

// enter waits for a place; leave gives it back.
func (p *places) enter(ctx context.Context) (leave func(), err error) {
	timer := time.NewTimer(p.wait)
	defer timer.Stop()
	select {
	case p.free <- struct{}{}:
		return func() { <-p.free }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-timer.C:
		return nil, errBusy
	}
}

// paced is a request's body that must move: every StepB within Step of waiting
// for it. Time in which nobody reads is not counted against the client.
type paced struct {
	io.ReadCloser
	set   func(time.Time) error
	limit Limits
	now   func() time.Time
	end   time.Time     // of the longest time
	left  time.Duration // of this step
	got   int           // of this step
	over  bool
}

func newPaced(w http.ResponseWriter, r *http.Request, l Limits) *paced {
	now := time.Now // deadlines of connections are of the real clock
	return &paced{ReadCloser: r.Body, set: http.NewResponseController(w).SetReadDeadline, limit: l, now: now, end: now().Add(l.Longest), left: l.Step}
}

func (p *paced) Read(b []byte) (int, error) {
	start := p.now()
	if p.left <= 0 || start.After(p.end) {
		return 0, os.ErrDeadlineExceeded
	}
	until := start.Add(p.left)
	if until.After(p.end) {
		until = p.end
	}
	_ = p.set(until) // a writer that knows no deadlines is a test's
	n, err := p.ReadCloser.Read(b)
	p.left -= p.now().Sub(start)
	if p.got += n; p.got >= p.limit.StepB {
		p.got, p.left = 0, p.limit.Step
	}
	if errors.Is(err, io.EOF) {
		p.over = true
		_ = p.set(time.Time{}) // else the connection would count as lost while the answer is made
	}
	return n, err
}

// finish bounds what the server itself still reads of a body that was left.
func (p *paced) finish() {
	if !p.over {
		_ = p.set(p.now().Add(time.Second))
	}
}

// pacedWriter gives each write its own time.
type pacedWriter struct {
	http.ResponseWriter
	set  func(time.Time) error
	step time.Duration
}

func newPacedWriter(w http.ResponseWriter, step time.Duration) *pacedWriter {
	return &pacedWriter{ResponseWriter: w, set: http.NewResponseController(w).SetWriteDeadline, step: step}
}

func (p *pacedWriter) extend() { _ = p.set(time.Now().Add(p.step)) }

func (p *pacedWriter) WriteHeader(status int) {
	p.extend()
	p.ResponseWriter.WriteHeader(status)
}

func (p *pacedWriter) Write(b []byte) (int, error) {
	p.extend()
	return p.ResponseWriter.Write(b)
}

// Flush and Unwrap let handlers send in pieces.
func (p *pacedWriter) Flush() {
	p.extend()
	_ = http.NewResponseController(p.ResponseWriter).Flush()
}

// Unwrap is for http.ResponseController.
func (p *pacedWriter) Unwrap() http.ResponseWriter { return p.ResponseWriter }
