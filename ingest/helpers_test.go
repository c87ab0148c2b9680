package ingest

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/series"
)

// The farms of these tests are invented.

// files are the files of a farm folder by name; a farm.toml without [farm] is
// given one in Europe/Rome.
type files map[string]string

const romeFarm = "[farm]\nname = \"Test\"\ntimezone = \"Europe/Rome\"\n"

// write puts a farm into a folder of the test's own.
func write(t *testing.T, fs files) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range fs {
		if name == "farm.toml" && !strings.Contains(text, "[farm]") {
			text = romeFarm + text
		}
		path := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	return dir
}

func options() LoadOptions {
	opt := DefaultLoadOptions()
	opt.Now = time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	return opt
}

func load(t *testing.T, fs files) *Record {
	t.Helper()
	rec, err := Load(write(t, fs), options())
	require.NoError(t, err)
	return rec
}

// refuse loads a farm that cannot be used and gives its faults.
func refuse(t *testing.T, fs files) []Fault {
	t.Helper()
	rec, err := Load(write(t, fs), options())
	require.Nil(t, rec)
	var bad *InputError
	require.True(t, errors.As(err, &bad), "%v", err)
	require.NotEmpty(t, bad.Faults)
	return bad.Faults
}

// get is the only series of a quantity.
func get(t *testing.T, r *Record, q series.Quantity) *series.Series {
	t.Helper()
	var out *series.Series
	for _, s := range r.Series {
		if s.Quantity == q {
			require.Nil(t, out, "two series of %s", q)
			out = s
		}
	}
	require.NotNil(t, out, "no series of %s", q)
	return out
}

func codes(r *Record) map[string]int {
	out := map[string]int{}
	for _, p := range r.Problems {
		out[p.Code]++
	}
	return out
}

func problemOf(t *testing.T, r *Record, code string) series.Problem {
	t.Helper()
	for _, p := range r.Problems {
		if p.Code == code {
			return p
		}
	}
	require.Failf(t, "no problem", "%s among %v", code, r.Problems)
	return series.Problem{}
}

// kept are the values without a flag.
func kept(s *series.Series) []float64 {
	var out []float64
	for i, v := range s.V {
		if s.Flags.At(i) == 0 {
			out = append(out, v)
		}
	}
	return out
}

// utc reads "2026-01-05 10:00" as UTC.
func utc(t *testing.T, text string) int64 {
	t.Helper()
	at, err := time.Parse("2006-01-02 15:04:05", text)
	if err != nil {
		at, err = time.Parse("2006-01-02 15:04", text)
	}
	require.NoError(t, err)
	return at.UnixMilli()
}

// rows writes a table: a header, then n rows, one a step, from a local stamp.
func rows(header, start, layout string, step time.Duration, n int, cells func(i int) string) string {
	var b strings.Builder
	b.WriteString(header + "\n")
	at, err := time.Parse("2006-01-02 15:04:05", start)
	if err != nil {
		panic(err)
	}
	for i := range n {
		fmt.Fprintf(&b, "%s,%s\n", at.Add(time.Duration(i)*step).Format(layout), cells(i))
	}
	return b.String()
}

// toml is a farm file with one log of one pattern.
func toml(glob, keys, columns string) string {
	return fmt.Sprintf("[[log]]\nfiles = [%q]\n%s\n[log.columns]\n%s\n", glob, keys, columns)
}
