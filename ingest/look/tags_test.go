package look

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// longLog writes rows of so many times and devices, each with two tags.
func longLog(header string, times, devices int, row func(at time.Time, device, tag string, v float64) string) string {
	var b strings.Builder
	b.WriteString(header + "\n")
	at := time.Date(2026, 1, 5, 10, 0, 0, 0, time.UTC)
	for i := range times {
		for d := range devices {
			for k, tag := range []string{"in", "flow"} {
				b.WriteString(row(at.Add(time.Duration(i)*10*time.Minute), fmt.Sprintf("D%d", d+1), tag, float64(20*(k+1)+100*d+i%5)) + "\n")
			}
		}
	}
	return b.String()
}

func TestTagsOfSeveralDevicesStayApart(t *testing.T) {
	const stamp = "2006-01-02 15:04"
	got := one(t, "long.csv", longLog("time,device,tag,value", 20, 2, func(at time.Time, device, tag string, v float64) string {
		return fmt.Sprintf("%s,%s,%s,%.1f", at.Format(stamp), device, tag, v)
	}))
	require.Equal(t, &Tags{Tag: "device/tag", Value: "value"}, got.Tags)
	require.Equal(t, 120.0, *got.column("D2/in").Min)
	require.Equal(t, 124.0, *got.column("D2/in").Max)
	require.Equal(t, 20, got.column("D1/flow").Readings)

	// The devices read at times of their own, so that no row shares a stamp.
	n := 0
	got = one(t, "staggered.csv", longLog("time;Tag;Sensor;Wert", 20, 2, func(at time.Time, device, tag string, v float64) string {
		n++
		return fmt.Sprintf("%s:%02d;%s;%s;%.1f", at.Format(stamp), n%60, tag, device, v)
	}))
	require.Equal(t, "Tag/Sensor", got.Tags.Tag)
	require.Equal(t, 124.0, *got.column("in/D2").Max)

	// One device: its name says nothing.
	got = one(t, "single.csv", longLog("time,device,tag,value", 20, 1, func(at time.Time, device, tag string, v float64) string {
		return fmt.Sprintf("%s,%s,%s,%.1f", at.Format(stamp), device, tag, v)
	}))
	require.Equal(t, "tag", got.Tags.Tag)
	require.Equal(t, 20, got.column("in").Readings)

	got = one(t, "numbered.csv", longLog("time,device id,tag,value", 20, 2, func(at time.Time, device, tag string, v float64) string {
		return fmt.Sprintf("%s,%s,%s,%.1f", at.Format(stamp), device[1:], tag, v)
	}))
	require.Equal(t, "device id/tag", got.Tags.Tag)
	require.Equal(t, 124.0, *got.column("2/in").Max)
}

func TestRowsOfDevicesWithSeveralValues(t *testing.T) {
	got := one(t, "mixed.csv", longLog("time,device,temp,hum", 20, 2, func(at time.Time, device, _ string, v float64) string {
		return fmt.Sprintf("%s,%s,%.1f,%.1f", at.Format(iso), device, v, v/2)
	}))
	require.NotNil(t, got.unsureOf("tags"))
	require.Equal(t, []string{"temp", "hum"}, got.unsureOf("tags").Columns)
}

func TestProbesInWholeDegreesAreNoTags(t *testing.T) {
	got := one(t, "probes.csv", table10("time,Probe 1,Probe 2,Probe 3", iso, ",", 40, func(i int) string { return fmt.Sprintf("2%d,3%d,4%d", i%3, i%4, i%5) }))
	require.Nil(t, got.Tags)
	require.Nil(t, got.unsureOf("tags"))
	require.Equal(t, 40, got.column("Probe 3").Readings)
}

func TestTagsBesideAQuality(t *testing.T) {
	for _, quality := range []string{"192", "0", "1"} {
		n := 0
		got := one(t, "quality.csv", longLog("time,tag,value,quality", 20, 1, func(at time.Time, _, tag string, v float64) string {
			if n++; n%7 == 0 {
				return fmt.Sprintf("%s,%s,%.1f,4", at.Format(iso), tag, v)
			}
			return fmt.Sprintf("%s,%s,%.1f,%s", at.Format(iso), tag, v, quality)
		}))
		require.Equal(t, &Tags{Tag: "tag", Value: "value"}, got.Tags)
		require.Equal(t, 20, got.column("in").Readings)
		require.Zero(t, got.Duplicates)
	}
}

func TestTagsTakeTheirUnitsFromAColumn(t *testing.T) {
	units := map[string]string{"in": "°C", "flow": "L/min"}
	for _, header := range []string{"time,tag,value,unit", "time,tag,unit,value", "time,unit,tag,value"} {
		got := one(t, "units.csv", longLog(header, 20, 1, func(at time.Time, _, tag string, v float64) string {
			cells := map[string]string{"time": at.Format(iso), "tag": tag, "value": fmt.Sprintf("%.1f", v), "unit": units[tag]}
			var out []string
			for _, h := range strings.Split(header, ",") {
				out = append(out, cells[h])
			}
			return strings.Join(out, ",")
		}))
		require.Equal(t, "°C", got.column("in").Unit, header)
		require.Equal(t, "L/min", got.column("flow").Unit, header)
	}
	n := 0
	got := one(t, "units.csv", longLog("time,tag,value,unit", 20, 1, func(at time.Time, _, tag string, v float64) string {
		n++
		return fmt.Sprintf("%s,%s,%.1f,%s", at.Format(iso), tag, v, []string{"°C", "°F"}[n/21])
	}))
	require.Empty(t, got.column("in").Unit)
	require.Contains(t, got.unsureOf("log.columns").Text, "several units")
}

func TestUnitsOfHeaders(t *testing.T) {
	got := one(t, "units.csv", table10("time,wind_m/s,temp c,Inlet C,Outlet F,Tank a,Tank C,flow,unit,power,Unit", iso, ",", 20, func(i int) string {
		return fmt.Sprintf("%d.5,2%d.5,31.%d,88.%d,1,2,3.%d,L/min,4.%d,kW", i%5, i%5, i%5, i%7, i%3, i%3)
	}))
	for name, unit := range map[string]string{"wind_m/s": "m/s", "temp c": "c", "Inlet C": "", "Tank C": "", "flow": "L/min", "power": "kW"} {
		require.Equal(t, unit, got.column(name).Unit, name)
	}
	d := got.unsureOf("log.columns")
	require.Contains(t, d.Assumed, "Inlet C in C, Outlet F in F")
	require.Contains(t, d.Text, `unless the last letter of "Inlet C", "Outlet F" is one`)
	got = one(t, "letters.csv", table10("time,temp a,temp b,temp c", iso, ",", 20, func(i int) string { return fmt.Sprintf("%d.5,2%d.5,31.%d", i%5, i%5, i%5) }))
	require.Empty(t, got.column("temp c").Unit)
}
