package ingest

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The second of two tables side by side is read with its own stamps and cells,
// whole or as a stream.
func TestTheSecondOfAPair(t *testing.T) {
	var b strings.Builder
	b.WriteString("Out,,Back,\nTime,°C,Time,°C\n")
	at := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	for i := range 400 {
		a, c := at.Add(time.Duration(i)*10*time.Minute), at.Add(time.Duration(i)*10*time.Minute+3*time.Minute)
		fmt.Fprintf(&b, "%s,4%d.5,%s,3%d.5\n", a.Format("2006-01-02 15:04"), i%5, c.Format("2006-01-02 15:04"), i%7)
	}
	for _, size := range []int64{-1, 1} {
		opt := options()
		opt.StreamBytes = size
		rec, err := Load(write(t, files{"a.csv": b.String(), "farm.toml": toml("a.csv", "table = 2\n", `"Back" = "loop_in_temp"`)}), opt)
		require.NoError(t, err)
		require.Len(t, rec.Series, 1)
		s := rec.Series[0]
		require.Len(t, s.V, 400)
		require.Equal(t, at.Add(3*time.Minute-time.Hour).UnixMilli(), s.T[0], "Rome")
		require.InDelta(t, 31.5, s.V[1], 1e-9)
	}
}
