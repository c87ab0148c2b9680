package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

type readClaim struct {
	Figure   string
	Claimed  float64
	Measured figure
	Chance   *float64 `json:"chance_true"`
	Verdict  string
	Decide   string  `json:"what_would_decide"`
	To       float64 `json:"supported_to"`
	Above    float64 `json:"not_supported_above"`
	Over     string
	Claims   []readClaim
}

func claimedJSON(t *testing.T, args ...string) readClaim {
	t.Helper()
	code, out, errs := try(t, append([]string{"claim"}, args...)...)
	require.Zero(t, code, errs)
	var c readClaim
	require.NoError(t, json.Unmarshal([]byte(out), &c))
	return c
}

// Every verdict is a result: status 0. The bounds that one answer names are
// where the next answers turn.
func TestClaimVerdicts(t *testing.T) {
	dir := simulated(t, 9)
	first := claimedJSON(t, dir, "--kwh", "0", "--json")
	require.Equal(t, "supported", first.Verdict)
	require.Equal(t, "whole", first.Over)
	say := func(v float64, how ...string) readClaim {
		n, err := json.Marshal(v)
		require.NoError(t, err)
		return claimedJSON(t, append([]string{dir, "--kwh", string(n), "--json"}, how...)...)
	}
	require.Equal(t, "supported", say(first.To-1).Verdict)
	middle := say(first.To + 1)
	require.Equal(t, "cannot tell", middle.Verdict)
	require.InDelta(t, 0.9, *middle.Chance, 0.02)
	require.Equal(t, "supported", say(first.To+1, "--confidence", "80").Verdict)
	require.Equal(t, "not supported", say(first.Above+1).Verdict)
	require.Equal(t, "cannot tell", say(first.Above+1, "--confidence", "95 %").Verdict)
}

func TestClaimsTogetherAndTheStatement(t *testing.T) {
	dir := simulated(t, 9)
	page := filepath.Join(t.TempDir(), "s.html")
	code, out, errs := try(t, "claim", dir, "--kwh", "100", "--co2", "1 000 000 kg", "--criterion", "20,5 % at 90 %", "--seen", "--out", page)
	require.Zero(t, code, errs)
	require.Empty(t, errs)
	for _, want := range []string{"over what was seen", "at least 100 kWh", "verdict at 90 %    supported", "verdict at 90 %    not supported", "at most 20.5 % at 90 %", page} {
		require.Contains(t, out, want)
	}
	first, err := os.ReadFile(page)
	require.NoError(t, err)
	code, _, errs = try(t, "claim", dir, "--kwh", "100", "--co2", "1 000 000 kg", "--criterion", "20,5 % at 90 %", "--seen", "--out", page, "--json")
	require.Zero(t, code, errs)
	second, err := os.ReadFile(page)
	require.NoError(t, err)
	require.Equal(t, string(first), string(second), "the same bytes")
	toml, err := os.ReadFile(filepath.Join(dir, "farm.toml"))
	require.NoError(t, err)
	code, _, errs = try(t, "claim", dir, "--kwh", "100", "--out", filepath.Join(dir, "farm.toml"))
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "is not a statement of ours")
	after, err := os.ReadFile(filepath.Join(dir, "farm.toml"))
	require.NoError(t, err)
	require.Equal(t, string(toml), string(after))
}

// A farm that can't say what it saved: the answer is why, not a failure.
func TestClaimOnAFarmThatCannotTell(t *testing.T) {
	dir := simulated(t, 9)
	without(t, dir, "element_energy")
	c := claimedJSON(t, dir, "--kwh", "100", "--money", "5", "--json")
	require.Equal(t, "cannot tell", c.Verdict)
	require.Nil(t, c.Chance)
	require.Nil(t, c.Measured.Value)
	require.Contains(t, c.Decide, "element")
	require.Len(t, c.Claims, 2)
}

func TestWrongClaims(t *testing.T) {
	dir := simulated(t, 9)
	for _, c := range []struct{ args, want string }{
		{"", "--kwh N"},
		{"--kwh -5", "0 or more"},
		{"--kwh NaN", "want a number in kWh"},
		{"--kwh 1e3", "cannot be read"},
		{"--kwh 6MWh", "MWh"},
		{"--kwh 1.250", "Write 1250"},
		{"--kwh 1,250", "Write 1250"},
		{"--co2 5t", "in kg"},
		{"--money 5EUR", "cannot be read"},
		{"--kwh 5 --confidence 0.9", "did you mean 90"},
		{"--kwh 5 --confidence 50", "more than 50"},
		{"--kwh 5 --confidence 100", "at most 99.9"},
		{"--kwh 5 --confidence x", "per cent"},
		{"--kwh 5 --criterion 20%", "20% at 90%"},
		{"--kwh 5 --whole --seen", "want one of them"},
		{"--kwh 5 --from 2001-01-01", "the record runs from"},
		{"--kwh 5 --to 2101-01-01", "the record runs from"},
		{"--kwh 5 --from yesterday", "YYYY-MM-DD"},
	} {
		code, out, errs := try(t, append([]string{"claim", dir}, strings.Fields(c.args)...)...)
		require.Equal(t, exitUsage, code, "%s: %s", c.args, errs)
		require.Empty(t, out, c.args)
		require.Contains(t, errs, c.want, c.args)
	}
	code, _, _ := try(t, "claim", filepath.Join(dir, "none"), "--kwh", "5")
	require.Equal(t, exitBadInput, code)
}

func TestClaimedNumbers(t *testing.T) {
	for text, want := range map[string]float64{"5500": 5500, " 5 500 ": 5500, "5\u202f500,5 kWh": 5500.5, "5500.5kwh": 5500.5, "0": 0, "0.125": 0.125, "12 345 678": 12345678, "1 250.125": 1250.125} {
		got, err := claimedNumber(text, "kWh")
		require.NoError(t, err, text)
		require.InDelta(t, want, got, 0, text)
	}
	for _, text := range []string{"", "kWh", "5 50", "1 2345", "٣", "0x10", "5,5,5", "Inf"} {
		_, err := claimedNumber(text, "kWh")
		require.Error(t, err, text)
	}
}

func FuzzClaimedNumber(f *testing.F) {
	for _, text := range []string{"5500", "5 500,5 kWh", "1.250", "-1", "1e9"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if v, err := claimedNumber(text, "kWh"); err == nil {
			require.True(t, v >= 0 && !math.IsInf(v, 0), "%q: %g", text, v)
		}
	})
}

// Every key of claim --json stands in reports/results/README.md.
func TestClaimResultsAreDocumented(t *testing.T) {
	doc := readDoc(t, "reports/results")
	doc = doc[strings.Index(doc, "## `claim --json`"):]
	code, out, errs := try(t, "claim", simulated(t, 9), "--kwh", "5", "--money", "5", "--json")
	require.Zero(t, code, errs)
	var all map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &all))
	for _, key := range []string{"farm", "period", "measured", "seen", "whole"} {
		require.Contains(t, doc, key)
		delete(all, key) // documented above
	}
	for _, c := range all["claims"].([]any) {
		for _, key := range []string{"measured", "seen", "whole"} {
			delete(c.(map[string]any), key)
		}
	}
	n := 0
	requireKeys(t, doc, all, &n)
	require.Greater(t, n, 40)
}
