package table

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Decimal commas without quotes between commas: no reader can tell which cells
// belong together.
func TestUnquotedDecimalCommas(t *testing.T) {
	write := func(header string, row func(i int) string) string {
		var b strings.Builder
		b.WriteString(header)
		for i := range 30 {
			fmt.Fprintf(&b, "2026-01-05 10:%02d,%s\n", i, row(i))
		}
		return b.String()
	}
	tenths := func(i int) string { return fmt.Sprintf("%d,%d,%d,%d", 20+i%3, i%10, 30+i%4, (i+5)%10) }
	halves := func(i int) string { return fmt.Sprintf("%d,%d,%d,%d", 20+i%3, i%2*5, 30+i%4, (i+1)%2*5) }
	for name, text := range map[string]string{
		"tenths":           write("time,a,b\n", tenths),
		"headerless":       write("", tenths),
		"halves":           write("time,a,b\n", halves),
		"halves, no names": write("", halves),
		"a state beside":   write("time,a,b,on\n", func(i int) string { return tenths(i) + fmt.Sprintf(",%d", i%2) }),
		"whole ones bare": write("time,a,b\n", func(i int) string {
			return strings.ReplaceAll(fmt.Sprintf("%d,%d,3%d,%d", 20+i%3, i%2*5, i%4, i%3%2*5), ",0", "")
		}),
	} {
		_, err := ReadBytes("t.csv", []byte(text), Options{})
		require.ErrorContains(t, err, "both separator and decimal mark", name)
	}
	for name, text := range map[string]string{
		"whole numbers": write("time,a,b,c,d\n", tenths),
		"no names":      write("", func(i int) string { return fmt.Sprintf("%d,%d,%d,%d", 20+i%3, i%3, 30+i%4, 2+i%2) }),
	} {
		_, err := ReadBytes("t.csv", []byte(text), Options{})
		require.NoError(t, err, name)
	}
}
