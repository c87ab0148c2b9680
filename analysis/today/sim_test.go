package today_test

import (
	"flag"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/analysis/today"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
	"yardheat/ingest/simfarm"
)

// How many farms, and from which seed, the study of false alarms takes; the
// figures in README.md are of -farms 40.
var (
	farms = flag.Int("farms", 2, "simulated farms")
	seeds = flag.Uint64("from", 7001, "first seed")
)

// steady is a study farm on which nothing is wrong: no gaps, no bad readings, no
// day on which the element is kept short. Beds are bedded, drift and cool as ever.
func steady(seed uint64) simfarm.Scenario {
	s := simfarm.Study(seed, []simfarm.Sharpness{simfarm.Sharp, simfarm.Poor, simfarm.Flat}[seed%3])
	s.Tank.ShortHeats = 0
	for i := range s.Loggers {
		l := &s.Loggers[i]
		l.Gaps, l.Columns = nil, slices.Clone(l.Columns)
		for c := range l.Columns {
			l.Columns[c].Sentinels, l.Columns[c].Empty, l.Columns[c].Stuck = 0, 0, [2]float64{}
		}
	}
	return s
}

func written(t testing.TB, s simfarm.Scenario) string {
	t.Helper()
	f, err := simfarm.Run(s)
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, f.Write(dir))
	return dir
}

func loaded(t testing.TB, dir string) *ingest.Record {
	t.Helper()
	rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
	require.NoError(t, err)
	return rec
}

// asOf is a record as it stood at a time.
func asOf(rec *ingest.Record, at time.Time) *ingest.Record {
	out := until(rec, at.UnixMilli(), func(*series.Series) bool { return true })
	out.Last, out.Milkings = 0, nil
	for _, s := range out.Series {
		if n := len(s.T); n > 0 {
			out.Last = max(out.Last, s.T[n-1])
		}
	}
	for _, k := range rec.Milkings {
		if k.End <= out.Last {
			out.Milkings = append(out.Milkings, k)
		}
	}
	return out
}

func made(t testing.TB, rec *ingest.Record, now time.Time) *today.Today {
	t.Helper()
	x, err := today.Make(rec, now, today.DefaultOptions())
	require.NoError(t, err)
	require.LessOrEqual(t, len(x.Lines), 10)
	require.Equal(t, today.CodeNext, x.Lines[len(x.Lines)-1].Code)
	return x
}

// ends are the moments asked at: in the last third of the record, at any hour.
func ends(rec *ingest.Record) []time.Time {
	var out []time.Time
	for i := range 3 {
		back := time.Duration(i*101+7) * time.Hour
		out = append(out, time.UnixMilli(rec.Last).Add(-back))
	}
	return out
}

// On farms where nothing is wrong hardly any line asks for a look.
func TestSteadyFarmsHardlyAskForALook(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates farms")
	}
	count, alarms := map[today.Code]int{}, map[today.Code]int{}
	dark := map[today.Code]int{}
	quiet, all := 0, 0
	for seed := *seeds; seed < *seeds+uint64(*farms); seed++ {
		dir := written(t, steady(seed))
		full := loaded(t, dir)
		for _, at := range ends(full) {
			x := made(t, asOf(full, at), at)
			all++
			none := true
			for _, l := range x.Lines {
				count[l.Code]++
				switch l.State {
				case today.LookAt:
					alarms[l.Code]++
					if l.Code != today.CodeNext {
						t.Logf("seed %d, %s: %s %v %v %v", seed, at.UTC().Format("2006-01-02 15:04"), l.Says, l.Words, numbers(l), raised(l))
						none = false
					}
				case today.NotKnown:
					dark[l.Code]++
				}
			}
			if none {
				quiet++
			}
		}
	}
	lines, looks := 0, 0
	for c, n := range count {
		if c == today.CodeNext {
			continue
		}
		lines += n
		looks += alarms[c]
		t.Logf("%-9s %3d lines, %d look at, %d not known", c, n, alarms[c], dark[c])
	}
	t.Logf("%d of %d lines say look at (%.1f %%); %d of %d moments have none", looks, lines, 100*float64(looks)/float64(lines), quiet, all)
	require.Greater(t, lines, 7*all)
	require.Less(t, float64(looks)/float64(lines), 0.03)
}

func numbers(l today.Line) string {
	var b strings.Builder
	for _, n := range l.Numbers {
		fmt.Fprintf(&b, "%s%s=%.3g", map[bool]string{true: "", false: " "}[b.Len() == 0], n.Key, n.Value)
		if n.Usual != nil {
			fmt.Fprintf(&b, "(%.3g..%.3g, n %d)", n.Usual.Low, n.Usual.High, n.Usual.N)
		}
	}
	for _, p := range l.Probes {
		fmt.Fprintf(&b, " %s %s", p.Name, p.What)
	}
	return b.String()
}

func raised(l today.Line) string {
	var out []string
	for _, c := range l.Cautions {
		out = append(out, c.ID+" "+c.Because)
	}
	return strings.Join(out, "; ")
}

// with gives the record with the values of a quantity changed from a time on.
func with(rec *ingest.Record, q series.Quantity, from int64, f func(v float64) float64) *ingest.Record {
	out := *rec
	out.Series = slices.Clone(rec.Series)
	for i, s := range rec.Series {
		if s.Quantity != q {
			continue
		}
		x := *s
		x.V = slices.Clone(s.V)
		for k := range x.V {
			if x.T[k] >= from && !math.IsNaN(x.V[k]) {
				x.V[k] = f(x.V[k])
			}
		}
		out.Series[i] = &x
	}
	return &out
}

// until gives the record with the series of a quantity ("": of a whole log)
// ending at a time.
func until(rec *ingest.Record, end int64, of func(s *series.Series) bool) *ingest.Record {
	out := *rec
	out.Series = slices.Clone(rec.Series)
	for i, s := range rec.Series {
		if !of(s) {
			continue
		}
		n := sort.Search(len(s.T), func(k int) bool { return s.T[k] > end })
		x := *s
		x.T, x.V, x.Flags, x.Origins = s.T[:n], s.V[:n], series.FlagsOf(s.Flags.List()[:n]...), series.Origins{}
		x.Origins.AppendPart(&s.Origins, 0, n)
		if s.From != nil {
			x.From = s.From[:n]
		}
		out.Series[i] = &x
	}
	return &out
}

func at(rec *ingest.Record) time.Time { return time.UnixMilli(rec.Last) }

// What is wrong is said.
func TestFaultsAreSaid(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates farms")
	}
	said, asked := map[string]int{}, map[string]int{}
	note := func(name string, x *today.Today, says ...today.Finding) {
		asked[name]++
		if slices.ContainsFunc(x.Lines, func(l today.Line) bool { return l.State == today.LookAt && slices.Contains(says, l.Says) }) {
			said[name]++
			return
		}
		code, _, _ := strings.Cut(string(says[0]), "-")
		if l := x.Line(today.Code(code)); l != nil {
			t.Logf("%s: %s %v %v", name, l.Says, numbers(*l), l.Words)
		}
	}
	for seed := *seeds; seed < *seeds+uint64(*farms); seed++ {
		s := steady(seed)
		dir := written(t, s)
		rec := loaded(t, dir)
		back := func(h float64) int64 { return rec.Last - int64(h*3600e3) }
		first := rec.Series[0].Log
		note("silent logger, 24 h", made(t, until(rec, back(24), func(s *series.Series) bool { return s.Log == first }), at(rec)), today.LogsSilent)
		note("silent probe, 12 h", made(t, until(rec, back(12), func(s *series.Series) bool { return s.Quantity == "wash_temp" }), at(rec)), today.LogsSilent)
		note("washes 20 K cooler, 36 h", made(t, with(rec, "wash_temp", back(36), func(v float64) float64 { return v - 20 }), at(rec)), today.WashesCool)
		warm := *rec
		warm.Milkings = slices.Clone(rec.Milkings)
		for i := range warm.Milkings {
			if warm.Milkings[i].Start > back(30) {
				warm.Milkings[i].OutC += 5
			}
		}
		note("milk 5 K warmer, 30 h", made(t, &warm, at(rec)), today.MilkWarm)
		dry := with(with(rec, "plate_flow", back(26), func(float64) float64 { return 0 }), "plate_pump", back(26), func(float64) float64 { return 0 })
		note("plate pump off, 26 h", made(t, dry, at(rec)), today.PlateNoWater, today.PlateLow, today.HeatOff)
		note("bed 8 K cooler, 24 h", made(t, with(rec, "bed_temp", back(24), func(v float64) float64 { return v - 8 }), at(rec)), today.BedLow)
		note("logs end 12 days ago", made(t, rec, at(rec).Add(12*24*time.Hour)), today.LogsEnd)

		kind := []string{"sharp", "poor", "flat"}[seed%3]
		s.Changes = []simfarm.Change{{Day: float64(s.Days) - 2.2, Of: simfarm.ChangeUA, By: 0.6}, {Day: float64(s.Days) - 2.2, Of: simfarm.ChangePlate, By: 0.6}}
		rec = loaded(t, written(t, s))
		x := made(t, rec, at(rec))
		note("loop's UA 40 % less, "+kind, x, today.LoopLow)
		note("plate's effectiveness 40 % less", x, today.PlateLow)
	}
	var names []string
	for n := range asked {
		names = append(names, n)
	}
	sort.Strings(names)
	for _, n := range names {
		t.Logf("%-34s said by %d of %d", n, said[n], asked[n])
		if !strings.HasPrefix(n, "loop") && !strings.HasPrefix(n, "plate's") {
			require.Equal(t, asked[n], said[n], n)
		}
	}
}

// The last weeks say of the sample farm what the whole record says, and its cool
// washes are those that the season lists.
func TestLastWeeksSayWhatTheWholeRecordSays(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates the sample farm")
	}
	rec := loaded(t, written(t, simfarm.Sample()))
	whole := today.DefaultOptions()
	whole.UsualDays = 366
	cool := 0
	for _, day := range []int{24, 45, 64, 80, 98, 119} {
		r := asOf(rec, at(rec).Add(-time.Duration(121-day)*24*time.Hour))
		x := made(t, r, at(r))
		y, err := today.Make(r, at(r), whole)
		require.NoError(t, err)
		for _, l := range x.Lines {
			o := y.Line(l.Code)
			require.Equal(t, l.State, o.State, "day %d, %s: %s and %s", day, l.Code, l.Says, o.Says)
			require.Equal(t, l.Says, o.Says, "day %d", day)
			for _, n := range l.Numbers {
				if p, _ := o.Number(n.Key); n.Unit == "degC" && n.Of == "" {
					require.InDelta(t, p.Value, n.Value, 0.5, "day %d, %s", day, n.Key)
				}
			}
		}
		s, err := season.Compute(r, season.DefaultOptions())
		require.NoError(t, err)
		want := 0.0
		for _, w := range s.Washes.List {
			if w.TooCool && w.End > x.From {
				want++
			}
		}
		l := x.Line(today.CodeWashes)
		n, _ := l.Number("too_cool")
		small, _ := l.Number("small_too_cool")
		require.Equal(t, want, n.Value+small.Value, "day %d", day)
		cool += int(want)
	}
	require.Positive(t, cool)
}

// The same record gives the same lines.
func TestSameLinesAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates a farm")
	}
	dir := written(t, steady(7001))
	rec := loaded(t, dir)
	require.Equal(t, made(t, rec, at(rec)), made(t, loaded(t, dir), at(rec)))
}

// A farm that lacks a stage has no line of it, and one that was logged for a few
// days says that it is too few.
func TestLinesOfStagesThatThereAre(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates farms")
	}
	s := steady(7002)
	rec := loaded(t, written(t, s))
	only := *rec
	f := *rec.Farm
	f.Plate, f.Plant, f.Wash, f.Element, f.Tanks, f.Milkings = nil, nil, nil, nil, nil, farm.Milkings{}
	only.Farm, only.Milkings, only.MilkingsFrom, only.Series = &f, nil, "", nil
	for _, x := range rec.Series {
		if q := string(x.Quantity); strings.HasPrefix(q, "loop_") || q == "bed_temp" || q == "mains_temp" {
			only.Series = append(only.Series, x)
		}
	}
	x := made(t, &only, at(rec))
	for _, c := range []today.Code{today.CodeMilk, today.CodePlate, today.CodeTank} {
		require.Nil(t, x.Line(c), c)
	}
	for _, c := range []today.Code{today.CodeLogs, today.CodeHeat, today.CodeCautions, today.CodeNext} {
		require.NotNil(t, x.Line(c), c)
	}
	early := asOf(rec, time.UnixMilli(rec.First).Add(5*24*time.Hour))
	x = made(t, early, at(early))
	for c, want := range map[today.Code]today.Finding{today.CodeLoop: today.LoopFew, today.CodePlate: today.PlateFew, today.CodeTank: today.TankFew, today.CodeHeat: today.HeatFew} {
		require.Equal(t, want, x.Line(c).Says)
		require.Equal(t, today.NotKnown, x.Line(c).State)
	}
}

func BenchmarkMake(b *testing.B) {
	rec := loaded(b, written(b, simfarm.Sample()))
	for b.Loop() {
		if x, err := today.Make(rec, at(rec), today.DefaultOptions()); err != nil || len(x.Lines) != 10 {
			b.Fatal(err)
		}
	}
}

// Every kind of farm has lines, and every number in them is known.
func TestEveryKindOfFarm(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates farms")
	}
	off := simfarm.Short(71)
	off.Bypasses = []simfarm.Bypass{{FromDay: off.Days - 6, Days: 6, Kind: "recovery_off", Name: "test"}}
	for name, s := range map[string]simfarm.Scenario{"meterless": simfarm.Meterless(71, 300), "on and off": simfarm.OnOff(71), "valve": simfarm.Valved(71, 60),
		"holed": simfarm.Holed(71), "slab": simfarm.WithSlab(71, true), "apart": simfarm.Apart(71, 60, 40, 90, 0), "air": simfarm.WithAir(71), "off": off} {
		rec := loaded(t, written(t, s))
		x := made(t, rec, at(rec))
		require.NotNil(t, x.Line(today.CodeLoop), name)
		require.Equal(t, name == "meterless" || name == "valve", x.Line(today.CodePlate) == nil, name)
		for _, l := range x.Lines {
			require.NotEmpty(t, l.Says, name)
			for _, n := range l.Numbers {
				require.False(t, math.IsNaN(n.Value) || math.IsInf(n.Value, 0), "%s: %s", name, n.Key)
				require.NotEmpty(t, n.Shown())
			}
			if name == "off" && l.Code == today.CodePlate { // for six days: what lasts does not pass for usual
				require.Equal(t, today.PlateNoWater, l.Says)
			}
			t.Logf("%-10s %-9s %-16s %s %v", name, l.State, l.Says, numbers(l), l.Words)
		}
	}
}
