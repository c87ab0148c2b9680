package look

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A long log in pieces, of which one lacks a tag and another has a new one: each
// tag keeps its own readings, and rows of one stamp that were parted are no
// duplicates.
func TestPiecesJoinTagsByName(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,tag,value\n")
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range 3000 {
		for k, tag := range []string{"bed_1", "loop_out", "tank_top", "wash_temp"} {
			if tag == "bed_1" && i >= 1000 && i < 2000 || tag == "loop_out" && i < 1500 {
				continue
			}
			fmt.Fprintf(&b, "%s,%s,%d.%d\n", at.Add(time.Duration(i)*time.Minute).Format(time.DateTime), tag, 20+10*k, i%10)
		}
	}
	whole, err := Bytes("long.csv", []byte(b.String()), Options{})
	require.NoError(t, err)
	for _, piece := range []int64{20_000, 31_111, 70_000} {
		got, err := inPieces(bytes.NewReader([]byte(b.String())), "long.csv", Options{}, piece)
		require.NoError(t, err)
		require.Len(t, got, 1)
		require.Equal(t, whole[0].Duplicates, got[0].Duplicates, piece)
		require.InDelta(t, whole[0].IntervalS, got[0].IntervalS, 1e-9)
		want := map[string]Column{}
		for _, c := range whole[0].Columns {
			want[c.Name] = c
		}
		require.Len(t, got[0].Columns, len(want))
		for _, c := range got[0].Columns {
			w, ok := want[c.Name]
			require.True(t, ok, c.Name)
			require.Equal(t, w.Readings, c.Readings, c.Name)
			if w.Min != nil {
				require.InDelta(t, *w.Min, *c.Min, 1e-9, c.Name)
				require.InDelta(t, *w.Max, *c.Max, 1e-9, c.Name)
			}
			if c.Tag {
				for k, p := range c.Points {
					if p == nil {
						continue
					}
					require.NotNil(t, w.Min)
					require.True(t, *p >= *w.Min-1e-9 && *p <= *w.Max+1e-9, "%s, point %d", c.Name, k)
				}
			}
		}
	}
}

// A long log's interval is that between its stamps, however many rows share each.
func TestLongLogInterval(t *testing.T) {
	for _, rows := range []int{1000, 45_000, 90_000} { // of which samples of the steps once held zeros alone
		var b strings.Builder
		b.WriteString("time,tag,value\n")
		at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
		for i := range rows / 2 {
			for k, tag := range []string{"tank_a", "tank_b"} {
				fmt.Fprintf(&b, "%s,%s,%d\n", at.Add(time.Duration(i)*30*time.Second).Format(time.DateTime), tag, 20+k+i%7)
			}
		}
		got, err := Bytes("long.csv", []byte(b.String()), Options{})
		require.NoError(t, err)
		require.InDelta(t, 30, got[0].IntervalS, 0, rows)
		require.True(t, got[0].Regular)
	}
}
