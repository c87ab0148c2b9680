package results

import (
	"bytes"
	"encoding/json"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
)

// The order of the keys, from interfaces.md section 5 (a published face of the
// program; the sentence there, not the code, is the expectation).
var pageOrder = map[string][]string{
	"": {"schema", "farm", "period", "data", "loop", "plant", "heat", "electricity", "saving", "washes", "ladder", "bed",
		"budget", "months", "cautions", "problems", "settings"},
	"farm":                {"name", "timezone"},
	"period":              {"start", "end", "milkings", "washes", "draws"},
	"data":                {"files", "channels"},
	"data.files":          {"name", "sha256", "rows", "kept", "first", "last", "zone", "clock"},
	"data.files.clock":    {"ahead_s", "drift_s_per_day", "jumps", "low", "high", "from"},
	"data.channels":       {"quantity", "place", "column", "file", "unit", "samples", "kept", "flags", "gap_s"},
	"data.channels.flags": {"sentinel", "range", "spike", "stuck", "rate", "duplicate", "order"},
	"loop": {"ua_w_per_k", "u_w_per_m2_k", "per_metre_w_per_m_k", "time_constant_h", "supply_w_per_k", "steady_w_per_k",
		"slab_kj_per_k", "bed_offset_k", "volume_ratio", "approach_k", "effectiveness",
		"model", "identified", "rmse_k", "draws_used", "litres_left_out", "changes"},
	"loop.changes": {"at", "of", "before", "after"},
	"plant": {"recovery_fraction", "heat_caught_kwh", "heat_rejected_kwh", "milk_heat_kwh", "compressor_kwh",
		"standing_gain_kw", "cop", "plate_effectiveness", "cycles_used", "changes"},
	"heat": {"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "other_use_kwh", "store_change_kwh", "loss_kwh",
		"unexplained_kwh", "whole"},
	"heat.whole": {"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "other_use_kwh", "store_change_kwh", "loss_kwh",
		"unexplained_kwh"},
	"electricity": {"element_kwh", "element_solar_kwh", "element_movable_kwh", "pump_kwh", "compressor_kwh"},
	"saving":      {"baseline_kwh", "used_kwh", "saved_kwh", "money", "co2_kg", "heat_per_kwh", "carrier", "currency", "basis"},
	"washes":      {"count", "rinses", "too_cool", "unknown", "coolest_c", "list"},
	"washes.list": {"at", "temp_c", "end_c", "litres", "too_cool", "reason"},
	"ladder":      {"step", "temp_c", "gained_kwh"},
	"bed":         {"mean_c", "heat_w_per_m2", "heat_kwh_per_m2", "heat_kwh_per_tonne"},
	"budget":      {"figure", "source", "kind", "share"},
	// Ours, documented in DEVELOPERS.md.
	"budget_by_sensor":  {"sensor", "kind", "error", "assumed", "shares"},
	"improve":           {"figure", "sensors", "measure", "narrower", "then", "text"},
	"matched":           {"pairs", "taken_off", "before"},
	"matched.pairs":     {"probes", "from", "applied", "offset_k", "stretches", "why"},
	"matched.taken_off": {"probe", "k"},
	"months":            {"month", "loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh", "ua_w_per_k", "approach_k", "recovery_fraction"},
	"cautions":          {"id", "text", "because", "first", "last"},
	"problems":          {"code", "severity", "file", "where", "text"},
	"loop.ua_w_per_k":   {"value", "low", "high", "unit", "confidence", "basis", "n", "coverage", "shown"},
}

// keyOrder reads the keys of every object as they stand in the file, by the
// path to it; list indices are left out of the path and the first element of
// a list speaks for all.
func keyOrder(t *testing.T, b []byte) map[string][]string {
	t.Helper()
	dec := json.NewDecoder(bytes.NewReader(b))
	order := map[string][]string{}
	var walk func(path string)
	walk = func(path string) {
		tok, err := dec.Token()
		require.NoError(t, err)
		switch tok {
		case json.Delim('{'):
			var keys []string
			for dec.More() {
				k, err := dec.Token()
				require.NoError(t, err)
				require.NotContains(t, keys, k, "key twice in %s", path)
				keys = append(keys, k.(string))
				walk(strings.TrimPrefix(path+"."+k.(string), "."))
			}
			_, err = dec.Token()
			require.NoError(t, err)
			if _, seen := order[path]; !seen {
				order[path] = keys
			}
		case json.Delim('['):
			for dec.More() {
				walk(path)
			}
			_, err = dec.Token()
			require.NoError(t, err)
		}
	}
	walk("")
	_, err := dec.Token()
	require.Equal(t, io.EOF, err)
	return order
}

func TestKeysStandInTheOrderOfThePage(t *testing.T) {
	b, err := JSON(fixture.Season())
	require.NoError(t, err)
	got := keyOrder(t, b)
	for path, want := range pageOrder {
		var mine []string // keys of ours beside those of the page are allowed
		for _, k := range got[path] {
			for _, w := range want {
				if k == w {
					mine = append(mine, k)
				}
			}
		}
		require.Equal(t, want, mine, "object %q", path)
	}
}

// Every object with a "shown" is a figure and must hold all its fields; a
// null value must say why.
func requireFigures(t *testing.T, v any) (figures int) {
	t.Helper()
	switch x := v.(type) {
	case []any:
		for _, e := range x {
			figures += requireFigures(t, e)
		}
	case map[string]any:
		if _, is := x["shown"]; is {
			for _, k := range []string{"value", "low", "high", "unit", "confidence", "basis", "n", "coverage"} {
				require.Contains(t, x, k)
			}
			require.Contains(t, []any{"metered", "fitted", "estimated"}, x["basis"])
			if x["value"] == nil {
				require.NotEmpty(t, x["why"])
			}
			figures++
		}
		for _, e := range x {
			figures += requireFigures(t, e)
		}
	}
	return figures
}

func TestEveryFigureIsWhole(t *testing.T) {
	for name, s := range map[string]*season.Season{"full": fixture.Season(), "empty": fixture.Empty()} {
		b, err := JSON(s)
		require.NoError(t, err)
		var v any
		require.NoError(t, json.Unmarshal(b, &v), name)
		require.Greater(t, requireFigures(t, v), 40, name)
		require.NotContains(t, string(b), "NaN")
		require.NotContains(t, string(b), "Inf")
	}
}

func TestValuesComeBack(t *testing.T) {
	s := fixture.Season()
	b, err := JSON(s)
	require.NoError(t, err)
	var got struct {
		Schema string
		Farm   struct{ Name string }
		Period struct{ Start, End string }
		Loop   map[string]any
		Data   struct {
			Files []struct {
				Clock struct {
					Low   *float64
					Jumps []struct {
						At string
						By float64 `json:"by_s"`
					}
				}
			}
		}
		Budget []struct{ Share *float64 }
	}
	require.NoError(t, json.Unmarshal(b, &got))
	require.Equal(t, "yardheat-results/1", got.Schema)
	require.Equal(t, s.Farm, got.Farm.Name, "hostile names come back as they were")
	require.NotContains(t, string(b), "<script>")
	require.Equal(t, "2026-03-27T23:00:00Z", got.Period.Start)
	require.Equal(t, "2026-03-29T05:00:00Z", got.Data.Files[0].Clock.Jumps[0].At)
	require.Equal(t, -3600.0, got.Data.Files[0].Clock.Jumps[0].By)
	require.Nil(t, got.Data.Files[1].Clock.Low)
	require.Nil(t, got.Budget[1].Share)
	ua := got.Loop["ua_w_per_k"].(map[string]any)
	require.Equal(t, 1240.12345679, ua["value"], "12 significant digits of 1240.123456789012")
	require.Equal(t, "draws left out & <foretold> by a store", got.Loop["model_why"])
	oneSided := got.Loop["supply_w_per_k"].(map[string]any)
	require.Equal(t, 850.0, oneSided["value"])
	require.Nil(t, oneSided["high"])
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want string
	}{
		{0, "0"}, {math.Copysign(0, -1), "0"}, {-0.5, "-0.5"}, {1240, "1240"}, {1.0 / 3, "0.333333333333"},
		{123456789012345, "1.23456789012e+14"}, {math.NaN(), "null"}, {math.Inf(-1), "null"}, {0.1 + 0.2, "0.3"},
	} {
		got := string(appendNumber(nil, c.v))
		require.Equal(t, c.want, got)
		require.True(t, json.Valid([]byte(got)))
	}
}

func TestSameSeasonSameBytes(t *testing.T) {
	a, err := JSON(fixture.Season())
	require.NoError(t, err)
	b, err := JSON(fixture.Season())
	require.NoError(t, err)
	require.Equal(t, string(a), string(b))
	other := fixture.Season()
	other.Loop.RMSEK += 1e-6
	c, err := JSON(other)
	require.NoError(t, err)
	require.NotEqual(t, string(a), string(c))
	_, err = JSON(nil)
	require.Error(t, err)
}
