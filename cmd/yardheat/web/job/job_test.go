package job_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web/job"
	"yardheat/ingest/work"
)

var bg = context.Background()

func newRunner(t *testing.T, change ...func(*job.Options)) *job.Runner {
	t.Helper()
	opt := job.DefaultOptions()
	for _, f := range change {
		f(&opt)
	}
	r, err := job.New(opt)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.Close(bg)) })
	return r
}

func untilStopped(ctx context.Context, _ func(job.Progress)) error {
	<-ctx.Done()
	return ctx.Err()
}

func nothing(context.Context, func(job.Progress)) error { return nil }

func TestOneAtATimeInOrder(t *testing.T) {
	r := newRunner(t)
	var at, most atomic.Int32
	var mu sync.Mutex
	var order []string
	var last job.ID
	for i := range 10 {
		farm := fmt.Sprint("farm ", i)
		j, err := r.Start(farm, "report", func(context.Context, func(job.Progress)) error {
			most.Store(max(most.Load(), at.Add(1)))
			time.Sleep(time.Millisecond)
			mu.Lock()
			order = append(order, farm)
			mu.Unlock()
			at.Add(-1)
			return nil
		})
		require.NoError(t, err)
		require.Greater(t, j.ID, last)
		last = j.ID
	}
	j, err := r.Wait(bg, last)
	require.NoError(t, err)
	require.Equal(t, job.Done, j.State)
	require.False(t, j.Started.Before(j.Queued) || j.Ended.Before(j.Started))
	require.EqualValues(t, 1, most.Load())
	for i, farm := range order {
		require.Equal(t, fmt.Sprint("farm ", i), farm)
	}
}

func TestStatesAndPlaces(t *testing.T) {
	r := newRunner(t)
	a, err := r.Start("a", "report", untilStopped)
	require.NoError(t, err)
	require.Equal(t, job.Running, a.State)
	b, err := r.Start("b", "report", untilStopped)
	require.NoError(t, err)
	c, err := r.Start("c", "report", nothing)
	require.NoError(t, err)
	require.Equal(t, []any{job.Waiting, 1, job.Waiting, 2}, []any{b.State, b.Place, c.State, c.Place})
	same, err := r.Start("b", "report", nothing)
	require.ErrorIs(t, err, job.ErrAlready)
	require.Equal(t, b.ID, same.ID)

	require.NoError(t, r.Cancel(b.ID))
	b, _ = r.Get(b.ID)
	require.Equal(t, job.Cancelled, b.State)
	require.True(t, b.Started.IsZero())
	c, _ = r.Get(c.ID)
	require.Equal(t, 1, c.Place)

	require.NoError(t, r.Cancel(a.ID))
	a, err = r.Wait(bg, a.ID)
	require.NoError(t, err)
	require.Equal(t, job.Cancelled, a.State)
	require.ErrorIs(t, a.Err, context.Canceled)
	c, err = r.Wait(bg, c.ID)
	require.NoError(t, err)
	require.Equal(t, job.Done, c.State)
	require.NoError(t, r.Cancel(c.ID), "what has ended stays as it is")
	c, _ = r.Get(c.ID)
	require.Equal(t, job.Done, c.State)
	require.ErrorIs(t, r.Cancel(99), job.ErrUnknown)
	_, err = r.Wait(bg, 99)
	require.ErrorIs(t, err, job.ErrUnknown)
}

func TestHowWorkEnds(t *testing.T) {
	r := newRunner(t)
	faulty := errors.New("the disk is full")
	for name, c := range map[string]struct {
		do    job.Work
		state job.State
		check func(*testing.T, error)
	}{
		"error": {func(context.Context, func(job.Progress)) error { return faulty }, job.Failed,
			func(t *testing.T, err error) { require.ErrorIs(t, err, faulty) }},
		"panic": {func(context.Context, func(job.Progress)) error { panic("fault") }, job.Failed, isPanic},
		"panic in a goroutine of its own": {func(context.Context, func(job.Progress)) error {
			work.Each(2, 2, func(int) { panic("fault") })
			return nil
		}, job.Failed, isPanic},
		"goexit": {func(context.Context, func(job.Progress)) error { runtime.Goexit(); return nil }, job.Failed,
			func(t *testing.T, err error) { require.ErrorContains(t, err, "without a result") }},
		"cancelled by nobody": {func(context.Context, func(job.Progress)) error { return context.Canceled }, job.Failed,
			func(t *testing.T, err error) { require.ErrorIs(t, err, context.Canceled) }},
		"done": {nothing, job.Done, func(t *testing.T, err error) { require.NoError(t, err) }},
	} {
		t.Run(name, func(t *testing.T) {
			j, err := r.Start("a", name, c.do)
			require.NoError(t, err)
			j, err = r.Wait(bg, j.ID)
			require.NoError(t, err)
			require.Equal(t, c.state, j.State)
			c.check(t, j.Err)
		})
	}
	// A leave by work.Check that nobody caught.
	j, err := r.Start("a", "leave", func(ctx context.Context, _ func(job.Progress)) error {
		<-ctx.Done()
		work.Check(ctx)
		return nil
	})
	require.NoError(t, err)
	require.NoError(t, r.Cancel(j.ID))
	j, err = r.Wait(bg, j.ID)
	require.NoError(t, err)
	require.Equal(t, job.Cancelled, j.State)
	// Cancelled too late: what was made stands, and so does "done".
	begun := make(chan struct{})
	j, err = r.Start("a", "late", func(ctx context.Context, _ func(job.Progress)) error {
		close(begun)
		<-ctx.Done()
		return nil
	})
	require.NoError(t, err)
	<-begun
	require.NoError(t, r.Cancel(j.ID))
	j, err = r.Wait(bg, j.ID)
	require.NoError(t, err)
	require.Equal(t, job.Done, j.State)
}

func isPanic(t *testing.T, err error) {
	var p *work.Panic
	require.ErrorAs(t, err, &p)
	require.Equal(t, "fault", p.Value)
	require.Contains(t, p.Stack, "job_test.go")
}

func TestProgressIsFollowed(t *testing.T) {
	r := newRunner(t)
	step, after := make(chan job.Progress), make(chan struct{})
	var late func(job.Progress)
	j, err := r.Start("a", "report", func(_ context.Context, report func(job.Progress)) error {
		late = report
		for p := range step {
			report(p)
			after <- struct{}{}
		}
		return nil
	})
	require.NoError(t, err)
	jobs, seen, err := r.Changes(bg, 0)
	require.NoError(t, err)
	require.Len(t, jobs, 1)
	tell := func(p job.Progress) job.Job {
		step <- p
		<-after
		var jobs []job.Job
		jobs, seen, err = r.Changes(bg, seen)
		require.NoError(t, err)
		require.Len(t, jobs, 1)
		require.Equal(t, p, jobs[0].Progress)
		return jobs[0]
	}
	tell(job.Progress{Stage: work.StageRead, File: "a.csv", FileTotal: 10, Total: 2})
	tell(job.Progress{Stage: work.StageRead, File: "b.csv", FileTotal: 20, Total: 2})
	got := tell(job.Progress{Stage: work.StageRead, File: "a.csv", FileDone: 10, FileTotal: 10, Done: 1, Total: 2})
	require.Equal(t, []job.File{{Name: "a.csv", Done: 10, Total: 10}, {Name: "b.csv", Total: 20}}, got.Files)
	require.Empty(t, tell(job.Progress{Stage: work.StageGrid}).Files)

	// Nothing new: the listener waits, and is not kept longer than it wants.
	ctx, cancel := context.WithTimeout(bg, 20*time.Millisecond)
	defer cancel()
	_, same, err := r.Changes(ctx, seen)
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Equal(t, seen, same)
	jobs, _, err = r.Changes(bg, seen+1000)
	require.NoError(t, err, "a number of a program that ran before")
	require.Len(t, jobs, 1)

	close(step)
	j, err = r.Wait(bg, j.ID)
	require.NoError(t, err)
	late(job.Progress{Stage: work.StageTrials})
	now, _ := r.Get(j.ID)
	require.Equal(t, work.StageGrid, now.Progress.Stage, "what is reported after the end is left out")
}

func TestBounds(t *testing.T) {
	r := newRunner(t, func(o *job.Options) { o.Kept, o.Queue = 3, 2 })
	var ids []job.ID
	for i := range 6 {
		j, err := r.Start("a", fmt.Sprint(i), nothing)
		require.NoError(t, err)
		_, err = r.Wait(bg, j.ID)
		require.NoError(t, err)
		ids = append(ids, j.ID)
	}
	require.Len(t, r.List(), 3)
	_, there := r.Get(ids[2])
	require.False(t, there)
	_, there = r.Get(ids[3])
	require.True(t, there)

	for i := range 3 {
		_, err := r.Start("b", fmt.Sprint(i), untilStopped)
		require.NoError(t, err)
	}
	_, err := r.Start("b", "one too many", untilStopped)
	require.ErrorIs(t, err, job.ErrFull)
	for _, o := range []job.Options{{}, {Kept: 1, Queue: 0, Now: time.Now}, {Kept: 1, Queue: 1}} {
		_, err := job.New(o)
		require.Error(t, err)
	}
}

func TestCloseCancelsAndWaits(t *testing.T) {
	r, err := job.New(job.DefaultOptions())
	require.NoError(t, err)
	hold := make(chan struct{})
	a, err := r.Start("a", "report", func(ctx context.Context, _ func(job.Progress)) error {
		<-ctx.Done()
		<-hold
		return ctx.Err()
	})
	require.NoError(t, err)
	b, err := r.Start("b", "report", nothing)
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(bg, 20*time.Millisecond)
	defer cancel()
	require.ErrorIs(t, r.Close(ctx), context.DeadlineExceeded)
	got, _ := r.Get(a.ID)
	require.True(t, got.Stopping)
	close(hold)
	require.NoError(t, r.Close(bg))
	for _, id := range []job.ID{a.ID, b.ID} {
		j, _ := r.Get(id)
		require.Equal(t, job.Cancelled, j.State)
	}
	_, err = r.Start("c", "report", nothing)
	require.ErrorIs(t, err, job.ErrClosed)
	_, seen, err := r.Changes(bg, 0)
	require.NoError(t, err)
	_, _, err = r.Changes(bg, seen)
	require.ErrorIs(t, err, job.ErrClosed)
}

// Many start, cancel, follow and ask at once; every job ends, and no goroutine
// is left.
func TestManyAtOnce(t *testing.T) {
	before := runtime.NumGoroutine()
	opt := job.DefaultOptions()
	opt.Queue, opt.Kept = 1000, 1000
	r, err := job.New(opt)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(bg)
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			seen := uint64(0)
			for {
				jobs, rev, err := r.Changes(ctx, seen)
				if err != nil {
					return
				}
				for _, j := range jobs {
					if j.Changed <= seen || j.Changed > rev {
						t.Error("a change out of its place")
					}
				}
				seen = rev
			}
		})
	}
	var starters sync.WaitGroup
	for i := range 8 {
		starters.Go(func() {
			rng := rand.New(rand.NewPCG(1, uint64(i)))
			for k := range 25 {
				j, err := r.Start(fmt.Sprint(i), fmt.Sprint(k), func(ctx context.Context, report func(job.Progress)) error {
					for n := range 20 {
						report(job.Progress{Stage: work.StageRead, Done: n, Total: 20})
						if err := ctx.Err(); err != nil {
							return err
						}
					}
					return nil
				})
				if err != nil {
					t.Error(err)
					return
				}
				if rng.IntN(2) == 0 {
					_ = r.Cancel(j.ID)
				}
				if j, err = r.Wait(ctx, j.ID); err != nil || j.State != job.Done && j.State != job.Cancelled {
					t.Error(j.State, err)
				}
			}
		})
	}
	starters.Wait()
	require.Len(t, r.List(), 200)
	cancel()
	all.Wait()
	require.NoError(t, r.Close(bg))
	for end := time.Now().Add(time.Second); runtime.NumGoroutine() > before && time.Now().Before(end); {
		time.Sleep(time.Millisecond)
	}
	require.LessOrEqual(t, runtime.NumGoroutine(), before)
}
