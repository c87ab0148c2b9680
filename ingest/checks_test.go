package ingest

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/reading"
	"yardheat/ingest/series"
)

// draws is an invented day of one-minute rows: every hour the water runs for
// 20 minutes at 15 L/min and warms from 10 to 30 °C.
func draws(header string, cells func(running bool, i int) string) string {
	return rows(header, "2026-01-15 00:00:00", "2006-01-02 15:04:05", time.Minute, 1440, func(i int) string { return cells(i%60 >= 20 && i%60 < 40, i) })
}

func pick[T any](yes bool, a, b T) T {
	if yes {
		return a
	}
	return b
}

func TestProbesSwapped(t *testing.T) {
	text := draws("Time,In (°C),Out (°C),Flow (L/min)", func(on bool, _ int) string {
		return fmt.Sprintf("%g,%g,%g", pick(on, 10., 18), pick(on, 30., 20), pick(on, 15., 0))
	})
	cols := "\"In (°C)\" = \"%s\"\n\"Out (°C)\" = \"%s\"\n\"Flow (L/min)\" = \"loop_flow\""
	rec := load(t, files{"farm.toml": toml("a.csv", "", fmt.Sprintf(cols, "loop_in_temp", "loop_out_temp")), "a.csv": text})
	require.Zero(t, codes(rec)[series.CodeProbesSwapped])
	rec = load(t, files{"farm.toml": toml("a.csv", "", fmt.Sprintf(cols, "loop_out_temp", "loop_in_temp")), "a.csv": text})
	require.Equal(t, series.Doubt, problemOf(t, rec, series.CodeProbesSwapped).Severity)
}

func TestProbesDisagree(t *testing.T) {
	for offset, want := range map[float64]int{0.5: 0, 1.6: 1} {
		text := draws("Time,A (°C),B (°C)", func(_ bool, i int) string {
			return fmt.Sprintf("%.2f,%.2f", 50+0.01*float64(i%50), 50+0.01*float64(i%50)+offset)
		})
		two := "\"A (°C)\" = \"slab_temp\"\n\"B (°C)\" = \"slab_temp\""
		rec := load(t, files{"farm.toml": toml("a.csv", "", two), "a.csv": text})
		require.Equal(t, want, codes(rec)[series.CodeProbesDisagree], offset)
		// Different places are expected to differ.
		rec = load(t, files{"farm.toml": toml("a.csv", "", strings.ReplaceAll(two, "slab", "bed")), "a.csv": text})
		require.Zero(t, codes(rec)[series.CodeProbesDisagree])
	}
}

func TestLooksFahrenheit(t *testing.T) {
	for _, c := range []struct {
		q     string
		value float64
		want  int
	}{
		{"mains_temp", 50, 1}, {"mains_temp", 10, 0}, {"bed_temp", 104, 1}, {"bed_temp", 40, 0}, {"milk_out_temp", 39, 1}, {"milk_out_temp", 4, 0},
		{"tank_temp", 140, 1}, {"tank_temp", 60, 0}, {"gas_in_temp", 90, 0}, {"wash_temp", 80, 0},
	} {
		rec, err := Load(write(t, files{"farm.toml": toml("a.csv", "", "T = \""+c.q+"\"\nB = \"air_temp\""),
			"a.csv": draws("Time,T,B", func(bool, int) string { return fmt.Sprintf("%g,5", c.value) })}), options())
		require.NoError(t, err)
		require.Equal(t, c.want, codes(rec)[series.CodeLooksFahrenheit], "%s at %g", c.q, c.value)
	}
}

func TestNegativeAndFlowUnits(t *testing.T) {
	rec := load(t, files{"farm.toml": toml("a.csv", "", "\"Flow (L/min)\" = \"loop_flow\"\n\"Grid (kW)\" = \"grid_import_power\""),
		"a.csv": draws("Time,Flow (L/min),Grid (kW)", func(on bool, i int) string { return fmt.Sprintf("%g,%g", pick(on, 15., -0.1), pick(on, 3., -2)) })})
	require.Equal(t, 1, codes(rec)[series.CodeZeroNoise])
	p := problemOf(t, rec, series.CodeNegative)
	require.Contains(t, p.Text, "export")
	require.Equal(t, "line 2", p.Where)

	// 0.9 m³/h read as L/min: against a counter, and by itself.
	meter := 0.0
	text := draws("Time,Flow,Meter (L)", func(on bool, _ int) string {
		meter += pick(on, 15., 0)
		return fmt.Sprintf("%g,%g", pick(on, 0.9, 0), 1000+meter)
	})
	rec = load(t, files{"farm.toml": toml("a.csv", "", "Flow = \"loop_flow\"\n\"Meter (L)\" = \"loop_volume\""), "a.csv": text})
	require.Equal(t, 1, codes(rec)[series.CodeFlowUnit])
	rec = load(t, files{"farm.toml": toml("a.csv", "", "Flow = \"loop_flow\""), "a.csv": text})
	require.Equal(t, 1, codes(rec)[series.CodeFlowUnit])
	rec = load(t, files{"farm.toml": toml("a.csv", "", "Flow = { quantity = \"loop_flow\", unit = \"m3/h\" }\n\"Meter (L)\" = \"loop_volume\""), "a.csv": text})
	require.Zero(t, codes(rec)[series.CodeFlowUnit])
}

func TestColumnFlaggedThroughout(t *testing.T) {
	rec := load(t, files{"farm.toml": toml("a.csv", "", bedColumn+"\n\"Air (°C)\" = \"air_temp\""),
		"a.csv": "Time,Bed (°C),Air (°C)\n2026-01-15 10:00,40,-127\n2026-01-15 10:10,41,-127\n"})
	p := problemOf(t, rec, series.CodeAllFlagged)
	require.Equal(t, series.LeftOut, p.Severity)
	require.Contains(t, p.Text, "2 sentinel")
}

func TestColumnWithoutReadings(t *testing.T) {
	rec := load(t, files{"farm.toml": toml("a.csv", "", bedColumn+"\n\"Air (°C)\" = \"air_temp\""),
		"a.csv": "Time,Bed (°C),Air (°C)\n2026-01-15 10:00,40,\n2026-01-15 10:10,41,n/a\n"})
	require.Equal(t, 1, codes(rec)[series.CodeColumnEmpty])
	require.Len(t, rec.Series, 1)
}

// A flow written with the stamp of the interval's start agrees with the
// counter beside it only there; written at its end, nothing is in doubt.
func TestStampPlaceIsToldByTheCounter(t *testing.T) {
	at := time.Date(2026, 1, 15, 6, 0, 0, 0, time.UTC)
	for _, written := range []string{"start", "end"} {
		for _, stated := range []string{"", "start", "end"} {
			var b strings.Builder
			b.WriteString("Time,Flow (L/min),Meter (L)\n")
			total := 1000.0
			flow := func(i int) float64 { return []float64{0, 0, 12, 15, 9, 0, 4, 0}[i%8] }
			for i := range 60 {
				if i > 0 {
					total += 5 * flow(i-1) // what passed from row i−1 to row i
				}
				f := flow(i)
				if written == "end" {
					f = flow(i + 7) // that of the interval before
				}
				fmt.Fprintf(&b, "%s,%.1f,%.1f\n", at.Add(time.Duration(i)*5*time.Minute).Format("2006-01-02 15:04"), f, total)
			}
			extra := ""
			if stated != "" {
				extra = "stamp = \"" + stated + "\""
			}
			rec := load(t, files{"a.csv": b.String(), "farm.toml": toml("a.csv", extra, "\"Flow (L/min)\" = \"loop_flow\"\n\"Meter (L)\" = { quantity = \"loop_volume\", counter = true }")})
			doubted := written == "start" // whatever is stated of the log: it moves the counter with the rate
			require.Equal(t, doubted, codes(rec)[series.CodeStampPlace] == 1, "%s written, %q stated: %v", written, stated, rec.Problems)
		}
	}
}

// Of two probes of one place one hardly moves. The same at two places is no
// matter.
func TestWeakSignal(t *testing.T) {
	at := time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC)
	var b strings.Builder
	b.WriteString("Time,A (°C),B (°C)\n")
	for i := range 144 * 5 {
		swing := 5 * math.Sin(float64(i)/72*2*math.Pi)
		fmt.Fprintf(&b, "%s,%.2f,%.2f\n", at.Add(time.Duration(i)*10*time.Minute).Format("2006-01-02 15:04"), 30+swing, 30+0.02*swing)
	}
	rec := load(t, files{"a.csv": b.String(), "farm.toml": toml("a.csv", "", "\"A (°C)\" = \"air_temp@x\"\n\"B (°C)\" = \"air_temp@x\"")})
	require.Equal(t, 1, codes(rec)[series.CodeSignalWeak])
	require.Contains(t, problemOf(t, rec, series.CodeSignalWeak).Text, `"B (°C)" moves by less`)
	rec = load(t, files{"a.csv": b.String(), "farm.toml": toml("a.csv", "", "\"A (°C)\" = \"air_temp@x\"\n\"B (°C)\" = \"air_temp@y\"")})
	require.Equal(t, 0, codes(rec)[series.CodeSignalWeak])
}

// Every threshold of the settings can be stated in farm.toml, within its
// bounds, and is then in force.
func TestEveryThresholdIsSettable(t *testing.T) {
	opt := reading.DefaultFlagOptions()
	for _, th := range opt.Thresholds() {
		v := th.Low + (th.High-th.Low)/3
		text := fmt.Sprintf("[flags]\n%s = %v\n", th.Key, v)
		fs := files{"a.csv": "Time,Bed (°C)\n2026-01-15 10:00,40\n2026-01-15 10:10,41\n2026-01-15 10:20,42\n", "farm.toml": toml("a.csv", "", bedColumn) + text}
		got := load(t, fs).Options.Flags
		for _, g := range got.Thresholds() {
			if g.Key == th.Key {
				require.InDelta(t, v, *g.Value, 1e-9*max(1, v), th.Key)
			}
		}
		fs["farm.toml"] = toml("a.csv", "", bedColumn) + fmt.Sprintf("[flags]\n%s = %v\n", th.Key, th.High*1.01)
		require.Contains(t, refuse(t, fs)[0].Where, th.Key)
	}
}
