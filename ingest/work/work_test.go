package work_test

import (
	"context"
	"errors"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/work"
)

func stoppedBy(f func()) (err error) {
	defer work.Catch(&err)
	f()
	return nil
}

func TestCheckIsCaught(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	var none context.Context // never ends
	require.NoError(t, stoppedBy(func() { work.Check(ctx); work.Check(none) }))
	cancel()
	require.ErrorIs(t, stoppedBy(func() { work.Check(ctx) }), context.Canceled)
	require.ErrorIs(t, stoppedBy(func() { work.CheckEvery(ctx, 4096, 4096) }), context.Canceled)
	require.NoError(t, stoppedBy(func() { work.CheckEvery(ctx, 4095, 4096) }))
	require.PanicsWithValue(t, "mine", func() { _ = stoppedBy(func() { panic("mine") }) })
}

func TestGoroutinesHandTheirPanicOn(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	require.ErrorIs(t, stoppedBy(func() { work.Each(3, 100, func(int) { work.Check(ctx) }) }), context.Canceled)
	require.ErrorIs(t, stoppedBy(func() {
		var g work.Group
		wait := work.Later(&g, func() int { work.Check(ctx); return 1 })
		g.Settle()
		wait()
	}), context.Canceled)
	// A fault goes before a leave, and says where it was.
	defer func() {
		var p *work.Panic
		err, ok := recover().(error)
		require.True(t, ok && errors.As(err, &p))
		require.Equal(t, "fault", p.Value)
		require.Contains(t, p.Stack, "TestGoroutinesHandTheirPanicOn")
	}()
	var both sync.WaitGroup
	both.Add(2)
	work.Each(2, 2, func(i int) {
		both.Done()
		both.Wait()
		if i == 1 {
			panic("fault")
		}
		work.Check(ctx)
	})
}

func TestEachAndLaterGiveTheirValues(t *testing.T) {
	got := make([]int, 1000)
	work.Each(4, len(got), func(i int) { got[i] = i + 1 })
	for i, v := range got {
		require.Equal(t, i+1, v)
	}
	var g work.Group
	wait := work.Later(&g, func() string { return "x" })
	require.Equal(t, "x", wait())
	require.Equal(t, "x", wait())
	g.Wait()
}

func TestProgressNeverGoesBack(t *testing.T) {
	var told []work.Progress
	teller := work.NewTeller(func(p work.Progress) { told = append(told, p) }) // races without the teller's lock
	var wg sync.WaitGroup
	for i := range 50 {
		wg.Go(func() {
			teller.Tell(work.Progress{Stage: work.StageRead, Done: i, Total: 50, File: "a.csv", FileDone: int64(i), FileTotal: 50})
		})
	}
	wg.Wait()
	teller.Tell(work.Progress{Stage: work.StageGrid})
	teller.Tell(work.Progress{Stage: work.StageRead, Done: 50, Total: 50})
	require.Equal(t, work.StageGrid, told[len(told)-1].Stage)
	for i := 1; i < len(told)-1; i++ {
		require.GreaterOrEqual(t, told[i].Done, told[i-1].Done)
		require.GreaterOrEqual(t, told[i].FileDone, told[i-1].FileDone)
	}
	work.NewTeller(nil).Tell(work.Progress{})
}
