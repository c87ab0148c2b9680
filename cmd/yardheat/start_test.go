package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestStartMakesAFarm(t *testing.T) {
	from, dir := t.TempDir(), filepath.Join(t.TempDir(), "new", "my farm")
	path := put(t, from, "yard.csv", smallLog)
	require.NoError(t, os.Mkdir(filepath.Join(from, "old"), 0o755))
	twin := put(t, filepath.Join(from, "old"), "yard.csv", smallLog+"13.02.2026 11:00;32,0;0\n")
	code, out, errs := try(t, "start", "--zone", "Europe/Rome", dir, path, twin)
	require.Zero(t, code, errs)
	require.Contains(t, out, "yard (2).csv")
	require.Contains(t, out, `yardheat report "`+dir+`"`)
	for name, original := range map[string]string{"yard.csv": path, "yard (2).csv": twin} {
		want, err := os.ReadFile(original)
		require.NoError(t, err)
		got, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	toml, err := os.ReadFile(filepath.Join(dir, "farm.toml"))
	require.NoError(t, err)
	require.Contains(t, string(toml), `timezone = "Europe/Rome"   # check`)
	left, err := filepath.Glob(filepath.Join(filepath.Dir(dir), ".yardheat*"))
	require.NoError(t, err)
	require.Empty(t, left, "no leftovers beside the folder")

	code, _, errs = try(t, "start", dir, path)
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "never written over")
	after, err := os.ReadFile(filepath.Join(dir, "farm.toml"))
	require.NoError(t, err)
	require.Equal(t, toml, after)
}

// One file that cannot be read, and nothing is written.
func TestStartIsWholeOrAbsent(t *testing.T) {
	from, dir := t.TempDir(), filepath.Join(t.TempDir(), "farm")
	good := put(t, from, "yard.csv", smallLog)
	for name, bad := range map[string]string{"empty.csv": put(t, from, "empty.csv", ""), "letter.txt": put(t, from, "letter.txt", "Dear sir, hello.\nNo table here, sorry.\n"),
		"absent.csv": filepath.Join(from, "absent.csv")} {
		code, _, errs := try(t, "start", dir, good, bad)
		require.Equal(t, exitBadInput, code, name)
		require.Contains(t, errs, name)
		require.NoDirExists(t, dir)
	}
}

// A folder that stands already keeps what is in it.
func TestStartInAFolderThatStands(t *testing.T) {
	from, dir := t.TempDir(), t.TempDir()
	path := put(t, from, "yard.csv", smallLog)
	put(t, dir, "yard.csv", "mine")
	code, _, errs := try(t, "start", dir, path)
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "another yard.csv")
	b, err := os.ReadFile(filepath.Join(dir, "yard.csv"))
	require.NoError(t, err)
	require.Equal(t, "mine", string(b))
	require.NoFileExists(t, filepath.Join(dir, "farm.toml"))

	own := t.TempDir()
	inside := put(t, own, "yard.csv", smallLog) // the log lies in the farm folder
	code, _, errs = try(t, "start", own, inside)
	require.Zero(t, code, errs)
	require.FileExists(t, filepath.Join(own, "farm.toml"))

	code, _, errs = try(t, "start", path, path)
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "is a file")
}

// From the sample farm's logs alone, report runs on what start drafted and
// finds the quantities that the sample's own farm file names.
func TestStartThenReport(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates the sample farm")
	}
	sample, dir := t.TempDir(), filepath.Join(t.TempDir(), "farm")
	require.NoError(t, newApp(nil, nil, nil).writeSample(sample))
	var logs []string
	for _, glob := range []string{"*.csv", "*.xlsx"} {
		some, err := filepath.Glob(filepath.Join(sample, glob))
		require.NoError(t, err)
		logs = append(logs, some...)
	}
	code, out, errs := try(t, append([]string{"start", "--zone", "Europe/Bucharest", dir}, logs...)...)
	require.Zero(t, code, errs)
	require.Contains(t, out, "0 left for you to name")
	toml, err := os.ReadFile(filepath.Join(dir, "farm.toml"))
	require.NoError(t, err)
	for _, q := range []string{"mains_temp", "loop_out_temp", "loop_flow", "bed_temp@north", "air_temp", "plate_in_temp", "plate_out_temp", "plate_volume", "plate_pump",
		"gas_in_temp", "compressor_power", "element_energy", "wash_volume", "wash_temp"} {
		require.Contains(t, string(toml), `"`+q+`"`)
	}
	code, out, errs = try(t, "report", dir)
	require.Zero(t, code, errs)
	require.Contains(t, out, "Heat from the yard")
}
