package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Two halves of a simulated farm, and two farms, as somebody types it.
func TestCompare(t *testing.T) {
	if testing.Short() {
		t.Skip("computes whole seasons")
	}
	dir, other := simulated(t, 9), simulated(t, 11)
	const first, second = "2025-02-04..2025-02-16", "2025-02-17..2025-02-28"
	code, out, errs := try(t, "compare", dir, "--first", first, "--second", second)
	require.Zero(t, code, errs)
	assert.Contains(t, out, "2025-02-04 to 2025-02-16, and 2025-02-17 to 2025-02-28")
	assert.Contains(t, out, "Heat from the yard, a day")
	assert.Contains(t, out, "told apart")
	assert.Contains(t, out, "Cold feed")
	assert.NotContains(t, out, "NaN")
	code, out, errs = try(t, "compare", dir, other, "--json")
	require.Zero(t, code, errs)
	var j struct {
		SameFarm bool `json:"same_farm"`
		Figures  []struct {
			Key, Verdict              string
			First, Second, Difference struct{ Value, Low, High *float64 }
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out), &j))
	assert.False(t, j.SameFarm)
	require.NotEmpty(t, j.Figures)
	for _, f := range j.Figures {
		if f.Verdict == "not known" {
			assert.Nil(t, f.Difference.Low, f.Key)
			continue
		}
		assert.InDelta(t, *f.Second.Value-*f.First.Value, *f.Difference.Value, 1e-9, f.Key)
		assert.Equal(t, f.Verdict == "told apart", *f.Difference.Low > 0 || *f.Difference.High < 0, f.Key)
	}
}

func TestCompareRefuses(t *testing.T) {
	dir := simulated(t, 9)
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{dir}, "want two periods of the one farm"},
		{[]string{dir, dir}, "want two periods of the one farm"},
		{[]string{dir, "--first", "2025-02-04..2025-02-14"}, "want two periods"},
		{[]string{dir, "--first", "2025-02-04", "--second", "2025-02-15..2025-02-20"}, "FROM..TO"},
		{[]string{dir, "--first", "2025-02-30..2025-03-01", "--second", "2025-02-15..2025-02-20"}, "want a day as YYYY-MM-DD"},
		{[]string{dir, "--first", "2025-02-14..2025-02-04", "--second", "2025-02-15..2025-02-20"}, "its end lies before its start"},
		{[]string{dir, "--first", "2031-02-04..2031-02-14", "--second", "2025-02-15..2025-02-20"}, "--first 2031"},
		{[]string{dir, "--drift", "120"}, "0 to 100"},
		{[]string{}, "one or two farm folders"},
	} {
		code, out, errs := try(t, append([]string{"compare"}, c.args...)...)
		require.Equal(t, exitUsage, code, "%v: %s", c.args, errs)
		require.Empty(t, out)
		require.Contains(t, errs, c.want)
	}
	code, _, errs := try(t, "compare", dir, dir+"-gone")
	require.Equal(t, 3, code)
	require.Contains(t, errs, "a farm folder")
	if testing.Short() {
		t.Skip("computes whole seasons")
	}
	code, _, errs = try(t, "compare", dir, "--first", "2025-02-04..2025-02-16", "--second", "2025-02-16..2025-02-27")
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "overlap")
	copied := simulated(t, 9)
	code, _, errs = try(t, "compare", dir, copied)
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "the same bytes")
}
