// Package job runs the heavy work of the local page: one job at a time over all
// farms, the others in a queue, each with a state that can be asked for, waited
// for and followed. It knows nothing of HTTP, and nothing of what the work is.
//
// Whoever shows jobs follows Changes: every change bears a number, and a
// listener asks for what has changed since the number it saw last. A listener
// that is slow or gone holds nobody up, and several may follow one job.
package job

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"yardheat/ingest/work"
)

// State of a job.
type State string

// The states: waiting → running → one of the last three; waiting → cancelled.
const (
	Waiting   State = "waiting"
	Running   State = "running"
	Done      State = "done"
	Failed    State = "failed"
	Cancelled State = "cancelled"
)

// Ended tells whether nothing will follow.
func (s State) Ended() bool { return s == Done || s == Failed || s == Cancelled }

// ID names a job of one runner; 0 is none. Later jobs have higher ones.
type ID int64

// Progress is how far the work is; see package work for its stages.
type Progress = work.Progress

// Work does the job. It ends soon after ctx has, with ctx's error, and leaves
// nothing half done. It may call report from any goroutine until it returns.
type Work func(ctx context.Context, report func(Progress)) error

// Job is a job as it stands; a copy that later changes do not touch.
type Job struct {
	ID         ID
	Farm, Kind string
	State      State
	// Place in the queue, from 1; 0 where it is not waiting.
	Place int
	// Stopping: it was cancelled and has not ended yet.
	Stopping bool
	// Progress as last reported; Files are those that the stage has named, in
	// that order.
	Progress Progress
	Files    []File
	Queued   time.Time
	// Started and Ended are zero until then.
	Started, Ended time.Time
	// Err says why it failed (a *work.Panic within where the work panicked) or
	// was cancelled.
	Err error
	// Changed is the number of its last change.
	Changed uint64
}

// File is how far one file of a stage is, in bytes; Done = Total: it is done.
type File struct {
	Name        string
	Done, Total int64
}

// mostFiles are kept of a stage; the count in Progress goes on.
const mostFiles = 1000

// Options of a runner.
type Options struct {
	// Kept is how many ended jobs can still be asked for, the last ones.
	Kept int
	// Queue is how many jobs may wait.
	Queue int
	// Now is the clock.
	Now func() time.Time
}

// DefaultOptions are what the page uses.
func DefaultOptions() Options { return Options{Kept: 50, Queue: 20, Now: time.Now} }

// Validate names the option that is out of bounds.
func (o Options) Validate() error {
	switch {
	case o.Kept < 1 || o.Kept > 10_000:
		return fmt.Errorf("job: Kept is %d; want 1 to 10000", o.Kept)
	case o.Queue < 1 || o.Queue > 10_000:
		return fmt.Errorf("job: Queue is %d; want 1 to 10000", o.Queue)
	case o.Now == nil:
		return errors.New("job: Now is not set; want a clock")
	}
	return nil
}

// The errors of a runner.
var (
	// ErrAlready: a job of this kind for this farm waits or runs; it is given
	// beside the error.
	ErrAlready = errors.New("such a job is waiting or running already")
	ErrFull    = errors.New("too many jobs are waiting")
	ErrClosed  = errors.New("no more jobs are taken")
	ErrUnknown = errors.New("no such job")
)

// Runner runs jobs. Its methods may be called from any goroutine.
type Runner struct {
	opt Options

	mu      sync.Mutex
	jobs    []*entry // by ID
	last    ID
	running *entry
	closed  bool
	rev     uint64
	changed chan struct{} // closed and made anew at every change
	done    sync.WaitGroup
}

// entry is a job and what only the runner knows of it.
type entry struct {
	Job
	do     Work
	ctx    context.Context
	cancel context.CancelFunc
	asked  bool // to be cancelled
}

// New makes a runner; the error says what is wrong with opt.
func New(opt Options) (*Runner, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	return &Runner{opt: opt, changed: make(chan struct{})}, nil
}

// Start puts work in the queue. With ErrAlready the job that is there is given.
func (r *Runner) Start(farm, kind string, do Work) (Job, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return Job{}, ErrClosed
	}
	waiting := 0
	for _, e := range r.jobs {
		if e.State == Waiting {
			waiting++
		}
		if !e.State.Ended() && !e.asked && e.Farm == farm && e.Kind == kind {
			return r.copyOf(e), ErrAlready
		}
	}
	if waiting >= r.opt.Queue {
		return Job{}, ErrFull
	}
	r.last++
	e := &entry{Job: Job{ID: r.last, Farm: farm, Kind: kind, State: Waiting, Queued: r.opt.Now()}, do: do}
	e.ctx, e.cancel = context.WithCancel(context.Background())
	r.jobs = append(r.jobs, e)
	r.touch(e)
	r.next()
	return r.copyOf(e), nil
}

// next starts the first that waits, where none runs. The lock is held.
func (r *Runner) next() {
	if r.running != nil || r.closed {
		return
	}
	at := slices.IndexFunc(r.jobs, func(e *entry) bool { return e.State == Waiting })
	if at < 0 {
		return
	}
	e := r.jobs[at]
	r.running, e.State, e.Started = e, Running, r.opt.Now()
	r.touch(e)
	r.touchWaiting()
	r.done.Go(func() {
		err := run(e.ctx, e.do, func(p Progress) { r.report(e, p) })
		r.mu.Lock()
		defer r.mu.Unlock()
		r.end(e, err)
		r.running = nil
		r.next()
	})
}

// run does the work; a panic is an error, and so is an end without one's own
// return.
func run(ctx context.Context, do Work, report func(Progress)) (err error) {
	returned := false
	defer func() {
		if p := recover(); p != nil {
			at, ok := p.(*work.Panic)
			if !ok {
				at = &work.Panic{Value: p, Stack: string(debug.Stack())}
			}
			err = fmt.Errorf("the program failed: %w", at)
		}
	}()
	ended := make(chan error, 1)
	var g work.Group
	g.Go(func() { // of its own, so that runtime.Goexit ends only this one
		defer close(ended)
		ended <- left(ctx, do, report)
		returned = true
	})
	g.Wait()
	if !returned {
		return errors.New("the work ended without a result")
	}
	return <-ended
}

// left does the work; where its loops leave it by work.Check, that is its error.
func left(ctx context.Context, do Work, report func(Progress)) (err error) {
	defer work.Catch(&err)
	return do(ctx, report)
}

// end settles how a job ended. The lock is held.
func (r *Runner) end(e *entry, err error) {
	e.cancel()
	e.State, e.Ended, e.Err, e.Stopping = Done, r.opt.Now(), err, false
	switch {
	case err == nil:
	case e.asked && errors.Is(err, context.Canceled):
		e.State = Cancelled
	default:
		e.State = Failed
	}
	e.do = nil // what it holds on to is not kept
	r.touch(e)
	r.forget()
}

// forget lets the oldest ended jobs go. The lock is held.
func (r *Runner) forget() {
	ended := 0
	for _, e := range r.jobs {
		if e.State.Ended() {
			ended++
		}
	}
	r.jobs = slices.DeleteFunc(r.jobs, func(e *entry) bool {
		if ended <= r.opt.Kept || !e.State.Ended() {
			return false
		}
		ended--
		return true
	})
}

// report takes progress; what comes after the end is left out.
func (r *Runner) report(e *entry, p Progress) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if e.State != Running {
		return
	}
	if p.Stage != e.Progress.Stage {
		e.Files = nil
	}
	e.Progress = p
	if p.File != "" {
		f := File{Name: p.File, Done: p.FileDone, Total: p.FileTotal}
		if i := slices.IndexFunc(e.Files, func(o File) bool { return o.Name == f.Name }); i >= 0 {
			e.Files[i] = f
		} else if len(e.Files) < mostFiles {
			e.Files = append(e.Files, f)
		}
	}
	r.touch(e)
}

// touch gives a job the number of a new change and wakes those who follow. The
// lock is held.
func (r *Runner) touch(e *entry) {
	r.rev++
	e.Changed = r.rev
	close(r.changed)
	r.changed = make(chan struct{})
}

// touchWaiting: their places in the queue have changed. The lock is held.
func (r *Runner) touchWaiting() {
	for _, e := range r.jobs {
		if e.State == Waiting {
			r.touch(e)
		}
	}
}

// copyOf is a job as it stands. The lock is held.
func (r *Runner) copyOf(e *entry) Job {
	j := e.Job
	j.Files = slices.Clone(e.Files)
	if j.State == Waiting {
		for _, o := range r.jobs {
			if o.State == Waiting && o.ID <= j.ID {
				j.Place++
			}
		}
	}
	return j
}

// find gives the entry of an ID, nil where it is not known. The lock is held.
func (r *Runner) find(id ID) *entry {
	for _, e := range r.jobs {
		if e.ID == id {
			return e
		}
	}
	return nil
}

// Cancel has a job end: one that waits at once, one that runs as soon as its
// work notices. One that has ended is left as it is.
func (r *Runner) Cancel(id ID) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	e := r.find(id)
	if e == nil {
		return ErrUnknown
	}
	r.stop(e)
	return nil
}

// stop cancels a job. The lock is held.
func (r *Runner) stop(e *entry) {
	switch {
	case e.State == Waiting:
		e.asked = true
		r.end(e, context.Canceled)
		r.touchWaiting()
	case e.State == Running && !e.asked:
		e.asked, e.Stopping = true, true
		e.cancel()
		r.touch(e)
	}
}

// Get gives a job; false where there is none, or none any more.
func (r *Runner) Get(id ID) (Job, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	e := r.find(id)
	if e == nil {
		return Job{}, false
	}
	return r.copyOf(e), true
}

// List gives all jobs, the oldest first.
func (r *Runner) List() []Job {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.since(0)
}

// since are the jobs changed after a change. The lock is held.
func (r *Runner) since(rev uint64) []Job {
	var out []Job
	for _, e := range r.jobs {
		if e.Changed > rev {
			out = append(out, r.copyOf(e))
		}
	}
	return out
}

// Changes waits until something has changed after the change seen (0 = give all
// jobs there are at once, or wait for the first), and gives the jobs that did, as
// they now stand, with the number of the last change. Changes in between are
// not given one by one. A number that this runner has not come to, such as one
// of a program that ran before, counts as 0. The error is ctx's, or ErrClosed
// once the runner is closed and nothing more will change.
func (r *Runner) Changes(ctx context.Context, seen uint64) ([]Job, uint64, error) {
	for {
		r.mu.Lock()
		if seen > r.rev {
			seen = 0
		}
		jobs, rev, changed := r.since(seen), r.rev, r.changed
		over := r.closed && r.running == nil
		r.mu.Unlock()
		switch {
		case len(jobs) > 0:
			return jobs, rev, nil
		case over:
			return nil, rev, ErrClosed
		}
		select {
		case <-ctx.Done():
			return nil, seen, ctx.Err()
		case <-changed:
		}
	}
}

// Wait waits for a job's end. The error is ctx's, or ErrUnknown.
func (r *Runner) Wait(ctx context.Context, id ID) (Job, error) {
	r.mu.Lock()
	e := r.find(id)
	r.mu.Unlock()
	if e == nil {
		return Job{}, ErrUnknown
	}
	for {
		r.mu.Lock()
		j, changed := r.copyOf(e), r.changed
		r.mu.Unlock()
		if j.State.Ended() {
			return j, nil
		}
		select {
		case <-ctx.Done():
			return j, ctx.Err()
		case <-changed:
		}
	}
}

// Close takes no more jobs, cancels all, and waits for the one that runs, as
// long as ctx lasts. It may be called again.
func (r *Runner) Close(ctx context.Context) error {
	r.mu.Lock()
	r.closed = true
	for _, e := range slices.Clone(r.jobs) {
		r.stop(e)
	}
	r.mu.Unlock()
	for {
		r.mu.Lock()
		busy, changed := r.running != nil, r.changed
		r.mu.Unlock()
		if !busy {
			r.done.Wait()
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("a job has not ended: %w", ctx.Err())
		case <-changed:
		}
	}
}
