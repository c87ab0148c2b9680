package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// Every stage of a farm is optional. Each case takes parts away from a
// simulated farm and says which figures must stay and which must say why they
// can't be known.

type figure struct {
	Value, Low, High *float64
	Shown, Why       string
	Basis            string
}

type readResults struct {
	Loop struct {
		UA    figure `json:"ua_w_per_k"`
		Model string
		Why   string
	}
	Plant struct {
		Recovery figure `json:"recovery_fraction"`
		Caught   figure `json:"heat_caught_kwh"`
	}
	Heat struct {
		Loop    figure `json:"loop_kwh"`
		Plant   figure `json:"plant_kwh"`
		Element figure `json:"element_kwh"`
		Wash    figure `json:"wash_kwh"`
	}
	Saving struct {
		Saved figure `json:"saved_kwh"`
		Money figure `json:"money"`
	}
	Months []struct{ Month string }
}

// without maps the columns of these quantities to "ignore".
func without(t *testing.T, dir string, quantities ...string) {
	edit(t, dir, func(toml string) string {
		for _, q := range quantities {
			column := regexp.MustCompile(`(?m)^("[^"]+" = ).*"` + q + `(@[^"]*)?".*$`)
			require.True(t, column.MatchString(toml), q)
			toml = column.ReplaceAllString(toml, `$1"ignore"`)
		}
		return toml
	})
}

func edit(t *testing.T, dir string, f func(string) string) {
	path := filepath.Join(dir, "farm.toml")
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, []byte(f(string(b))), 0o644))
}

// drop takes whole tables out of farm.toml.
func drop(t *testing.T, dir string, tables ...string) {
	edit(t, dir, func(toml string) string {
		for _, name := range tables {
			table := regexp.MustCompile(`(?ms)^\[+` + regexp.QuoteMeta(name) + `\]+$.*?(^\[|\z)`)
			require.True(t, table.MatchString(toml), name)
			toml = table.ReplaceAllString(toml, "$1")
		}
		return toml
	})
}

func simulated(t *testing.T, seed uint64) string {
	t.Helper()
	farm, err := simfarm.Run(simfarm.Short(seed))
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, farm.Write(dir))
	return dir
}

func reported(t *testing.T, dir string) readResults {
	t.Helper()
	code, out, errs := try(t, "report", dir, "--json")
	require.Zero(t, code, errs)
	require.NotContains(t, out, "NaN")
	var r readResults
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	page, err := os.ReadFile(filepath.Join(dir, "report", "report.html"))
	require.NoError(t, err)
	require.NotContains(t, string(page), "NaN")
	require.NotContains(t, strings.ToLower(string(page)), "is safe")
	return r
}

func requireKnown(t *testing.T, figures ...figure) {
	t.Helper()
	for _, f := range figures {
		require.NotNil(t, f.Value, f.Why)
		require.NotNil(t, f.Low)
		require.NotNil(t, f.High)
		require.Contains(t, f.Shown, "±")
	}
}

func requireWhy(t *testing.T, figures ...figure) {
	t.Helper()
	for _, f := range figures {
		require.Nil(t, f.Value, f.Shown)
		require.NotEmpty(t, f.Why)
	}
}

func TestOnlyALoop(t *testing.T) {
	dir := simulated(t, 9)
	without(t, dir, "plate_in_temp", "plate_out_temp", "plate_flow", "plate_pump", "compressor_energy", "element_energy", "wash_volume", "wash_temp", "tank_temp")
	drop(t, dir, "milkings.columns", "milkings", "plate", "plant", "instead")
	r := reported(t, dir)
	requireKnown(t, r.Heat.Loop, r.Loop.UA)
	requireWhy(t, r.Heat.Plant, r.Heat.Element, r.Heat.Wash, r.Saving.Saved, r.Plant.Recovery)
	require.NotEmpty(t, r.Months)
	requireSections(t, dir, "loop", "plant")
}

// requireSections: the page has the one and not the other.
func requireSections(t *testing.T, dir, has, not string) {
	t.Helper()
	page, err := os.ReadFile(filepath.Join(dir, "report", "report.html"))
	require.NoError(t, err)
	require.Contains(t, string(page), `<section id="`+has+`">`)
	require.NotContains(t, string(page), `<section id="`+not+`">`)
}

func TestOnlyAPlant(t *testing.T) {
	dir := simulated(t, 9)
	without(t, dir, "loop_out_temp", "loop_flow", "bed_temp")
	drop(t, dir, "loop")
	r := reported(t, dir)
	requireKnown(t, r.Heat.Plant, r.Plant.Recovery, r.Heat.Wash, r.Saving.Saved)
	requireWhy(t, r.Heat.Loop, r.Loop.UA)
	requireSections(t, dir, "plant", "loop")
}

// Without the loop's meter nothing says when cold feed flows past its probe: the
// wash is drawn before the tank is refilled, and the feed's pipe then stands warm.
func TestFeedWithoutALoopMeter(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	for _, seed := range []uint64{2, 5, 9} {
		farm, err := simfarm.Run(simfarm.Short(seed))
		require.NoError(t, err)
		dir := t.TempDir()
		require.NoError(t, farm.Write(dir))
		whole := reported(t, dir).Heat.Wash
		without(t, dir, "loop_out_temp", "loop_flow")
		r := reported(t, dir).Heat.Wash
		requireKnown(t, whole, r)
		require.InDelta(t, *whole.Value, *r.Value, 0.1*(*whole.High-*whole.Low), "seed %d", seed)
		truth := farm.Truth().WashKWh
		require.True(t, *r.Low < truth && truth < *r.High, "seed %d: %g not in %s", seed, truth, r.Shown)
	}
}

func TestNoLoopMeter(t *testing.T) {
	dir := simulated(t, 9)
	without(t, dir, "loop_flow")
	r := reported(t, dir)
	requireWhy(t, r.Heat.Loop, r.Loop.UA)
	requireKnown(t, r.Heat.Plant, r.Heat.Wash)
}

func TestNoMilkings(t *testing.T) {
	dir := simulated(t, 9)
	drop(t, dir, "milkings.columns", "milkings")
	r := reported(t, dir)
	requireKnown(t, r.Heat.Loop, r.Heat.Plant, r.Heat.Wash, r.Loop.UA)
	requireWhy(t, r.Plant.Recovery)
	// The saving rests on a stated efficiency, the heats on meters alone.
	require.Equal(t, []string{"metered", "metered", "metered", "estimated"},
		[]string{r.Heat.Loop.Basis, r.Heat.Wash.Basis, r.Heat.Element.Basis, r.Saving.Saved.Basis})
}

func TestNoWashMeterAndNoAlternative(t *testing.T) {
	dir := simulated(t, 9)
	without(t, dir, "wash_volume", "wash_temp")
	drop(t, dir, "instead")
	r := reported(t, dir)
	requireKnown(t, r.Heat.Loop, r.Heat.Plant)
	requireWhy(t, r.Saving.Saved, r.Saving.Money)
}

// The same input gives the same bytes in every file but sources.json.
func TestSameBytes(t *testing.T) {
	dir := simulated(t, 4)
	code, _, errs := try(t, "report", dir, "--out", filepath.Join(dir, "a"))
	require.Zero(t, code, errs)
	code, _, errs = try(t, "report", dir, "--out", filepath.Join(dir, "b"))
	require.Zero(t, code, errs)
	names, err := filepath.Glob(filepath.Join(dir, "a", "*"))
	require.NoError(t, err)
	charts, err := filepath.Glob(filepath.Join(dir, "a", "charts", "*"))
	require.NoError(t, err)
	require.NotEmpty(t, charts)
	for _, name := range append(names, charts...) {
		if info, err := os.Stat(name); err != nil || info.IsDir() || filepath.Base(name) == "sources.json" {
			continue
		}
		rel, err := filepath.Rel(filepath.Join(dir, "a"), name)
		require.NoError(t, err)
		a, err := os.ReadFile(name)
		require.NoError(t, err)
		b, err := os.ReadFile(filepath.Join(dir, "b", rel))
		require.NoError(t, err)
		require.True(t, string(a) == string(b), rel)
	}
}
