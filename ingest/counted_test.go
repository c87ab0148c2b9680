package ingest

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/exports"
	"yardheat/ingest/table"
)

// A meter's readings may look like a spreadsheet's day numbers: 46036.9375 is
// 14 January 2026, 22:30 (day 25569 is 1970-01-01).
func TestMetersAreNoStamps(t *testing.T) {
	text := func(head string, cells func(i int) string) string {
		var b strings.Builder
		b.WriteString(head + "\n")
		for i := range 60 {
			b.WriteString(cells(i) + "\n")
		}
		return b.String()
	}
	meter := func(i int) float64 { return 34567.5 + float64(i*i%7)/10 + float64(i) }
	day := func(i int) float64 { return 46036.9375 + float64(i)/144 }
	for name, c := range map[string]struct {
		text string
		want []int
	}{
		"the meter first":            {text("Energy (kWh);When;T (°C)", func(i int) string { return fmt.Sprintf("%.1f;%.8f;20.5", meter(i), day(i)) }), []int{1}},
		"the meter first, no unit":   {text("Energy;When;T (°C)", func(i int) string { return fmt.Sprintf("%.1f;%.8f;20.5", meter(i), day(i)) }), []int{1}},
		"no names":                   {text("", func(i int) string { return fmt.Sprintf("%.1f;%.8f;20.5", meter(i), day(i)) }), []int{1}},
		"a meter and no stamp":       {text("Energy;T (°C)", func(i int) string { return fmt.Sprintf("%.1f;20.5", meter(i)) }), nil},
		"a meter of even steps, kWh": {text("Energy (kWh);T (°C)", func(i int) string { return fmt.Sprintf("%.1f;20.5", 34567.5+float64(i)/10) }), nil},
	} {
		t.Run(name, func(t *testing.T) {
			tables, err := table.ReadBytes("log.csv", []byte(c.text), table.Options{})
			require.NoError(t, err)
			all, _ := stampsOf(t, exports.Layout{}, tables)
			require.Equal(t, c.want, all[0].Columns)
		})
	}
}
