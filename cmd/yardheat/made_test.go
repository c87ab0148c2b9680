package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/reports/record"
)

func TestFarmSeenFromTheReport(t *testing.T) {
	top := t.TempDir()
	farm := filepath.Join(top, "a", "farm")
	require.NoError(t, os.MkdirAll(farm, 0o755))
	for out, want := range map[string]string{
		filepath.Join(farm, "report"):         "..",
		filepath.Join(farm, "deep", "report"): "../..",
		filepath.Join(top, "a", "out"):        "../farm",
		filepath.Join(top, "b", "out"):        "../../a/farm",
	} {
		require.Equal(t, want, seenFrom(out, farm), out)
	}
	if runtime.GOOS != "windows" { // only the top of the disk holds both
		require.Empty(t, seenFrom("/out", farm))
		require.Empty(t, seenFrom("/somewhere/else/out", farm))
	}
	// A linked folder stands where it really stands.
	link := filepath.Join(top, "link")
	if os.Symlink(farm, link) == nil {
		require.Equal(t, "..", seenFrom(filepath.Join(farm, "report"), link))
		require.Equal(t, "..", seenFrom(filepath.Join(link, "report"), farm))
	}
}

// What sources.json says of the originals, by a whole run.
func TestSourcesOfARun(t *testing.T) {
	x := finished(t)
	edit(t, x.dir, func(toml string) string {
		return strings.Replace(toml, `"Tank [°C]" = "tank_temp"`, `"Tank [°C]" = "ignore"`, 1)
	})
	code, _, errs := try(t, "report", x.dir, "--from", "2025-02-06", "--to", "2025-02-10")
	require.Zero(t, code, errs)
	var s record.SourcesFile
	require.NoError(t, json.Unmarshal([]byte(x.read("report/sources.json")), &s))
	require.Equal(t, record.Options{From: "2025-02-06", To: "2025-02-10"}, s.Options)
	require.Equal(t, "..", s.FarmFolder)
	require.Equal(t, runtime.Version(), s.Program.Go)
	require.NotZero(t, s.Trials)
	require.Len(t, s.Files, 2)
	for _, f := range s.Files {
		require.Equal(t, []string{"Time"}, f.StampColumns)
		require.Equal(t, "YYYY-MM-DD hh:mm:ss", f.StampLayout)
		require.Equal(t, sumOf(x.read(f.Name)), f.SHA256)
		require.Equal(t, []string{"Tank [°C]"}, f.SetAside)
		require.Len(t, f.Channels, 12)
		for _, c := range f.Channels {
			require.Positive(t, c.Readings)
			require.LessOrEqual(t, c.Kept, c.Readings)
			require.NotEmpty(t, c.KeptIn)
		}
	}
	// Three days lie before the period, a reading a minute, but for the first day's
	// midnight; six behind it.
	for _, o := range s.OutsidePeriod {
		if o.Quantity == "mains_temp" {
			require.InDelta(t, 3*1440, o.Before, 60, "the few gaps of the log")
			require.InDelta(t, 8*1440, o.After, 1440)
		}
	}
	require.Len(t, s.OutsidePeriod, 12)
	for _, h := range s.Report {
		require.Equal(t, sumOf(x.read("report/"+h.Name)), h.SHA256, h.Name)
	}
	require.Greater(t, len(s.Report), 10)
}
