package clock

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// quarters writes rows a quarter of an hour apart from 2026-01-31 00:00.
func quarters(layout func(date string, h, m, h2, m2 int) string) []string {
	var out []string
	for i := range 100 {
		next := i + 1
		out = append(out, layout(fmt.Sprintf("2026-%02d-%02d", 1+(30+i/96)/31, 1+(30+i/96)%31), i/4%24, i%4*15, next/4%24, next%4*15))
	}
	return out
}

// TestFromAndToInOneCell: whatever stands between them, the stamp is where the
// interval begins, and no offset is read.
func TestFromAndToInOneCell(t *testing.T) {
	for name, layout := range map[string]func(date string, h, m, h2, m2 int) string{
		"dash": func(d string, h, m, h2, m2 int) string { return fmt.Sprintf("%s %02d:%02d-%02d:%02d", d, h, m, h2, m2) },
		"blanks": func(d string, h, m, h2, m2 int) string {
			return fmt.Sprintf("%s %02d:%02d – %02d:%02d", d, h, m, h2, m2)
		},
		"to": func(d string, h, m, h2, m2 int) string {
			return fmt.Sprintf("%s %02d:%02d to %02d:%02d", d, h, m, h2, m2)
		},
		"whole": func(d string, h, m, h2, m2 int) string {
			return fmt.Sprintf("%s %02d:%02d - %s %02d:%02d", d, h, m, d, h2, m2)
		},
		"iso": func(d string, h, m, h2, m2 int) string {
			return fmt.Sprintf("%sT%02d:%02d:00/%sT%02d:%02d:00", d, h, m, d, h2, m2)
		},
	} {
		texts := quarters(layout)
		col, err := Read(texts, Options{})
		require.NoError(t, err, name)
		require.True(t, col.Ranged, name)
		require.Zero(t, col.Bad, name)
		require.Nil(t, col.OffsetMS, name)
		for i, w := range col.Wall {
			require.Equal(t, wall(t, "2026-01-31T00:00:00")+int64(i)*15*minuteMS, w, "%s: %q", name, texts[i])
		}
		requireSameByRuns(t, texts, col)
	}
}

// requireSameByRuns: a long file's runs give the same as all texts.
func requireSameByRuns(t *testing.T, texts []string, want *Column) {
	t.Helper()
	var s Stamper
	ms := make([]int64, len(texts))
	for i, text := range texts {
		var ok bool
		ms[i], ok = s.Add(i, text)
		require.True(t, ok, text)
	}
	s.Flush()
	few, _ := Texts(s.Runs)
	col, err := Read(few, Options{})
	require.NoError(t, err)
	all, ok := Spread(col, s.Runs, ms)
	require.True(t, ok)
	require.Equal(t, want.Wall, all.Wall)
	require.Equal(t, want.Ranged, all.Ranged)
}

func TestHourToHour(t *testing.T) {
	texts := []string{"31.01.2026 22-23", "31.01.2026 23-24", "01.02.2026 00-01", "01.02.2026 01-02"}
	col, err := Read(texts, Options{})
	require.NoError(t, err)
	require.True(t, col.Ranged)
	require.Equal(t, []int64{wall(t, "2026-01-31T22:00:00"), wall(t, "2026-01-31T23:00:00"), wall(t, "2026-02-01T00:00:00"), wall(t, "2026-02-01T01:00:00")}, col.Wall)
	requireSameByRuns(t, texts, col)
	minutes := []string{"31.01.2026 22-23", "31.01.2026 22-38", "31.01.2026 22-53"}
	col, err = Read(minutes, Options{})
	require.NoError(t, err)
	require.False(t, col.Ranged)
	require.Equal(t, wall(t, "2026-01-31T22:38:00"), col.Wall[1])
	requireSameByRuns(t, minutes, col)
}

// TestOffsetsStayOffsets: one that hardly ever changes is none of an interval's
// ends, and no zone is -00:15.
func TestOffsetsStayOffsets(t *testing.T) {
	var texts []string
	for i := range 48 {
		texts = append(texts, fmt.Sprintf("2026-03-%02d %02d:00:00-0%d:00", 7+i/24, i%24, 7-i/24))
	}
	col, err := Read(texts, Options{})
	require.NoError(t, err)
	require.False(t, col.Ranged)
	require.Zero(t, col.Bad)
	assert.Equal(t, int64(-7*hourMS), col.OffsetMS[0])
	assert.Equal(t, int64(-6*hourMS), col.OffsetMS[47])
	texts[3] = "2026-03-07 03:00:00-00:15"
	col, err = Read(texts, Options{})
	require.NoError(t, err)
	require.Equal(t, 1, col.Bad)
}
