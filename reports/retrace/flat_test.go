package retrace

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAlikeText(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{
		{"", "", true}, {"a 1.23 b", "a 1.24 b", true}, {"a 1.23 b", "a 1.25 b", false}, {"1959.22089026239", "1959.22089026238", true},
		{"3 530 ± 110 kWh", "3 530 ± 110 kWh", true}, {"3 530 ± 110 kWh", "3 531 ± 110 kWh", false}, {"1.5", "1.50000000001", true},
		{"12", "13", false}, {"1.5 kWh", "1.5 MWh", false}, {"x1", "x", false}, {"1e-12", "2e-12", true}, {"1.0.3", "1.0.3", true}, {"1.2e5", "1.2e6", false},
		{"0.10", "0.12", false}, {"100000000000", "100000000001", true}, {"a1b", "a1c", false},
	} {
		require.Equal(t, c.want, alikeText(c.a, c.b), "%q %q", c.a, c.b)
		require.Equal(t, c.want, alikeText(c.b, c.a), "%q %q", c.b, c.a)
	}
}

func TestSameByMode(t *testing.T) {
	for _, c := range []struct {
		at, x, y string
		m        mode
		want     bool
	}{
		{"a.value", "1.000000001", "1.000000002", exact, false},
		{"a.value", "1000.00001", "1000.00002", rounding, false}, {"a.value", "1000.0000001", "1000.0000002", rounding, true},
		{"a.low", "1000.0001", "1000.0002", rounding, true}, {"a.low", "1000.1", "1000.2", rounding, false},
		{"a.value", "null", "1", rounding, false}, {"a.value", "null", "null", exact, true},
		{"a.text", `"one 1.25"`, `"one 1.26"`, rounding, true}, {"a.text", `"one"`, `"two"`, rounding, false}, {"a.text", `"one"`, `"two"`, otherVersion, true},
		{"a.value", "1", `"1"`, otherVersion, false},
	} {
		require.Equal(t, c.want, same(c.at, c.x, c.y, c.m), "%+v", c)
	}
}

func TestFlatten(t *testing.T) {
	f, err := flatten([]byte(`{"a": {"b": [1, {"c": "x.y"}], "b": null}, "d": [], "e": true}`))
	require.NoError(t, err)
	require.Equal(t, []string{"a.b[0]", "a.b[1].c", "a.b#2", "e"}, f.paths)
	require.Equal(t, map[string]string{"a.b[0]": "1", "a.b[1].c": `"x.y"`, "a.b#2": "null", "e": "true"}, f.at)
	for _, bad := range []string{"", "{", `{"a": 1} x`, `{"a" 1}`, strings.Repeat("[", 10000)} {
		_, err := flatten([]byte(bad))
		require.Error(t, err, "%.20q", bad)
	}
}

// Whatever stands in a results.json or sources.json, reading it ends.
func FuzzFlatten(f *testing.F) {
	f.Add([]byte(`{"a": [1, 2.5e3, "x", null, {"b": false}]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		x, err := flatten(b)
		if err == nil {
			require.Empty(t, differing(x, x, exact))
			require.LessOrEqual(t, len(x.at), len(x.paths))
		}
	})
}

// Whatever a bundle holds, opening it ends, and nothing is written beside its
// own folder.
func FuzzOpenArchive(f *testing.F) {
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	f.Fuzz(func(t *testing.T, b []byte) {
		dir := t.TempDir()
		t.Setenv("TMPDIR", dir)
		at := filepath.Join(dir, "in.zip")
		require.NoError(t, os.WriteFile(at, b, 0o600))
		g, err := Open(at)
		if err == nil {
			require.NoError(t, g.Close())
		}
		left, err := os.ReadDir(dir)
		require.NoError(t, err)
		require.Len(t, left, 1)
	})
}
