package simfarm

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Farms of the study come by turns sharp, poor and flat, and the same every time.
func TestStudyByTurns(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated farms")
	}
	for n := uint64(1); n <= 3; n++ {
		f, b, err := RunStudy(n)
		require.NoError(t, err)
		require.Equal(t, Sharpness(n%3), b.Sharpness(), "farm %d: %.3f", n, b.Draws)
		require.Less(t, b.Logged, b.Draws, "readings that scatter by themselves tell more")
		again, b2, err := RunStudy(n)
		require.NoError(t, err)
		require.Equal(t, b, b2)
		require.Equal(t, f.Truth().Headline(), again.Truth().Headline())
	}
}

// Another logger leaves the farm and its probes' errors what they were.
func TestRelogKeepsTheFarm(t *testing.T) {
	s := Short(3)
	base, err := Run(s)
	require.NoError(t, err)
	for _, form := range []Form{FormInstant, FormMeanStart, FormMeanEnd} {
		f, err := Run(Relog(s, 300, form))
		require.NoError(t, err)
		require.Equal(t, base.Truth().Headline(), f.Truth().Headline(), form)
		require.Equal(t, base.errs, f.errs, form)
		file := string(f.farmFile())
		require.Equal(t, form == FormMeanStart, strings.Contains(file, `stamp = "start"`))
		require.Equal(t, form == FormMeanEnd, strings.Contains(file, `stamp = "end"`))
	}
}

// A mean over an interval lies between what the signal did in it.
func TestMeanOver(t *testing.T) {
	f, err := Run(Short(4))
	require.NoError(t, err)
	for s := 90000.0; s < 200000; s += 7777 {
		low, high := f.at(LoopOut, s), f.at(LoopOut, s)
		for at := s - 600; at <= s; at += stepS {
			v := f.at(LoopOut, at)
			low, high = min(low, v), max(high, v)
		}
		m := f.meanOver(LoopOut, s, 600)
		require.GreaterOrEqual(t, m, low-1e-9)
		require.LessOrEqual(t, m, high+1e-9)
	}
}
