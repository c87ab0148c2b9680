package clockfind

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/ingest/align"
)

func utc(t *testing.T, text string) int64 {
	t.Helper()
	at, err := time.Parse("2006-01-02 15:04", text)
	require.NoError(t, err)
	return at.UnixMilli()
}

// TestClockChangesByZone: a jump near a clock change is laid on it where its size
// is the change's, and names the time that the logger kept: zones of both
// hemispheres, of half hours, and one that moves its clocks by half an hour.
// Changes of 2026 by the IANA database.
func TestClockChangesByZone(t *testing.T) {
	f := &finder{}
	for _, c := range []struct {
		zone, near string
		byS        float64
		atUTC      string // by the stamp
		kept       string
	}{
		{"Europe/Rome", "2026-03-28 09:00", -3590, "2026-03-29 02:00", "+01:00"},
		{"Europe/Rome", "2026-10-25 11:00", 3605, "2026-10-25 01:00", "+01:00"},
		{"Australia/Adelaide", "2026-04-05 02:00", 3610, "2026-04-04 16:30", "+09:30"},
		{"Australia/Adelaide", "2026-10-03 02:00", -3600, "2026-10-03 17:30", "+09:30"},
		{"Australia/Lord_Howe", "2026-10-03 20:00", -1795, "2026-10-03 16:00", "+10:30"},
		{"America/St_Johns", "2026-03-08 12:00", -3600, "2026-03-08 06:30", "-03:30"},
		{"Europe/London", "2026-03-29 12:00", -3600, "2026-03-29 02:00", "UTC"},
		{"Europe/Rome", "2026-03-28 09:00", -1800, "", ""},
		{"Asia/Kolkata", "2026-03-28 09:00", -3600, "", ""},
		{"Asia/Kathmandu", "2026-10-25 09:00", 3600, "", ""},
	} {
		zone, err := time.LoadLocation(c.zone)
		require.NoError(t, err)
		near := utc(t, c.near)
		r := align.Result{Found: true, MidMS: near - 20*dayMS, Jumps: []align.Jump{{AtMS: near, ByS: c.byS}}}
		if c.byS > 0 {
			r.AheadS = -c.byS // summer time's half of the year, kept in winter time
		}
		f.snap(&r, zone)
		if c.kept == "" {
			assert.Equal(t, near, r.Jumps[0].AtMS, "%s %s", c.zone, c.near)
			assert.Empty(t, f.zoneHint(&r, zone), "%s %s", c.zone, c.near)
			continue
		}
		assert.Equal(t, utc(t, c.atUTC), r.Jumps[0].AtMS, "%s %s", c.zone, c.near)
		assert.Contains(t, f.zoneHint(&r, zone), fmt.Sprintf("zone = %q", c.kept), "%s %s", c.zone, c.near)
	}
}
