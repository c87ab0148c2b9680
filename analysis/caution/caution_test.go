package caution

import (
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/account"
	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

var t0 = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).UnixMilli()

const minute = int64(60_000)

// farmyard is a grid of whole days at one minute, with its account as needed.
type farmyard struct {
	in Input
}

func newYard(days int) *farmyard {
	n := days * 1440
	return &farmyard{Input{
		Grid: &grid.Grid{StartMS: t0, StepS: 60, N: n}, Farm: &farm.Farm{}, Zone: time.UTC,
		FromMS: t0, ToMS: t0 + int64(n)*minute, Account: &account.Account{},
	}}
}

func (y *farmyard) channel(q series.Quantity, at func(i int) float64) *grid.Channel {
	g := y.in.Grid
	v := make([]float64, g.N)
	for i := range v {
		v[i] = at(i)
	}
	g.Channels = append(g.Channels, grid.Channel{Quantity: q, Probe: "yard: " + string(q), Values: v, From: "rate", UsualS: 60})
	return &g.Channels[len(g.Channels)-1]
}

func (y *farmyard) raise(t *testing.T) []Caution {
	t.Helper()
	out, err := Raise(y.in, DefaultOptions())
	require.NoError(t, err)
	return out
}

func ids(list []Caution) string {
	var s []string
	for _, c := range list {
		s = append(s, c.ID)
	}
	return strings.Join(s, " ")
}

func constant(v float64) func(int) float64 { return func(int) float64 { return v } }

// between is v in minutes a to b of the record, else rest.
func between(a, b int, v, rest float64) func(int) float64 {
	return func(i int) float64 {
		if i >= a && i < b {
			return v
		}
		return rest
	}
}

func TestEachTriggerAndItsNearMiss(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		what string
		want string
		set  func(y *farmyard)
	}{
		{"C01 lukewarm for four days", "C01", func(y *farmyard) { y.channel("tank_temp", constant(38)); y.in.Farm.Tanks = two() }},
		{"C01 just above the band", "", func(y *farmyard) { y.channel("tank_temp", constant(46)); y.in.Farm.Tanks = two() }},
		{"C01 one hour at 60 in every three days", "", func(y *farmyard) {
			y.channel("tank_temp", func(i int) float64 { return between(3000, 3060, 62, 38)(i % 4000) })
			y.in.Farm.Tanks = two()
		}},
		{"C01 mostly not covered", "", func(y *farmyard) {
			y.channel("tank_temp", func(i int) float64 { return map[bool]float64{true: nan, false: 38}[i%3 > 0] })
			y.in.Farm.Tanks = two()
		}},
		{"C02 a week below 60", "C02", func(y *farmyard) { y.channel("tank_temp", constant(59.5)) }},
		{"C02 once in six days", "", func(y *farmyard) {
			y.channel("tank_temp", func(i int) float64 { return between(0, 5, 61, 55)(i % (6 * 1440)) })
		}},
		{"C03 cool after a minute", "C03", func(y *farmyard) {
			y.channel("hot_use_volume", between(100, 105, 8, 0))
			y.channel("hot_use_temp", constant(48))
		}},
		{"C03 hot after a minute", "", func(y *farmyard) {
			y.channel("hot_use_volume", between(100, 105, 8, 0))
			y.channel("hot_use_temp", func(i int) float64 { return map[bool]float64{true: 30, false: 55}[i <= 100] })
		}},
		{"C04 warm feed", "C04", func(y *farmyard) { y.feed(20.4) }},
		{"C04 cool feed", "", func(y *farmyard) { y.feed(19.9) }},
		{"C05 outlet at 60", "C05", func(y *farmyard) {
			y.channel("hot_use_volume", between(100, 105, 8, 0))
			y.channel("hot_use_temp", constant(60))
		}},
		{"C05 not while the water stands", "", func(y *farmyard) {
			y.channel("hot_use_volume", constant(0))
			y.channel("hot_use_temp", constant(65))
		}},
		{"C05 hand wash at 46", "C05", func(y *farmyard) {
			y.channel("hot_use_volume", between(100, 101, 8, 0))
			y.channel("hot_use_temp", constant(46)).Place = "hand wash"
		}},
		{"C06 near boiling", "C06", func(y *farmyard) { y.channel("tank_temp", between(3, 9, 91, 80)) }},
		{"C06 on above the set-point for over two hours", "C06", func(y *farmyard) { y.element(121, 82, 0.05) }},
		{"C06 for two hours only", "", func(y *farmyard) { y.element(120, 82, 0.05) }},
		{"C07 cool start", "C07", func(y *farmyard) { y.in.Account.Washes = []cycle.Wash{{StartC: 69, TempC: 72}} }},
		{"C07 a rinse is not judged", "", func(y *farmyard) { y.in.Account.Washes = []cycle.Wash{{StartC: 30, Rinse: true}} }},
		{"C08 warm milk while recovering", "C08", func(y *farmyard) { y.milk(6.4, 100) }},
		{"C08 recovery off", "", func(y *farmyard) { y.milk(6.4, 0) }},
		{"C08 cold milk", "", func(y *farmyard) { y.milk(5.9, 100) }},
		{"C10 pressure of a closed loop", "C10", func(y *farmyard) {
			y.in.Farm.Loop = &farm.Loop{Circuit: "closed"}
			y.channel("loop_pressure", func(i int) float64 { return 2 - 0.1*float64(i/1440) })
		}},
		{"C10 an open loop's pressure is the mains'", "", func(y *farmyard) {
			y.in.Farm.Loop = &farm.Loop{Circuit: "open"}
			y.channel("loop_pressure", func(i int) float64 { return 2 - 0.1*float64(i/1440) })
		}},
		{"C10 both ends alike with flow", "C10", func(y *farmyard) { y.plate(40.5, 40) }},
		{"C10 a pinch at one end", "", func(y *farmyard) { y.plate(70, 40) }},
		{"C11 hot bed", "C11", func(y *farmyard) { y.channel("bed_temp", constant(71)) }},
		{"C12 very hot bed", "C11 C12", func(y *farmyard) { y.channel("bed_temp", constant(81)) }},
		{"C12 rising fast above 70", "C11 C12", func(y *farmyard) {
			y.channel("bed_temp", func(i int) float64 { return min(74, 60+float64(i)*6/1440) })
		}},
		{"a warm bed is what is wanted", "", func(y *farmyard) { y.channel("bed_temp", constant(55)) }},
		{"C13 a stuck bed probe", "C13", func(y *farmyard) {
			ch := y.channel("bed_temp", constant(50))
			ch.Flags = make([]series.Flag, y.in.Grid.N)
			ch.Flags[77] = series.Stuck
		}},
		{"C13 a spike is no fault", "", func(y *farmyard) {
			ch := y.channel("bed_temp", constant(50))
			ch.Flags = make([]series.Flag, y.in.Grid.N)
			ch.Flags[77] = series.Spike
		}},
		{"C13 turning entered", "C13", func(y *farmyard) {
			y.in.Farm.Events = []farm.Event{{At: time.UnixMilli(t0 + 500*minute), What: "turned"}}
		}},
		{"C14 cold loop, no flow", "C14", func(y *farmyard) { y.channel("loop_in_temp", constant(2.5)) }},
		{"C14 cold mains flowing", "", func(y *farmyard) {
			y.channel("loop_in_temp", constant(2.5))
			y.channel("loop_flow", constant(10))
		}},
		{"C15 on and not warming", "C15", func(y *farmyard) { y.element(90, 60, 0) }},
		{"C15 warming", "", func(y *farmyard) { y.element(90, 60, 0.05) }},
	} {
		y := newYard(8)
		c.set(y)
		got := y.raise(t)
		require.Equal(t, c.want, ids(got), c.what)
		for _, x := range got {
			require.NotEmpty(t, x.Because, c.what)
			require.NotEmpty(t, x.Text, c.what)
			require.LessOrEqual(t, x.First, x.Last, c.what)
		}
	}
}

// two tanks: the probes' tank is not the hot one, so C02 is not asked.
func two() []farm.Tank {
	return []farm.Tank{{Name: "pre", VolumeL: 500, Role: "preheat"}, {Name: "hot", VolumeL: 300, Role: "hot"}}
}

func (y *farmyard) feed(tempC float64) {
	y.in.Account.Cycles = []cycle.Cycle{{Start: t0, End: t0 + 1440*minute, B: 1440, Whole: true}}
	y.in.Account.Feed = []account.Feed{{TempC: tempC, From: "draws"}}
}

// element is on from minute 100 on, the tank starting at tempC and rising.
func (y *farmyard) element(minutes int, tempC, perMinute float64) {
	y.in.Farm.Wash = &farm.Wash{HeatToC: 80, HasHeatTo: true}
	y.channel("element_power", between(100, 100+minutes, 6, 0))
	y.channel("tank_temp", func(i int) float64 {
		if i%1440 == 0 {
			return 61 // hot enough once a day
		}
		return tempC + perMinute*float64(max(0, min(i, 100+minutes)-100))
	})
}

func (y *farmyard) milk(tempC, plateL float64) {
	y.in.Farm.Milk.LimitC = 6
	y.feed(10)
	y.in.Account.Milk.Rows = []account.MilkRow{{After2hC: tempC}}
	y.in.Account.Plate.Rows = []account.HeatRow{{Litres: plateL}}
}

func (y *farmyard) plate(gasInC, outC float64) {
	y.channel("plate_flow", between(100, 140, 9, 0))
	y.channel("compressor_power", constant(4))
	y.channel("gas_in_temp", constant(gasInC))
	y.channel("plate_out_temp", constant(outC))
	y.channel("gas_out_temp", constant(20.2))
	y.channel("plate_in_temp", constant(20))
}

func TestHeatPerCompressorKWhFalls(t *testing.T) {
	for _, c := range []struct {
		now  float64
		want string
	}{{0.8, ""}, {0.65, "C09"}} {
		y := newYard(30)
		a := y.in.Account
		for d := range 30 {
			from := t0 + int64(d)*1440*minute
			a.Cycles = append(a.Cycles, cycle.Cycle{Start: from, End: from + 1440*minute, A: d * 1440, B: (d + 1) * 1440, Whole: true})
			heat := 40.0
			if d >= 26 {
				heat *= c.now
			}
			a.Plate.Rows = append(a.Plate.Rows, account.HeatRow{KWh: heat})
			a.Compressor.Rows = append(a.Compressor.Rows, account.PowerRow{KWh: 30, CoveredS: 86400})
		}
		got := y.raise(t)
		require.Equal(t, c.want, ids(got))
		if len(got) > 0 {
			require.Contains(t, got[0].Because, "0.87")
			require.Equal(t, t0+26*1440*minute, got[0].First)
		}
	}
}

func TestBecauseNamesTheLoudestReadingInLocalTime(t *testing.T) {
	rome, err := time.LoadLocation("Europe/Rome")
	require.NoError(t, err)
	y := newYard(2)
	y.in.Zone = rome
	y.channel("bed_temp", func(i int) float64 {
		return between(60, 70, 72, 50)(i) + between(600, 610, 25, 0)(i)
	})
	got := y.raise(t)
	require.Len(t, got, 1)
	require.Equal(t, "yard: bed_temp read 75.0 °C on 2026-03-01 11:00; 2 times in all", got[0].Because)
	require.Equal(t, t0+60*minute, got[0].First)
	require.Equal(t, t0+610*minute, got[0].Last)
}

func TestNothingIsCalledSafe(t *testing.T) {
	safe := regexp.MustCompile(`(?i)\bsafe|\bconform|\bcompl(y|ies|iant)`)
	for id, s := range texts {
		require.False(t, safe.MatchString(s), id)
	}
	for _, s := range Standing() {
		require.False(t, safe.MatchString(s), s)
	}
	require.Len(t, texts, 15)
	require.True(t, safe.MatchString("this is safe to drink"))
}

func TestOptionsAndInput(t *testing.T) {
	require.NoError(t, DefaultOptions().Validate())
	o := DefaultOptions()
	o.FeedC = math.NaN()
	_, err := Raise(Input{}, o)
	require.ErrorContains(t, err, "FeedC")
	_, err = Raise(Input{}, DefaultOptions())
	require.Error(t, err)
}

func BenchmarkRaise(b *testing.B) {
	y := newYard(120)
	y.element(90, 60, 0.01)
	for _, q := range []series.Quantity{"bed_temp", "loop_in_temp", "loop_out_temp", "tank_temp", "hot_use_temp"} {
		y.channel(q, func(i int) float64 { return 40 + float64(i%50)/10 })
	}
	y.channel("loop_flow", func(i int) float64 { return between(400, 460, 12, 0)(i % 720) })
	for b.Loop() {
		out, err := Raise(y.in, DefaultOptions())
		if err != nil || len(out) == 0 {
			b.Fatal(out, err)
		}
	}
}
