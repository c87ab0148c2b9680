// Package work is what long work of every floor shares: it can be stopped, it
// says how far it is, and a panic in one of its goroutines ends the work and
// not the program.
//
// Reading, fitting and drawing are deep in loops that have no error to return.
// So such a loop asks Check every few thousand steps, which leaves it by a
// panic once nobody wants its result; the functions that others call (Load,
// Compute, Write) turn that into the context's error by Catch. What is started
// in goroutines is started by Group, Each or Later, which carry such a leave,
// and every other panic, to whoever waits.
//
// It is a leaf: it imports nothing of ours.
package work

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"
)

// stopped is what Check leaves by.
type stopped struct{ err error }

// Panic is a panic of another goroutine: its value and where it was.
type Panic struct {
	Value any
	Stack string
}

// Error gives the value and the stack.
func (p *Panic) Error() string { return fmt.Sprintf("%v\n%s", p.Value, p.Stack) }

// Err is the context's error; none without a context.
func Err(ctx context.Context) error {
	if ctx == nil {
		return nil
	}
	return ctx.Err()
}

// Check leaves the work, up to the next Catch, where ctx has ended. A nil
// context never ends.
func Check(ctx context.Context) {
	if ctx == nil {
		return
	}
	if err := ctx.Err(); err != nil {
		panic(stopped{err})
	}
}

// CheckEvery is Check at every n-th of a loop's steps.
func CheckEvery(ctx context.Context, i, n int) {
	if i%n == 0 {
		Check(ctx)
	}
}

// Catch, deferred, turns a leave by Check into the context's error (of which
// errors.Is tells context.Canceled). Other panics go on.
func Catch(err *error) {
	switch p := recover().(type) {
	case nil:
	case stopped:
		*err = p.err
	default:
		panic(p)
	}
}

// Group are goroutines that somebody waits for. The zero value is ready.
type Group struct {
	wait   sync.WaitGroup
	mu     sync.Mutex
	value  any
	failed atomic.Bool
}

// Go starts f.
func (g *Group) Go(f func()) {
	g.wait.Go(func() {
		defer func() {
			if p := recover(); p != nil {
				g.keep(Carried(p))
			}
		}()
		f()
	})
}

// Carried is what of a panic is handed on to another goroutine, which panics with
// it: it says where the first one was.
func Carried(p any) any {
	switch p.(type) {
	case stopped, *Panic:
		return p
	}
	return &Panic{Value: p, Stack: string(debug.Stack())}
}

// keep keeps the first panic; one that is a fault goes before a leave.
func (g *Group) keep(p any) {
	g.failed.Store(true)
	g.mu.Lock()
	defer g.mu.Unlock()
	if _, leave := g.value.(stopped); g.value == nil || leave {
		g.value = p
	}
}

// Failed tells whether one of them left or panicked: the others need not go on.
func (g *Group) Failed() bool { return g.failed.Load() }

// Wait waits for all, and leaves or panics as one of them did.
func (g *Group) Wait() {
	g.wait.Wait()
	if g.value != nil {
		panic(g.value)
	}
}

// Settle waits for all and forgets how they ended: for those who give up.
func (g *Group) Settle() { g.wait.Wait() }

// Each calls f for 0 … n−1 from so many goroutines (0 = one a core) and waits.
// f(i) writes only what is its own: the result is the same on any number of
// cores.
func Each(workers, n int, f func(i int)) {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var taken atomic.Int64
	var g Group
	for range min(workers, n) {
		g.Go(func() {
			for i := int(taken.Add(1)) - 1; i < n && !g.Failed(); i = int(taken.Add(1)) - 1 {
				f(i)
			}
		})
	}
	g.Wait()
}

// Later starts f in a group; the function given waits for its value, and leaves
// or panics as f did. It may be called often.
func Later[T any](g *Group, f func() T) (wait func() T) {
	var value T
	var fault any
	done := make(chan struct{})
	g.Go(func() {
		defer close(done)
		defer func() {
			if p := recover(); p != nil {
				fault = Carried(p)
				g.keep(fault)
			}
		}()
		value = f()
	})
	return func() T {
		<-done
		if fault != nil {
			panic(fault)
		}
		return value
	}
}
