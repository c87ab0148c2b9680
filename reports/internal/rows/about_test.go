package rows

import (
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

func keysOf[T any](columns []Column[T]) []string {
	var out []string
	for _, c := range columns {
		out = append(out, c.Key)
	}
	slices.Sort(out)
	return out
}

// A column without a meaning would leave a hole in the data dictionary, a
// meaning without a column a lie.
func TestEveryColumnIsDescribed(t *testing.T) {
	const hint = "describe the column in reports/internal/rows/about.go"
	require.Equal(t, keysOf(Cycles()), slices.Sorted(maps.Keys(AboutCycles())), hint)
	require.Equal(t, keysOf(Draws()), slices.Sorted(maps.Keys(AboutDraws())), hint)
	require.Equal(t, keysOf(Washes()), slices.Sorted(maps.Keys(AboutWashes())), hint)
	for _, list := range []map[string]About{AboutCycles(), AboutDraws(), AboutWashes()} {
		for key, a := range list {
			require.NotEmpty(t, a.Meaning, key)
		}
	}
}
