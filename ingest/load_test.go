package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

// A small log by hand: every number of the record can be read off the text.
func TestLoadSmallLog(t *testing.T) {
	rec := load(t, files{
		"farm.toml": toml("yard.csv", "", "\"Loop out (°C)\" = \"loop_out_temp\"\n\"Flow (L/min)\" = \"loop_flow\"\n\"Pump\" = \"loop_pump\""),
		"yard.csv": "Time,Loop out (°C),Flow (L/min),Pump,Note\n" +
			"2026-01-15 10:00:00,21.5,0,off,\n" +
			"2026-01-15 10:01:00,21.4,12.5,on,x\n" +
			"2026-01-15 10:02:00,,12.0,on,\n" +
			"2026-01-15 10:03:00,22.1,11.5,off,\n",
	})
	out := get(t, rec, "loop_out_temp")
	// 10:00 in Rome in January is 09:00 UTC.
	require.Equal(t, []int64{utc(t, "2026-01-15 09:00"), utc(t, "2026-01-15 09:01"), utc(t, "2026-01-15 09:03")}, out.T)
	require.Equal(t, []float64{21.5, 21.4, 22.1}, out.V)
	require.Equal(t, series.Instant, out.Kind)
	require.Equal(t, 1, out.Missing)
	require.Equal(t, "yard: Loop out (°C)", out.Probe)
	require.Equal(t, "°C", out.Unit)
	require.Equal(t, []series.Origin{{File: 0, Line: 2}, {File: 0, Line: 3}, {File: 0, Line: 5}}, []series.Origin{out.Origins.At(0), out.Origins.At(1), out.Origins.At(2)})

	flow := get(t, rec, "loop_flow")
	require.Equal(t, series.Mean, flow.Kind)
	require.Equal(t, int64(60000), flow.IntervalMS)
	require.Equal(t, utc(t, "2026-01-15 09:00"), flow.From[1])
	require.Equal(t, utc(t, "2026-01-15 09:01"), flow.T[1])

	pump := get(t, rec, "loop_pump")
	require.Equal(t, []float64{0, 1, 1, 0}, pump.V)
	require.Equal(t, int64(120000), pump.HoldMS)

	require.Len(t, rec.Files, 1)
	f := rec.Files[0]
	require.Equal(t, "yard.csv", f.Name)
	require.Equal(t, []string{"Note"}, f.Ignored)
	require.Equal(t, 4, f.Rows)
	require.Equal(t, 4, f.Kept)
	require.Equal(t, "Europe/Rome", f.Zone)
	require.Equal(t, "keep", f.Clock.From)
	require.Len(t, f.SHA256, 64)
	require.Equal(t, utc(t, "2026-01-15 09:00"), rec.First)
	require.Equal(t, utc(t, "2026-01-15 09:03"), rec.Last)
	require.Equal(t, map[string]int{series.CodeStampAssumed: 1}, codes(rec))
}

func TestLoadOptionsValidate(t *testing.T) {
	require.NoError(t, DefaultLoadOptions().Validate())
	opt := DefaultLoadOptions()
	opt.Workers = 0
	_, err := Load(t.TempDir(), opt)
	require.ErrorContains(t, err, "Workers")
	opt = DefaultLoadOptions()
	opt.Flags.SpikeBedK = -1
	require.ErrorContains(t, opt.Validate(), "spike_bed_k")
}

func TestProgressCountsFiles(t *testing.T) {
	opt := options()
	var told []int
	ended := map[string]bool{}
	opt.Progress = func(p work.Progress) {
		if p.Stage != work.StageRead {
			return
		}
		require.Equal(t, 3, p.Total)
		if p.FileDone == p.FileTotal {
			ended[p.File] = true
			told = append(told, p.Done)
		}
	}
	text := func(day string) string {
		return rows("Time,Bed (°C)", "2026-01-"+day+" 00:00:00", "2006-01-02 15:04", 10*time.Minute, 20, func(int) string { return "40.0" })
	}
	_, err := Load(write(t, files{"farm.toml": toml("b*.csv", "", "\"Bed (°C)\" = \"bed_temp\""), "b1.csv": text("01"), "b2.csv": text("02"), "b3.csv": text("03")}), opt)
	require.NoError(t, err)
	require.Equal(t, []int{1, 2, 3}, told)
	require.Len(t, ended, 3)
}
