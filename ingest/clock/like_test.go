package clock

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// What is read of a stamp at a glance, as it is like the one before, is what is
// read of it by itself.
func TestStampsAtAGlance(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	odd := []string{"", "2026-01-28", "2026-01-28 24:00:00", "2026-01-28 24:00:01", "2026-01-28 9:05:00", "2026-01-28 09:61:00", "2026-01-28 09:05:61",
		"2026-01-28 0a:05:00", "28.01.2026 24:00", "28.01.2026 09:05 PM", "2026-01-28T09:05:00Z", "2026-01-28 09:05:00.5", "2026-01-28 09-05-00", "45321.5", "1770000000"}
	for _, layout := range []string{"2006-01-02 15:04:05", "02.01.2006 15:04", "2006-01-02T15:04:05Z", "2006-01-02T15:04:05+01:00", "01/02/2006 03:04:05 PM",
		"2006-01-02 15:04:05.000", "2-Jan-06 15:04", "Mon 02 Jan 2006 15:04:05", "20060102150405", "2006-01-02 15:04:05 CET"} {
		var quick, slow Stamper
		at := time.Date(2026, 1, 28, 20, 0, 0, 0, time.UTC)
		row := 0
		for range 2000 {
			at = at.Add(time.Duration(1+r.IntN(400)) * time.Second)
			text := at.Format(layout)
			if r.IntN(30) == 0 {
				text = odd[r.IntN(len(odd))]
			}
			if row++; r.IntN(50) == 0 {
				row++ // a hole
			}
			slow.like = likeness{}
			want, wantOK := slow.Add(row, text)
			got, ok := quick.Add(row, text)
			require.Equal(t, fmt.Sprint(wantOK, want), fmt.Sprint(ok, got), text)
		}
		quick.Flush()
		slow.Flush()
		require.Equal(t, slow.Runs, quick.Runs, layout)
	}
}
