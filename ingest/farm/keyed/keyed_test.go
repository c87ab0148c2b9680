package keyed

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestDistance: by hand; "kitten" to "sitting" is the textbook's 3
// (Levenshtein distance), a swap of neighbours counts once (optimal string
// alignment).
func TestDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"", "abc", 3}, {"abc", "", 3}, {"ab", "ba", 1}, {"ca", "abc", 3}, {"bore", "bore", 0}, {"grün", "grun", 1}} {
		assert.Equal(t, c.want, distance(c.a, c.b), c.a)
	}
}

func TestNearest(t *testing.T) {
	of := []string{"length_m", "bore_mm", "wall_mm", "wall_mj_per_m3_k"}
	for word, want := range map[string]string{"lenght_m": "length_m", "Bore_mm": "bore_mm", "bore": "bore_mm", "zzzz": "", "": "", "wal_mm": "wall_mm"} {
		assert.Equal(t, want, Nearest(word, of), word)
	}
}

// TestLinesAndOrder: every way TOML has of writing a key (TOML 1.0.0, Keys,
// Inline Table, Array of Tables) leaves it with its line, in the order of the
// file.
func TestLinesAndOrder(t *testing.T) {
	r, root := Open("x.toml", []byte("z = 1\na.b = 2 # c\n[t.\"u v\"]\nx = {\"q r\" = 3, y.w = 4}\n[[l]]\n[[l]]\nk = [\n 5,\n 6]\n[l.m]\nn = 0x10\n"))
	require.Empty(t, r.sorted())
	var got []string
	var lines []int
	var walk func(n *Node, path string)
	walk = func(n *Node, path string) {
		for _, e := range n.Keys {
			got, lines = append(got, Join(path, e.Key)), append(lines, e.Line)
			walk(e.Val, Join(path, e.Key))
		}
		for _, it := range n.Items {
			walk(it, path)
		}
	}
	walk(root.Node, "")
	assert.Equal(t, []string{"z", "a", "a.b", "t", "t.u v", "t.u v.x", "t.u v.x.q r", "t.u v.x.y", "t.u v.x.y.w", "l", "l.k", "l.m", "l.m.n"}, got)
	assert.Equal(t, []int{1, 2, 2, 3, 3, 4, 4, 4, 4, 5, 7, 10, 11}, lines)
	l := root.Node.Find("l").Val
	assert.Equal(t, 9, l.Items[1].Find("k").Val.Items[1].Line)
	assert.Equal(t, 16.0, l.Items[1].Find("m").Val.Find("n").Val.num)
}

func TestTimes(t *testing.T) {
	for text, want := range map[string]int{"05:20": 320, "5:20": 320, "24:00": 1440, "17:35:00": 1055} {
		got, ok := Minutes(text)
		assert.True(t, ok, text)
		assert.Equal(t, want, got, text)
	}
	for _, bad := range []string{"", "24:01", "5", "05:60", "05:2", "-1:00", "05:20:30", "noon"} {
		_, ok := Minutes(bad)
		assert.False(t, ok, bad)
	}
	for text, want := range map[string]float64{"37m": 2220, "-4m": -240, "1h30m": 5400, "90s": 90, "1 h": 3600, "+0.5h": 1800} {
		got, ok := DurationS(text)
		assert.True(t, ok, text)
		assert.Equal(t, want, got, text)
	}
	for _, bad := range []string{"", "37", "5ms", "3us", "2d", "m", "keep"} {
		_, ok := DurationS(bad)
		assert.False(t, ok, bad)
	}
}
