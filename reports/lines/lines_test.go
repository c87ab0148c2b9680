package lines

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/today"
)

// full is a line of every number, time and word that sentences ask for.
func full(code today.Code, says today.Finding, state today.State) today.Line {
	l := today.Line{Code: code, Says: says, State: state}
	for key, unit := range map[string]string{"age_h": "h", "probes": "1", "limit_c": "degC", "milkings": "1", "warm": "1", "unknown": "1", "warmest_c": "degC",
		"target_c": "degC", "washes": "1", "too_cool": "1", "small_too_cool": "1", "coolest_c": "degC", "last_c": "degC", "usual_washes": "1", "values": "1", "litres": "L",
		"compressor_kwh": "kWh"} {
		l.Numbers = append(l.Numbers, today.Number{Key: key, Value: 3, Unit: unit})
	}
	u := &today.Usual{Low: 4, Mid: 5, High: 6, Share: 0.9, N: 33, Of: "draws"}
	switch code {
	case today.CodeLoop:
		l.Numbers = append(l.Numbers, today.Number{Key: "ua_w_per_k", Value: 3, Unit: "W/K", Usual: u})
	case today.CodePlate:
		l.Numbers = append(l.Numbers, today.Number{Key: "rise_share", Value: 0.6, Unit: "1", Usual: u})
	case today.CodeTank:
		l.Numbers = append(l.Numbers, today.Number{Key: "tank_c", Value: 3, Unit: "degC", Usual: u})
	case today.CodeBed:
		l.Numbers = append(l.Numbers, today.Number{Key: "bed_c", Of: "north", Value: 3, Unit: "degC", Usual: u})
	case today.CodeHeat:
		l.Numbers = append(l.Numbers, today.Number{Key: "yard_kwh", Value: 3, Unit: "kWh", Usual: u})
	}
	for _, key := range []string{"end", "warmest", "last", "coolest", "since", "at"} {
		l.Times = append(l.Times, today.Moment{Key: key, MS: t0})
	}
	l.Words = []today.Word{{Key: "read", Is: "tank"}, {Key: "last", Is: "too cool"}, {Key: "reason", Is: "short heat"}, {Key: "yard", Is: "below"}}
	l.Probes = []today.Probe{{Name: "a.csv", What: "silent", Last: t0, UsualS: 30}, {Name: "yard: Bed", Column: "Bed", What: "stuck", Last: t0, UsualS: 60, Share: 1},
		{Name: "yard: Out", Column: "Out", What: "fault", Last: t0, UsualS: 60, Share: 0.5}}
	l.Cautions = []today.Raised{{ID: "C11", Text: "x", Because: "bed read 72 °C", First: t0, Last: t0}, {ID: "C13"}}
	return l
}

const t0 = int64(1_770_000_000_000)

// findings as they stand in the source, so that none is forgotten here.
func findings(t *testing.T) []today.Finding {
	t.Helper()
	src, err := os.ReadFile(filepath.Join("..", "..", "analysis", "today", "codes.go"))
	require.NoError(t, err)
	var out []today.Finding
	for _, m := range regexp.MustCompile(`Finding += "([a-z-]+)"`).FindAllStringSubmatch(string(src), -1) {
		out = append(out, today.Finding(m[1]))
	}
	require.Greater(t, len(out), 50)
	return out
}

// Every finding has a sentence; none calls anything safe, and a state word stands
// before each line.
func TestEveryFindingHasASentence(t *testing.T) {
	safe := regexp.MustCompile(`(?i)\bsafe|\bconform|\bcompl(y|ies|iant)|\bclean\b`)
	doc, err := os.ReadFile(filepath.Join("..", "..", "analysis", "today", "README.md"))
	require.NoError(t, err)
	for _, f := range findings(t) {
		require.Contains(t, string(doc), "`"+string(f)+"`", "not in analysis/today/README.md")
		code, _, _ := strings.Cut(string(f), "-")
		x := &today.Today{Farm: "Farm", ZoneName: "UTC", From: t0 - 48*3600e3, To: t0, Lines: []today.Line{full(today.Code(code), f, today.LookAt)}}
		text := Text(x)
		require.Equal(t, 3, strings.Count(text, "\n"), text)
		require.NotContains(t, text, "%!")
		require.NotContains(t, text, "not known.", f)
		require.False(t, safe.MatchString(text), text)
		line := strings.Split(text, "\n")[2]
		require.Regexp(t, `^  look at    [A-Z][a-z]+ +[^ ].{10,}\.$`, line)
	}
}

func TestSentences(t *testing.T) {
	p := printer{zone: zoneOf("Europe/Rome"), t: &today.Today{To: t0}}
	for _, c := range []struct {
		code today.Code
		says today.Finding
		want string
	}{
		{today.CodeWashes, today.WashesCool, "3 of 3 washes below 3.0 °C, coolest 3.0 °C (Mon 03:40): the element ran for less than usual before; last Mon 03:40 at 3.0 °C (too cool)."},
		{today.CodeMilk, today.MilkWarm, "above the limit of 3.0 °C after 3 of 3 milkings, two hours after the milking; warmest 3.0 °C (milking to Mon 03:40)."},
		{today.CodePlate, today.PlateLow, "the water was warmed by 60.0 % of what this inlet used to give (median of 3 cycles), below its usual range; usually 400.0 % to 600.0 % (90 % of 33 draws before)."},
		{today.CodeHeat, today.HeatOff, "yard 3.0 kWh (usually 4.0 kWh to 6.0 kWh, below); 90 % of 33 earlier stretches of two days."},
		{today.CodeCautions, today.CautionsRaised, "C11: bed read 72 °C. Also C13."},
	} {
		l := full(c.code, c.says, today.LookAt)
		require.Contains(t, p.Sentence(&l), strings.TrimSuffix(c.want, "."))
	}
}

func TestAgo(t *testing.T) {
	for h, want := range map[float64]string{0.5: "30 minutes", 13: "13 hours", 290: "12 days"} {
		require.Equal(t, want, ago(h))
	}
}
