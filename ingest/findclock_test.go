package ingest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/ingest/clockfind"
	"yardheat/ingest/series"
	"yardheat/ingest/simfarm"
)

// clockFarm is the invented sample farm over some weeks, its meters' clock as
// set; edit changes farm.toml before it is read.
func clockFarm(t testing.TB, start string, days int, seed uint64, set func(s *simfarm.Scenario, meters *simfarm.Logger), edit func(toml string) string) *Record {
	t.Helper()
	s := simfarm.Sample()
	s.Start, s.Days, s.Seed = start, days, seed
	for i := range s.Loggers {
		s.Loggers[i].Gaps = nil
	}
	m := &s.Loggers[3]
	m.Columns[0].ResetDay = 0
	m.AheadS, m.DriftSPerDay, m.ClockText = 0, 0, ""
	set(&s, m)
	f, err := simfarm.Run(s)
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, f.Write(dir))
	path := filepath.Join(dir, "farm.toml")
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, []byte(edit(string(b))), 0o600))
	rec, err := Load(dir, options())
	require.NoError(t, err)
	return rec
}

const metersFiles = `files = ["meters.csv"]`

func findMeters(text string) string {
	return strings.Replace(text, metersFiles, metersFiles+"\nclock = \"find\"", 1)
}

func metersFile(t testing.TB, r *Record) File {
	for _, f := range r.Files {
		if f.Name == "meters.csv" {
			return f
		}
	}
	require.Fail(t, "no meters.csv")
	return File{}
}

// TestClockFoundOnFarms: drawn offsets, drifts and jumps of one logger of the
// sample farm, whose washes and tank another logger sees too.
func TestClockFoundOnFarms(t *testing.T) {
	if testing.Short() {
		t.Skip("many farms; not in the short run")
	}
	const cases = 12
	held, near := 0, 0
	for seed := range uint64(cases) {
		r := rand.New(rand.NewPCG(seed, 9))
		ahead, drift, jump := math.Round((2*r.Float64()-1)*10*3600), math.Round(40*(2*r.Float64()-1))/10, 0.0
		if seed%3 == 2 {
			jump = 3600
		}
		rec := clockFarm(t, "2026-01-05", 45, 100+seed, func(_ *simfarm.Scenario, m *simfarm.Logger) {
			m.AheadS, m.DriftSPerDay, m.JumpDay, m.JumpS = ahead, drift, 31.4, jump
		}, findMeters)
		c := metersFile(t, rec).Clock
		if !assert.Equal(t, "found", c.From, "seed %d: %v", seed, rec.Problems) {
			continue
		}
		t.Logf("seed %d: true %.0f s %.1f s/d jump %.0f: %.0f [%.0f, %.0f], %.1f s/d, jumps %v", seed, ahead, drift, jump, c.AheadS, c.Low, c.High, c.DriftSPerDay, c.Jumps)
		if ahead >= c.Low && ahead <= c.High {
			held++
		}
		if math.Abs(c.AheadS-ahead) < 3600 {
			near++
		}
		assert.InDelta(t, drift, c.DriftSPerDay, 4, "seed %d", seed)
		if jump != 0 && assert.Len(t, c.Jumps, 1, "seed %d", seed) {
			assert.InDelta(t, jump, c.Jumps[0].ByS, 240, "seed %d", seed)
		}
	}
	assert.GreaterOrEqual(t, held, cases-2)
	assert.Equal(t, cases, near)
}

// TestSameEventInTwoLogs: the plate's water by one logger, its pump by another:
// exact to a sample.
func TestSameEventInTwoLogs(t *testing.T) {
	rec := clockFarm(t, "2026-01-05", 40, 7, func(s *simfarm.Scenario, m *simfarm.Logger) {
		m.AheadS = -5*3600 - 17
		m.Columns = append(m.Columns, simfarm.Column{Header: "Pump", Quantity: "loop_volume", Unit: "L", Signal: simfarm.LoopL, Mode: simfarm.Counter, Step: 1})
	}, findMeters)
	c := metersFile(t, rec).Clock
	require.Equal(t, "found", c.From)
	assert.InDelta(t, -5*3600-17, c.AheadS, 120)
	assert.LessOrEqual(t, c.Low, -5*3600-17.0)
	assert.GreaterOrEqual(t, c.High, -5*3600-17.0)
	assert.Less(t, c.High-c.Low, 120.0)
	assert.Contains(t, problemOf(t, rec, series.CodeClockFound).Text, "lie within")
	assert.Contains(t, strings.Join(metersFile(t, rec).Corrections, "; "), "clock found")
}

// TestLoggerOnWinterTime: the zone changes its clocks on 29 March 2026 at 01:00
// UTC, the logger does not: a jump of an hour on the change, and the zone that
// says so. Left to itself the clock is listed as off.
func TestLoggerOnWinterTime(t *testing.T) {
	set := func(_ *simfarm.Scenario, m *simfarm.Logger) { m.Stamp, m.Zone = "iso", "+02:00" }
	noZone := func(text string) string {
		i := strings.Index(text, metersFiles)
		return text[:i] + strings.Replace(text[i:], "zone = \"+02:00\"", "", 1)
	}
	rec := clockFarm(t, "2026-03-01", 50, 3, set, func(text string) string { return findMeters(noZone(text)) })
	c := metersFile(t, rec).Clock
	require.Equal(t, "found", c.From, "%v", rec.Problems)
	require.Len(t, c.Jumps, 1)
	assert.Equal(t, -3600.0, c.Jumps[0].ByS)
	assert.Equal(t, utc(t, "2026-03-29 02:00"), c.Jumps[0].At, "the old clock showed 02:00 UTC by the zone: the skipped hour's end")
	assert.Contains(t, problemOf(t, rec, series.CodeClockFound).Text, `zone = "+02:00"`)
	wash := get(t, rec, "wash_temp")
	for i := 1; i < len(wash.T); i++ {
		require.Equal(t, int64(240_000), wash.T[i]-wash.T[i-1], "no stamp twice, none missing, at %s", time.UnixMilli(wash.T[i]).UTC())
	}
	rec = clockFarm(t, "2026-03-01", 50, 3, set, noZone)
	assert.Contains(t, problemOf(t, rec, series.CodeClockOff).Text, `zone = "+02:00"`)
	assert.Equal(t, "keep", metersFile(t, rec).Clock.From)
}

// TestKeptClocksThatAgree: nothing is listed where all clocks are right, with
// several seeds; and a clock 3 h off is.
func TestKeptClocksThatAgree(t *testing.T) {
	keep := func(text string) string { return text }
	for seed := range uint64(6) {
		rec := clockFarm(t, "2026-01-05", 40, 50+seed, func(*simfarm.Scenario, *simfarm.Logger) {}, keep)
		assert.Zero(t, codes(rec)[series.CodeClockOff], "seed %d: %v", seed, rec.Problems)
		rec = clockFarm(t, "2026-01-05", 40, 50+seed, func(_ *simfarm.Scenario, m *simfarm.Logger) { m.AheadS = 3 * 3600 }, keep)
		assert.Equal(t, "meters.csv", problemOf(t, rec, series.CodeClockOff).File, "seed %d", seed)
	}
}

// TestStatedTimesTellTwoFromFourteen: nothing but stated times beside one log of
// washes whose clock is 9 h behind, on a farm whose day is not symmetric; on one
// whose day is, where nothing can tell; and 12 h behind, where times that are the
// same every day cannot tell it from 12 h ahead.
func TestStatedTimesTellTwoFromFourteen(t *testing.T) {
	for _, c := range []struct {
		times  [2]string
		aheadH int
		want   string
	}{
		{[2]string{"04:30-06:00", "15:10-16:40"}, -9, "found"},
		{[2]string{"04:30-06:00", "16:30-18:00"}, -9, "not found"},
		{[2]string{"04:30-06:00", "15:10-16:40"}, -12, "not found"},
	} {
		times := c.times
		r := rand.New(rand.NewPCG(1, 1))
		var b strings.Builder
		b.WriteString("Time,Wash [L]\n")
		for at := utc(t, "2026-01-05 00:00"); at < utc(t, "2026-02-24 00:00"); at += 10 * minuteMS {
			wall := time.UnixMilli(at).UTC()
			litres := 0
			for _, m := range times {
				end, err := time.Parse("15:04", m[6:])
				require.NoError(t, err)
				if d := (wall.Hour()-end.Hour())*60 + wall.Minute() - end.Minute(); d >= 30 && d < 50 && r.IntN(12) > 0 {
					litres = 150
				}
			}
			fmt.Fprintf(&b, "%s,%d\n", wall.Add(time.Duration(c.aheadH)*time.Hour).Format("2006-01-02 15:04"), litres)
		}
		rec := load(t, files{"farm.toml": fmt.Sprintf("[milkings]\ntimes = [%q, %q]\n", times[0], times[1]) + toml("a.csv", "clock = \"find\"", "\"Wash [L]\" = \"wash_volume\""), "a.csv": b.String()})
		got := rec.Files[0].Clock
		require.Equal(t, c.want, got.From, "%v: %v", c, rec.Problems)
		if c.want == "found" {
			truthS := 3600 * float64(c.aheadH)
			assert.LessOrEqual(t, got.Low, truthS)
			assert.GreaterOrEqual(t, got.High, truthS)
			assert.InDelta(t, truthS, got.AheadS, 5400)
			assert.Contains(t, problemOf(t, rec, series.CodeClockFound).Text, "stated milking")
		} else {
			assert.Contains(t, problemOf(t, rec, series.CodeClockNotFound).Text, "two offsets fit nearly as well")
		}
	}
}

func BenchmarkFindClock(b *testing.B) {
	rec := clockFarm(b, "2025-12-01", 121, 5, func(_ *simfarm.Scenario, m *simfarm.Logger) { m.AheadS = 37 * 60 }, findMeters)
	require.Equal(b, "found", metersFile(b, rec).Clock.From)
	l := &loader{opt: options(), rec: &Record{Dir: rec.Dir, Options: options()}}
	require.True(b, l.open(rec.Dir))
	l.readLogs()
	l.makeSeries()
	l.listedMilkings()
	in := l.clockInput()
	for b.Loop() {
		require.Len(b, clockfind.Find(in).Clocks, 1)
	}
}
