//go:build unix

package ingest

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// farmBeside is a farm folder beside files that no farm file and no link in it may
// reach, with pipes and devices among its logs.
func farmBeside(t *testing.T) (farm string) {
	t.Helper()
	top := t.TempDir()
	farm, beside := filepath.Join(top, "farm"), filepath.Join(top, "beside")
	log := []byte("Time,Bed (°C)\n2026-01-01 00:00,40\n2026-01-01 00:10,41\n2026-01-01 00:20,41\n")
	for _, dir := range []string{farm, beside, filepath.Join(farm, "sub"), filepath.Join(farm, "dir.csv")} {
		require.NoError(t, os.MkdirAll(dir, 0o755))
	}
	for _, name := range []string{filepath.Join(beside, "away.csv"), filepath.Join(farm, "own.csv"), filepath.Join(farm, "sub", "own.csv")} {
		require.NoError(t, os.WriteFile(name, log, 0o644))
	}
	for link, to := range map[string]string{
		"out.csv": "../beside/away.csv", "abs.csv": filepath.Join(beside, "away.csv"), "dirout": "../beside", "in.csv": "sub/own.csv",
		"zero.csv": "/dev/zero", "chain.csv": "out.csv", "gone.csv": "nowhere.csv", "gone-out.csv": "../beside/nowhere.csv", "self.csv": "self.csv",
		"sub/up.csv": "../../beside/away.csv",
	} {
		require.NoError(t, os.Symlink(to, filepath.Join(farm, link)))
	}
	require.NoError(t, syscall.Mkfifo(filepath.Join(farm, "pipe.csv"), 0o644))
	return farm
}

// loadSoon loads, and fails where that hangs.
func loadSoon(t *testing.T, farm string) (*Record, error) {
	t.Helper()
	type result struct {
		rec *Record
		err error
	}
	done := make(chan result, 1)
	go func() {
		rec, err := Load(farm, options())
		done <- result{rec, err}
	}()
	select {
	case r := <-done:
		return r.rec, r.err
	case <-time.After(20 * time.Second):
		t.Fatal("it hangs")
		return nil, nil
	}
}

func inRome(text string) string { return "[farm]\nname = \"x\"\ntimezone = \"Europe/Rome\"\n" + text }

func writeTOML(t *testing.T, farm, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(filepath.Join(farm, "farm.toml"), []byte(inRome(text)), 0o644))
}

const leadsOut = "a link that leads out of the farm folder"

// Nothing outside the farm folder is read, whatever names it; what is no plain
// file hangs nobody.
func TestNothingOutsideIsRead(t *testing.T) {
	farm := farmBeside(t)
	for glob, want := range map[string]string{
		"out.csv":            "out.csv: got " + leadsOut,
		"abs.csv":            "abs.csv: got " + leadsOut,
		"chain.csv":          "chain.csv: got " + leadsOut,
		"zero.csv":           "zero.csv: got " + leadsOut,
		"gone-out.csv":       "gone-out.csv: got " + leadsOut,
		"sub/up.csv":         "sub/up.csv: got " + leadsOut,
		"out*.csv":           "out.csv: got " + leadsOut,
		"dirout/away.csv":    "below dirout, " + leadsOut,
		"dirout/*.csv":       "below dirout, " + leadsOut,
		"*/away.csv":         "names no file",
		"../beside/away.csv": "inside the farm folder",
		"../beside/*":        "inside the farm folder",
		"sub/../../beside/*": "inside the farm folder",
		"/etc/passwd":        "inside the farm folder",
		"/etc/pass*":         "inside the farm folder",
		`..\beside\*`:        "farm folder",
		`C:\Windows\*`:       "farm folder",
		"pipe.csv":           "pipe.csv: got no plain file",
		"pipe*":              "pipe.csv: got no plain file",
		"dir.csv":            "names no file",
		"gone.csv":           "gone.csv: got a file that cannot be opened",
		"self.csv":           "self.csv: got",
		"in.csv":             "",
		"sub/own.csv":        "",
	} {
		t.Run(strings.ReplaceAll(glob, "/", ":"), func(t *testing.T) {
			writeTOML(t, farm, toml(glob, "", "\"Bed (°C)\" = \"bed_temp\""))
			rec, err := loadSoon(t, farm)
			if want == "" {
				require.NoError(t, err)
				require.Len(t, rec.Files, 1)
				return
			}
			var input *InputError
			require.True(t, errors.As(err, &input), "%v", err)
			require.ErrorContains(t, err, want)
			for _, f := range input.Faults {
				require.NotEmpty(t, f.Do)
				if !strings.Contains(glob, "beside") {
					require.NotContains(t, f.Do+f.Got, "beside", "what a link leads to is nobody's business")
				}
			}
		})
	}
}

// All of them at once, by a wildcard: each that is not read is named.
func TestWildcardNamesWhatIsNotRead(t *testing.T) {
	farm := farmBeside(t)
	writeTOML(t, farm, toml("*.csv", "", "\"Bed (°C)\" = \"bed_temp\""))
	_, err := loadSoon(t, farm)
	var input *InputError
	require.True(t, errors.As(err, &input))
	named := map[string]bool{}
	for _, f := range input.Faults {
		named[f.File] = true
	}
	for _, name := range []string{"out.csv", "abs.csv", "chain.csv", "zero.csv", "gone-out.csv", "pipe.csv"} {
		require.True(t, named[name], name)
	}
	require.False(t, named["own.csv"] || named["in.csv"] || named["dir.csv"])
}

func TestMilkingsListStaysInside(t *testing.T) {
	farm := farmBeside(t)
	for file, want := range map[string]string{
		"out.csv": leadsOut, "zero.csv": leadsOut, "dirout/away.csv": leadsOut, "pipe.csv": "no plain file", "dir.csv": "a folder",
		"../beside/away.csv": "farm folder", "/etc/passwd": "farm folder",
	} {
		writeTOML(t, farm, toml("own.csv", "", "\"Bed (°C)\" = \"bed_temp\"")+"\n[milkings]\nfile = \""+file+"\"\n[milkings.columns]\nstart = \"Time\"\n")
		_, err := loadSoon(t, farm)
		require.ErrorContains(t, err, want, file)
	}
}

func TestFarmFileStaysInside(t *testing.T) {
	farm := farmBeside(t)
	require.NoError(t, os.WriteFile(filepath.Join(farm, "..", "beside", "farm.toml"), []byte(inRome(toml("own.csv", "", "\"Bed (°C)\" = \"bed_temp\""))), 0o644))
	path := filepath.Join(farm, "farm.toml")
	require.NoError(t, os.Symlink("../beside/farm.toml", path))
	_, err := loadSoon(t, farm)
	require.ErrorContains(t, err, "farm.toml: got "+leadsOut)
	require.NoError(t, os.Remove(path))
	require.NoError(t, syscall.Mkfifo(path, 0o644))
	_, err = loadSoon(t, farm)
	require.ErrorContains(t, err, "farm.toml: got no plain file")
	// The folder itself may be a link: it is what the user named.
	require.NoError(t, os.Remove(path))
	writeTOML(t, farm, toml("own.csv", "", "\"Bed (°C)\" = \"bed_temp\""))
	link := filepath.Join(t.TempDir(), "link")
	require.NoError(t, os.Symlink(farm, link))
	_, err = loadSoon(t, link)
	require.NoError(t, err)
}
