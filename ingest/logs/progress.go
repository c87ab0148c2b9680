package logs

import (
	"sync"

	"yardheat/ingest/work"
)

// progress counts the files that are read, and knows which of them stand open.
type progress struct {
	told  *work.Teller
	stage work.Stage

	mu       sync.Mutex
	left     map[string]int   // by name: how many logs are yet to read it
	sizeB    map[string]int64 // by name
	read     int
	all      int
	standing []*source
}

func newProgress(logs []*Log, opt Options) *progress {
	p := &progress{told: opt.Told, stage: opt.Stage, left: map[string]int{}, sizeB: map[string]int64{}}
	for _, l := range logs {
		for _, n := range l.names {
			p.left[n]++
			p.all++
		}
	}
	return p
}

// begin says that a file is being read.
func (p *progress) begin(name string) {
	p.mu.Lock()
	read := p.read
	p.mu.Unlock()
	p.told.Tell(work.Progress{Stage: p.stage, Done: read, Total: p.all, File: name, FileTotal: 1})
}

// within gives who is told how far a file has been read; nil where it is only a
// part of one.
func (p *progress) within(name string, s *source) func(int64) {
	if s.packed != nil || p.left[name] > 1 {
		return nil
	}
	const every = 4 << 20
	next := int64(every)
	return func(b int64) {
		if b < next || b >= s.size { // done says the last
			return
		}
		next = b + every
		p.mu.Lock()
		read := p.read
		p.sizeB[name] = s.size
		p.mu.Unlock()
		p.told.Tell(work.Progress{Stage: p.stage, Done: read, Total: p.all, File: name, FileDone: b, FileTotal: s.size})
	}
}

// done says that a file has been read.
func (p *progress) done(name string) {
	p.mu.Lock()
	p.read++
	p.left[name]--
	read, size := min(p.read, p.all), max(1, p.sizeB[name])
	more := p.left[name] > 0
	p.mu.Unlock()
	at := work.Progress{Stage: p.stage, Done: read, Total: p.all, File: name, FileDone: size, FileTotal: size}
	if more {
		at.FileDone = 0
	}
	p.told.Tell(at)
}

// opened notes a source that stands open.
func (p *progress) opened(s *source) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.standing = append(p.standing, s)
}

// close closes what still stands open: all of it where the reading was left.
func (p *progress) close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, s := range p.standing {
		s.close()
	}
}
