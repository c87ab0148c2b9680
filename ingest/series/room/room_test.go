package room

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Arrays of any length are zeros, of the length asked for, and hold what is
// written to them; also where they are shorter than a large page, or begin
// inside one.
func TestMake(t *testing.T) {
	for _, n := range []int{0, 1, 1000, page/8 - 1, page / 8, page/8 + 1, 1<<20 + 3} {
		v := Make[float64](n)
		require.Len(t, v, n)
		Large(v[min(n, 7):])
		for i := range v {
			require.Zero(t, v[i])
			v[i] = float64(i)
		}
		for i := range v {
			if v[i] != float64(i) {
				t.Fatalf("%d of %d: %g", i, n, v[i])
			}
		}
		c := Cap[int64](n)
		require.Empty(t, c)
		require.GreaterOrEqual(t, cap(c), n)
	}
}
