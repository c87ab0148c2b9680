package doubt

import (
	"bufio"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// values is where the published check values stand.
const values = "../../testdata/check-values"

// near tells whether got is within tol of want; NaN is near NaN only, an
// infinity near itself only.
func near(got, want, tol float64) bool {
	if math.IsNaN(want) || math.IsInf(want, 0) {
		return got == want || math.IsNaN(got) && math.IsNaN(want)
	}
	return math.Abs(got-want) <= tol
}

func requireNear(t *testing.T, want, got, tol float64, what string) {
	t.Helper()
	require.Truef(t, near(got, want, tol), "%s: got %.17g, want %.17g ± %g", what, got, want, tol)
}

func TestNear(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	require.True(t, near(nan, nan, 0))
	require.False(t, near(nan, 1, 10))
	require.False(t, near(1, nan, 10))
	require.True(t, near(inf, inf, 0))
	require.False(t, near(-inf, inf, 1))
	require.False(t, near(inf, 1, 1))
	require.True(t, near(0, 0, 0))
	require.False(t, near(1e-9, 0, 0))
}

func readJSON(t *testing.T, name string, into any) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(values, name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, into))
}

// readColumn reads the one column of a check-value CSV: comments, a header,
// numbers.
func readColumn(t *testing.T, name string) []float64 {
	t.Helper()
	f, err := os.Open(filepath.Join(values, name))
	require.NoError(t, err)
	defer f.Close()
	var x []float64
	header := true
	for s := bufio.NewScanner(f); s.Scan(); {
		line := strings.TrimSpace(s.Text())
		if line == "" || line[0] == '#' {
			continue
		}
		if header {
			header = false
			continue
		}
		x = append(x, number(t, line))
	}
	require.NotEmpty(t, x)
	return x
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}
