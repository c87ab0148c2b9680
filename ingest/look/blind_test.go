package look

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// A difference in K is no absolute temperature: 6 K is in range, and it is no
// probe of the loop.
func TestDifferencesInKelvin(t *testing.T) {
	for _, name := range []string{"dT [K]", "Loop out - Loop in [K]"} { // the second says it by its readings alone
		got := one(t, "heat.csv", lines("Time,Loop out [°C],"+name, 60, func(i int) string { return fmt.Sprintf("%s,%d.5,%d.25", quarter(i), 30+i%7, 4+i%7) }))
		c := got.Columns[1]
		require.Equal(t, "K", c.Unit, name)
		require.Equal(t, [2]float64{4.25, 10.25}, [2]float64{*c.Min, *c.Max}, name)
		require.Zero(t, c.Implausible, name)
		require.Empty(t, c.Quantity, name)
		require.Contains(t, c.Because, "difference", name)
		require.NotEmpty(t, got.Columns[0].Quantity, name)
	}
	absolute := one(t, "heat.csv", lines("Time,Loop out [K]", 60, func(i int) string { return fmt.Sprintf("%s,%d.5", quarter(i), 300+i%7) }))
	require.NotEmpty(t, absolute.Columns[0].Quantity)
	require.NotContains(t, absolute.Columns[0].Because, "difference")
}

// The end of a probe's range, repeated far from all readings, is named; a cold
// night and a weekly boost are not.
func TestRangeEndsAreNamed(t *testing.T) {
	for _, c := range []struct {
		bad   string
		named bool
	}{{"-50.0", true}, {"150", true}, {"-47.3", false}, {"40", false}} {
		got := one(t, "probe.csv", lines("Time,Tank [°C]", 200, func(i int) string {
			if i%40 == 7 {
				return quarter(i) + "," + c.bad
			}
			return fmt.Sprintf("%s,%d.%d", quarter(i), 31+i%9, i%10)
		}))
		if c.named {
			require.Contains(t, said(got), "5 readings are exactly "+c.bad[:3], c.bad)
		} else {
			require.NotContains(t, said(got), "broken probe", c.bad)
		}
	}
}

// A row's number in the order of the file is no second column of values beside
// blocks of sensors.
func TestRowNumberBesideBlocksOfTags(t *testing.T) {
	got := one(t, "rows.csv", lines("id,date,time,sensor,value", 80, func(i int) string {
		q := quarter(i % 40)
		return fmt.Sprintf("%d,%s,%s,%s,%d.5", i+1, q[:10], q[11:], []string{"supply", "flow"}[i/40], 20+i%7+10*(i/40))
	}))
	require.NotNil(t, got.Tags)
	var names []string
	for _, c := range got.Columns {
		names = append(names, c.Name)
	}
	require.Subset(t, names, []string{"supply", "flow"})
}
