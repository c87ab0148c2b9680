package claim

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"yardheat/analysis/doubt"
	"yardheat/analysis/season"
	"yardheat/ingest/series"
)

// normal are the quantiles of a normal distribution in the middle of n equal
// shares: ordered trials without scatter.
func normal(mean, sd float64, n int) []float64 {
	d := distuv.Normal{Mu: mean, Sigma: sd}
	out := make([]float64, n)
	for i := range out {
		out[i] = d.Quantile((float64(i) + 0.5) / float64(n))
	}
	return out
}

const trials = 20_000

// seasonOf is a season that saved so much, with a budget of three parts.
func seasonOf(value, sd float64) *season.Season {
	f := doubt.Make(value, value-1.959964*sd, value+1.959964*sd, "kWh", doubt.Estimated, 200, 0.9, "")
	n := []season.Named{{Key: "saved_kwh", Label: "Final energy saved", Figure: f}}
	x := season.Spread{Key: "saved_kwh", Trials: normal(value, sd, trials), Parts: []season.SpreadPart{
		{Sensor: "boiler", Kind: "shared", Share: 0.6, Error: "0.05", Assumed: true}, {Sensor: "wash meter", Kind: "shared", Share: 0.3, Error: "3 %"}, {Sensor: "feed", Share: 0.1}}}
	whole := x
	whole.Whole, whole.Trials = true, normal(value, sd, trials)
	return &season.Season{Saving: season.Saving{Figures: n, Whole: n}, Claims: season.Claims{Spreads: []season.Spread{x, whole}}}
}

func judge(t *testing.T, s *season.Season, claimed float64, opt Options) Claim {
	t.Helper()
	j, err := Judge(s, []Asked{{"saved_kwh", claimed}}, opt)
	require.NoError(t, err)
	return j.Claims[0]
}

// P(S ≥ x) of a normal saving, and the verdicts that follow from it.
func TestChanceAndVerdict(t *testing.T) {
	s := seasonOf(1000, 100)
	for _, c := range []struct {
		claimed float64
		verdict Verdict
	}{{0, Supported}, {800, Supported}, {871, Supported}, {873, CannotTell}, {1000, CannotTell}, {1127, CannotTell}, {1129, NotSupported}, {1600, NotSupported}} {
		got := judge(t, s, c.claimed, DefaultOptions())
		require.InDelta(t, distuv.Normal{Mu: 1000, Sigma: 100}.Survival(c.claimed), got.Chance, 1e-4, "%g", c.claimed)
		require.Equal(t, c.verdict, got.Verdict, "%g", c.claimed)
		require.InDelta(t, 1000-1.281552*100, got.SupportedTo, 0.1)
		require.InDelta(t, 1000+1.281552*100, got.RefutedAbove, 0.1)
	}
}

// The bounds are those of the verdict itself, at any confidence and on trials
// with ties.
func TestBoundsAreTheVerdicts(t *testing.T) {
	tied := normal(50, 9, 1000)
	for i := range tied {
		tied[i] = math.Round(tied[i])
	}
	for _, x := range [][]float64{normal(1000, 100, 1000), normal(-3, 7, 777), tied} {
		for _, c := range []float64{0.51, 0.68, 0.9, 0.95, 0.999} {
			low, high := bounds(x, c)
			require.Equal(t, Supported, verdict(atLeast(x, low), c), "at %g", c)
			require.NotEqual(t, Supported, verdict(atLeast(x, math.Nextafter(low, math.Inf(1))), c), "beyond the largest at %g", c)
			require.NotEqual(t, NotSupported, verdict(atLeast(x, high), c), "at %g", c)
			require.Equal(t, NotSupported, verdict(atLeast(x, math.Nextafter(high, math.Inf(1))), c), "beyond at %g", c)
		}
	}
}

// A claim is held against the whole period unless what was seen is asked for.
func TestWholeIsTheDefault(t *testing.T) {
	s := seasonOf(1000, 10)
	f := doubt.Make(800, 780, 820, "kWh", doubt.Estimated, 150, 0.7, "")
	s.Saving.Figures = []season.Named{{Key: "saved_kwh", Label: "Final energy saved", Figure: f}}
	s.Claims.Spreads[0].Trials = normal(800, 10, trials)
	require.Equal(t, Supported, judge(t, s, 900, DefaultOptions()).Verdict)
	seen := DefaultOptions()
	seen.Seen = true
	got := judge(t, s, 900, seen)
	require.Equal(t, NotSupported, got.Verdict)
	require.InDelta(t, 800, got.Measured.Value, 0)
	require.InDelta(t, 1000, got.Whole.Value, 0)
}

func TestWhatIsNotKnownCannotBeTold(t *testing.T) {
	s := seasonOf(1000, 100)
	nan := math.NaN()
	s.Saving.Whole = []season.Named{{Key: "saved_kwh", Figure: doubt.Make(nan, nan, nan, "kWh", doubt.Estimated, 0, 0, "no wash meter")}}
	s.Claims.Spreads = nil
	got := judge(t, s, 900, DefaultOptions())
	require.Equal(t, CannotTell, got.Verdict)
	require.True(t, math.IsNaN(got.Chance))
	require.Equal(t, "not known", got.ChanceShown)
	require.Contains(t, got.Decide, "no wash meter")
	require.Equal(t, string(CannotTell), got.Criteria[0].Result)
	require.Equal(t, "the saving is not known", got.Criteria[0].Why)
	require.Empty(t, got.SupportedToShown)
	require.Contains(t, got.Decide, "What was seen of the period is known")
	got = judge(t, &season.Season{}, 900, DefaultOptions()) // a farm that logs next to nothing
	require.Equal(t, CannotTell, got.Verdict)
}

func TestBadClaims(t *testing.T) {
	s := seasonOf(1000, 100)
	for _, x := range []float64{-1, math.NaN(), math.Inf(1)} {
		_, err := Judge(s, []Asked{{"saved_kwh", x}}, DefaultOptions())
		require.ErrorContains(t, err, "want 0 or more")
	}
	_, err := Judge(s, []Asked{{"wash_kwh", 1}}, DefaultOptions())
	require.ErrorContains(t, err, "saved_kwh")
	_, err = Judge(s, nil, DefaultOptions())
	require.Error(t, err)
	for _, c := range []float64{0, 0.5, 0.9991, 1, math.NaN()} {
		_, err := Judge(s, []Asked{{"saved_kwh", 1}}, Options{Confidence: c})
		require.ErrorContains(t, err, "confidence", "%g", c)
	}
}

// The half-width of a normal interval at 68 % is 0.99446 u, at 90 % 1.64485 u.
func TestCriteria(t *testing.T) {
	own := func(text string) Criterion {
		c, err := ParseCriterion(text)
		require.NoError(t, err)
		return c
	}
	for _, c := range []struct {
		value, sd float64
		criterion Criterion
		result    string
		uncertain float64
	}{
		{1000, 100, Guideline14(), Met, 0.099446},
		{1000, 480, Guideline14(), Met, 0.477341},
		{1000, 520, Guideline14(), NotMet, 0.51712},
		{1000, 502.78, Guideline14(), string(CannotTell), 0.5}, // at the limit
		{1000, 100, own("20% at 90%"), Met, 0.164485},
		{1000, 130, own("20% at 90%"), NotMet, 0.213831},
		{1000, 900, own("20% at 90%"), NotMet, 1.480368}, // the interval holds 0
		{1000, 900, own("200% at 90%"), Met, 1.480368},
	} {
		got := c.criterion.Test(doubt.Make(c.value, c.value-c.sd, c.value+c.sd, "kWh", doubt.Metered, 1, 1, ""), normal(c.value, c.sd, trials))
		require.Equal(t, c.result, got.Result, "%g ± %g: %s", c.value, c.sd, c.criterion.Short())
		require.InDelta(t, c.uncertain, got.Uncertainty, 2e-4*max(1, c.uncertain))
	}
	for _, loss := range []float64{0, -200} {
		got := Guideline14().Test(doubt.Make(loss, loss-10, loss+10, "kWh", doubt.Metered, 1, 1, ""), normal(loss, 5, trials))
		require.Equal(t, string(CannotTell), got.Result)
		require.Contains(t, got.Why, "no saving")
		require.True(t, math.IsNaN(got.Uncertainty))
	}
}

func TestParseCriterion(t *testing.T) {
	for _, text := range []string{"20% at 90%", " 20 %  at 90 % ", "20 at 90", "±20% at 90%", "± 20 % at 90 %", "20,0% at 90,0%", "20.0%@90%"} {
		c, err := ParseCriterion(text)
		require.NoError(t, err, text)
		require.Equal(t, "at most 20 % at 90 %", c.Short(), text)
	}
	for _, text := range []string{"", "20%", "at 90%", "x at 90%", "20% at 100%", "0% at 90%", "20% at 0%", "-20% at 90%", "2000% at 90%", "20% at 90% at 5%", "1e3 at 90"} {
		_, err := ParseCriterion(text)
		require.Error(t, err, text)
	}
}

// What is said would decide does decide, by the arithmetic of a normal saving:
// the remedy's share of the width is no more than is needed.
func TestWhatWouldDecide(t *testing.T) {
	s := seasonOf(1000, 100) // bounds 872 and 1128
	for _, c := range []struct {
		claimed float64
		want    []string
		not     string
	}{
		{850, []string{"Nothing more is needed", "870 kWh"}, "If the"},
		{1150, []string{"Nothing more is needed", "1\u202f130 kWh"}, "If the"},
		{1000, []string{"No practicable measurement", "too close"}, "Halving"},
		// 90 of 128 is 70.2 %; halving 60 % of the variance leaves 74.2 %, 90 % leaves 57 %.
		{910, []string{"60 % of the variance", "“boiler” (± 0.05, assumed)", "supported", "70.2 %", "“boiler” and “wash meter” would", "57 %"}, "One thing"},
		// 96 of 128 is 74.9 %.
		{1096, []string{"not supported", "74.9 %", "Halving that error would do", "74.2 %"}, "One thing"},
		{960, []string{"31.2 %", "Even halving every error would not do"}, "would do ("},
	} {
		got := judge(t, s, c.claimed, DefaultOptions()).Decide
		for _, w := range c.want {
			require.Contains(t, got, w, "%g", c.claimed)
		}
		require.NotContains(t, got, c.not)
	}
	s.Claims.Spreads[1].Measures = []season.SpreadMeasure{{Text: "have the boiler tested", Left: 0.69}}
	require.Contains(t, judge(t, s, 910, DefaultOptions()).Decide, "One thing would do: have the boiler tested (that leaves 69 % of the width).")
	s.Claims.Spreads[1].Measures = nil
	s.Claims.Spreads[1].Unseen = 0.7
	got := judge(t, s, 910, DefaultOptions()).Decide
	require.Contains(t, got, "70 % of the variance, is the time that was not seen")
	require.Contains(t, got, "The logs of the time that was not seen would do")
}

func TestShownChanceNeverPassesTheConfidence(t *testing.T) {
	for p, want := range map[float64]string{0.89996: "89.9 %", 0.9: "90.0 %", 0.1: "10.0 %", 0.10004: "10.1 %", 0.5: "50.0 %", 1: "over 99.9 %", 0: "under 0.1 %", 0.9995: "over 99.9 %", 0.999: "99.9 %"} {
		require.Equal(t, want, showChance(p), "%g", p)
	}
	require.Equal(t, []string{"2.6 %", "9.9 %", "10 %", "99.1 %", "0.05 %", "0 %", "148 %"},
		[]string{Percent(0.0259), Percent(0.0994), Percent(0.0996), Percent(0.991), Percent(0.0005), Percent(0), Percent(1.4803)})
}

func TestWhatCannotBeSaid(t *testing.T) {
	s := seasonOf(1000, 100)
	s.Period = season.Period{Start: 0, End: 121 * 24 * 3600 * 1000}
	s.Problems = []series.Problem{{Severity: series.Note}, {Severity: series.Doubt}}
	say := func(opt Options) string {
		j, err := Judge(s, []Asked{{"saved_kwh", 900}}, opt)
		require.NoError(t, err)
		return strings.Join(j.Cannot, "\n")
	}
	all := say(DefaultOptions())
	for _, want := range []string{"121 days", "10 % of the period that was not seen: it is estimated", "60 % of the variance rests on errors that nobody stated", "1 doubt about"} {
		require.Contains(t, all, want)
	}
	require.Contains(t, say(Options{Confidence: 0.9, Seen: true}), "held against the rest alone")
	s.Period.End = 366 * 24 * 3600 * 1000
	require.NotContains(t, say(DefaultOptions()), "What a year saves")
}

func FuzzParseCriterion(f *testing.F) {
	for _, text := range []string{"20% at 90%", "± 20,5 % @ 68", "x", "0% at 0%"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if c, err := ParseCriterion(text); err == nil {
			require.NoError(t, validate(c), text)
		}
	})
}

func ExampleCriterion_Short() {
	fmt.Println(Guideline14().Short())
	// Output: below 50 % at 68 %
}

// A saving told from days without recovery is known for the days reported on
// only, and a claim is held against these unless the whole is asked for.
func TestByDays(t *testing.T) {
	s := seasonOf(1000, 50)
	s.Saving.Kind = "recovery_off"
	got, err := Judge(s, []Asked{{"saved_kwh", 900}}, DefaultOptions())
	require.NoError(t, err)
	require.True(t, got.Seen)
	require.True(t, got.ByDays)
	require.NotEqual(t, CannotTell, got.Claims[0].Verdict)
	require.Contains(t, strings.Join(got.Cannot, " "), "for the whole period nothing is estimated")
	require.NotContains(t, strings.Join(got.Cannot, " "), "the alternative, its efficiency")
	opt := DefaultOptions()
	opt.Whole = true
	s.Saving.Whole, s.Claims.Spreads = nil, s.Claims.Spreads[:1]
	got, err = Judge(s, []Asked{{"saved_kwh", 900}}, opt)
	require.NoError(t, err)
	require.False(t, got.Seen)
	require.Equal(t, CannotTell, got.Claims[0].Verdict)
}
