package today

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/account"
	"yardheat/analysis/cycle"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// Quantiles of 1 to 4 by hand: positions 0.15, 1.5, 2.85 of 0 to 3.
func TestUsualRangeIsAQuantileRange(t *testing.T) {
	m := &maker{opt: DefaultOptions()}
	u := m.usual([]float64{4, math.NaN(), 2, 1, 3}, 4, "draws")
	require.InDelta(t, 1.15, u.Low, 1e-12)
	require.InDelta(t, 2.5, u.Mid, 1e-12)
	require.InDelta(t, 3.85, u.High, 1e-12)
	require.Equal(t, 4, u.N)
	require.Nil(t, m.usual([]float64{4, math.NaN(), 2, 1}, 4, "draws"), "three known are too few")
	for _, c := range []struct {
		v, least float64
		want     int
	}{{1, 0, -1}, {1.15, 0, 0}, {1, 1.6, 0}, {0.5, 1.6, -1}, {3.9, 0, 1}, {3.9, 2, 0}, {2.5, 0, 0}} {
		require.Equal(t, c.want, u.off(c.v, c.least, 0), "%g least %g", c.v, c.least)
	}
	require.Equal(t, []int{0, -1}, []int{u.off(0.5, 0, 0.25), u.off(0.4, 0, 0.25)}, "a quarter of 2.7 beyond 1.15")
	require.True(t, math.IsNaN(median(nil)))
	base, slope := line([]float64{1, 2, 4}, []float64{5, 3, -1})
	require.InDelta(t, 7, base, 1e-12)
	require.InDelta(t, -2, slope, 1e-12)
	base, slope = line([]float64{2, 2}, []float64{3, 5})
	require.Equal(t, []float64{4, 0}, []float64{base, slope})
}

func TestSides(t *testing.T) {
	u := &Usual{Low: 1, Mid: 2, High: 3}
	for v, want := range map[float64]string{0.9: "below", 1: "within", 3: "within", 3.1: "above"} {
		require.Equal(t, want, Number{Value: v, Usual: u}.Side())
	}
	require.Empty(t, Number{Value: 1}.Side())
}

func TestNumbersAsShown(t *testing.T) {
	for _, c := range []struct {
		n    Number
		want string
	}{
		{Number{Key: "last_c", Unit: "degC", Value: 72.14}, "72.1 °C"},
		{Number{Key: "bed_c", Unit: "degC", Value: -0.04}, "0.0 °C"},
		{Number{Key: "effectiveness", Unit: "1", Value: 0.6666}, "66.7 %"},
		{Number{Key: "yard_kwh", Unit: "kWh", Value: 57.3}, "57 kWh"},
		{Number{Key: "yard_kwh", Unit: "kWh", Value: 7.34}, "7.3 kWh"},
		{Number{Key: "washes", Unit: "1", Value: 4}, "4"},
		{Number{Key: "usual_washes", Unit: "1", Value: 3.94}, "3.9"},
		{Number{Key: "x", Unit: "K", Value: math.NaN()}, ""},
	} {
		require.Equal(t, c.want, c.n.Shown())
	}
}

// beat is a series with a reading every step seconds over span hours before end.
func beat(log int, column string, end int64, step, span int) *series.Series {
	s := &series.Series{Quantity: "bed_temp", Probe: "log: " + column, Column: column, Log: log}
	for at := end - int64(span)*3600e3; at <= end; at += int64(step) * 1000 {
		s.T, s.V = append(s.T, at), append(s.V, 40)
	}
	s.Flags = series.NewFlags(len(s.T))
	return s
}

const t0 = int64(1_770_000_000_000)

func logsOf(now int64, list ...*series.Series) *Line {
	rec := &ingest.Record{Farm: &farm.Farm{}, Series: list, Files: []ingest.File{{Name: "a.csv", Log: 0}, {Name: "b.csv", Log: 1}}}
	m := &maker{rec: rec, opt: DefaultOptions(), t: &Today{From: t0 - hours(48), To: t0, UsualFrom: t0 - hours(48+24*35), NowMS: now}}
	return m.logs()
}

func TestSilentAndFaultyProbes(t *testing.T) {
	h := int64(3600e3)
	flagged := func(s *series.Series, f series.Flag, last int) *series.Series {
		for i := len(s.T) - last; i < len(s.T); i++ {
			s.Flags.Or(i, f)
		}
		return s
	}
	for _, c := range []struct {
		what string
		now  int64
		list []*series.Series
		says Finding
		// of the doubtful: "column what", the column of a whole log is its file
		want string
	}{
		{"all read on", t0, []*series.Series{beat(0, "x", t0, 60, 300), beat(1, "y", t0-2*h, 3600, 300)}, LogsRun, ""},
		{"a whole log a day behind", t0, []*series.Series{beat(0, "x", t0, 60, 300), beat(1, "y", t0-24*h, 3600, 300)}, LogsSilent, "b.csv silent"},
		{"a log exported hours before the other", t0, []*series.Series{beat(0, "x", t0, 60, 300), beat(1, "y", t0-11*h, 3600, 300)}, LogsRun, ""},
		{"one that reads every six hours", t0, []*series.Series{beat(0, "x", t0, 60, 300), beat(1, "y", t0-17*h, 6*3600, 600)}, LogsRun, ""},
		{"one probe of a log", t0, []*series.Series{beat(0, "x", t0, 60, 300), beat(0, "y", t0-3*h, 60, 300)}, LogsSilent, "y silent"},
		{"one probe for an hour", t0, []*series.Series{beat(0, "x", t0, 60, 300), beat(0, "y", t0-h, 60, 300)}, LogsRun, ""},
		{"one given up long ago", t0, []*series.Series{beat(0, "x", t0, 60, 300), beat(1, "y", t0-50*24*h, 60, 300)}, LogsRun, ""},
		{"a flat line", t0, []*series.Series{beat(0, "x", t0, 60, 300), flagged(beat(0, "y", t0, 60, 300), series.Stuck, 600)}, LogsSilent, "y stuck"},
		{"no readings of a probe", t0, []*series.Series{beat(0, "x", t0, 60, 300), flagged(beat(0, "y", t0, 60, 300), series.Sentinel, 600)}, LogsSilent, "y fault"},
		{"a few of them", t0, []*series.Series{beat(0, "x", t0, 60, 300), flagged(beat(0, "y", t0, 60, 300), series.Sentinel, 20)}, LogsRun, ""},
		{"logs end 12 days ago", t0 + 12*24*h, []*series.Series{beat(0, "x", t0, 60, 300)}, LogsEnd, ""},
		{"logs end yesterday", t0 + 40*h, []*series.Series{beat(0, "x", t0, 60, 300)}, LogsRun, ""},
		{"nobody says when it is", 0, []*series.Series{beat(0, "x", t0, 60, 300)}, LogsRun, ""},
	} {
		l := logsOf(c.now, c.list...)
		require.Equal(t, c.says, l.Says, c.what)
		var got []string
		for _, p := range l.Probes {
			name := p.Column
			if name == "" {
				name = p.Name
			}
			got = append(got, name+" "+p.What)
			require.Positive(t, p.Last)
			require.Positive(t, p.UsualS)
		}
		require.Equal(t, c.want, strings.Join(got, ", "), c.what)
		require.Equal(t, c.says != LogsRun, l.State == LookAt, c.what)
	}
}

// washOf is a wash some hours before t0.
func washOf(hoursAgo, tempC, litres float64, cool bool) cycle.Wash {
	at := t0 - hours(hoursAgo)
	return cycle.Wash{Start: at, End: at + 600e3, TempC: tempC, Litres: litres, TooCool: cool, Reason: map[bool]string{true: "short heat"}[cool]}
}

func TestSmallWashesAreCountedApart(t *testing.T) {
	line := func(list ...cycle.Wash) *Line {
		rec := &ingest.Record{Farm: &farm.Farm{Wash: &farm.Wash{TargetC: 70, HasTarget: true}}}
		m := &maker{rec: rec, opt: DefaultOptions(), acc: &account.Account{Washes: list}, t: &Today{From: t0 - hours(48), To: t0, UsualFrom: t0 - hours(480)}}
		m.small = m.smallL()
		return m.washes()
	}
	var pairs, plain []cycle.Wash
	for h := 240.0; h > 5; h -= 12 {
		pairs = append(pairs, washOf(h+3, 55, 50, true), washOf(h, 74, 300, false))
		plain = append(plain, washOf(h, 74, 300, false))
	}
	l := line(pairs...)
	require.Equal(t, WashesHot, l.Says)
	n, _ := l.Number("small_too_cool")
	require.Equal(t, 3.0, n.Value)
	require.Equal(t, WashesHot, line(plain...).Says)
	// One small cool wash is no habit, and a cool one of full size is said in either.
	require.Equal(t, WashesCool, line(append(slices.Clone(plain), washOf(4, 55, 50, true))...).Says)
	l = line(append(slices.Clone(pairs), washOf(4, 61, 300, true))...)
	require.Equal(t, WashesCool, l.Says)
	require.Equal(t, "short heat", l.Word("reason"))
	require.Equal(t, "too cool", l.Word("last"))
}

// No finding's name calls anything safe, and all are different.
func TestFindingsHaveTheirOwnNames(t *testing.T) {
	all := []Finding{LogsEnd, LogsSilent, LogsAhead, LogsRun, MilkWarm, MilkCold, MilkNotKnown, WashesCool, WashesHot, WashesNone, WashesNoTarget, WashesNotKnown,
		WashesNotSeen, LoopLow, LoopHigh, LoopUsual, LoopFew, LoopNotKnown, PlateNoWater, PlateLow, PlateHigh, PlateUsual, PlateFew, PlateNotKnown, HeatOff, HeatUsual,
		HeatFew, HeatNotKnown, BedLow, BedHigh, BedUsual, BedFew, BedNotKnown, TankLow, TankUsual, TankFew, TankNotKnown, CautionsRaised, CautionsNone, NextExports,
		NextMilk, NextColdTank, NextShortHeat, NextWash, NextWashNone, NextCautions, NextLogger, NextProbe, NextClock, NextPump, NextPlate, NextLoop, NextTank, NextHeat,
		NextBed, NextTarget, NextGoOn}
	seen := map[Finding]bool{}
	for _, f := range all {
		require.False(t, seen[f], f)
		require.Regexp(t, regexp.MustCompile(`^(logs|milk|washes|loop|plate|heat|bed|tank|cautions|next)-[a-z-]+$`), string(f))
		seen[f] = true
	}
}

func TestOptionsAndInput(t *testing.T) {
	require.NoError(t, DefaultOptions().Validate())
	o := DefaultOptions()
	o.Share = 1.2
	require.ErrorContains(t, o.Validate(), "share")
	for _, s := range DefaultOptions().Settings() {
		require.NotEmpty(t, s.Key)
	}
	_, err := Make(nil, time.Time{}, DefaultOptions())
	require.Error(t, err)
	_, err = Make(&ingest.Record{Farm: &farm.Farm{}}, time.Time{}, DefaultOptions())
	require.ErrorContains(t, err, "no stretch")
}
