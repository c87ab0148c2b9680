package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// smallLog is invented.
const smallLog = "Logger 7\nTime;Loop out (°C);Pump\n13.02.2026 10:00;30,5;0\n13.02.2026 10:10;-127;1\n13.02.2026 10:20;31,5;1\n13.02.2026 10:40;32,5;0\n13.02.2026 10:50;32,0;0\n"

func put(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	return path
}

// The whole text of one small file, read by a person and written down here.
func TestLookText(t *testing.T) {
	t.Setenv("TERM", "xterm")
	path := put(t, t.TempDir(), "yard.csv", smallLog)
	code, out, errs := try(t, "look", path)
	require.Zero(t, code, errs)
	require.Equal(t, `yard.csv
  written   UTF-8; semicolon between cells; decimal ","; header in line 2
  above it  Logger 7
  stamps    "Time" as DD.MM.YYYY hh:mm, zone not stated (day first: "13.02.2026 10:00" reads no
            other way)
  time      2026-02-13 10:00:00 to 2026-02-13 10:50:00; 5 rows, every 10 min; 1 gap, longest 20
            min

  Loop out (°C)  instant  ▁···▅···█▆  30.5 to 32.5 °C, 4 readings, 1 missing
                 → loop_out_temp (unit °C; the words "loop" and "out")
  Pump           state    ▁·█·█···▁▁  0 to 1, 5 readings
                 → loop_pump (two states; the words "yard" and "pump", in the file's name)

  Not settled by the file:
  ? nothing states the zone of the stamps. Assumed: the farm's timezone.
      zone = "Europe/Rome"   # or "UTC", "+01:00"; else the farm's timezone   (here: --zone)

  Problems:
  ! "Loop out (°C)": 1 reading is -127, which loggers write where they have no reading; counted
    as missing
`, out)
	t.Setenv("TERM", "dumb")
	_, out, _ = try(t, "look", path)
	require.NotContains(t, out, "█")
	require.Contains(t, out, "_   =   #+")
}

// The keys that interfaces name are all there, whatever they hold.
func TestLookJSON(t *testing.T) {
	code, out, errs := try(t, "look", "--json", put(t, t.TempDir(), "yard.csv", smallLog))
	require.Zero(t, code, errs)
	var got []map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &got))
	require.Len(t, got, 1)
	for _, key := range strings.Fields(`file sheet encoding separator decimal header_line first_row rows stamp first last interval_s gaps duplicates out_of_order columns unsure problems`) {
		require.Contains(t, got[0], key)
	}
	for _, key := range strings.Fields(`columns format zone because`) {
		require.Contains(t, got[0]["stamp"], key)
	}
	column := got[0]["columns"].([]any)[0].(map[string]any)
	for _, key := range strings.Fields(`name unit kind readings missing min max quantity because`) {
		require.Contains(t, column, key)
	}
	require.Equal(t, []any{5.0, 30.5, 32.5, 1.0, "2026-02-13T10:00:00"}, []any{got[0]["rows"], column["min"], column["max"], column["missing"], got[0]["first"]})
}

// What cannot be read: status 3 and a message that names the file and what to
// do; the files that can be are described all the same.
func TestLookRefuses(t *testing.T) {
	dir := t.TempDir()
	good := put(t, dir, "good.csv", smallLog)
	for _, c := range []struct{ path, want string }{
		{put(t, dir, "empty.csv", ""), "empty file"},
		{put(t, dir, "print.csv", "%PDF-1.4\n1 0 obj\n"), "PDF"},
		{put(t, dir, "binary.csv", "\x7fELF\x02\x01\x01\x00\x00\x00\x00\x00\xff\xfe\x00\x00\x01\x02"), "binary"},
		{dir, "folder"},
		{filepath.Join(dir, "absent.csv"), "no such file"},
	} {
		code, out, errs := try(t, "look", c.path, good)
		require.Equal(t, exitBadInput, code, c.path)
		require.Contains(t, errs, c.want)
		require.Contains(t, errs, c.path)
		require.Contains(t, out, "Loop out")
		code, out, _ = try(t, "look", "--json", c.path)
		require.Equal(t, exitBadInput, code)
		require.Equal(t, "[]\n", out)
	}
	for _, args := range [][]string{{"look"}, {"look", "--dates", "ydm", good}, {"look", "--zone", "Rome", good}, {"look", "--decimal", ";", good}} {
		code, _, errs := try(t, args...)
		require.Equal(t, exitUsage, code, args)
		require.Contains(t, errs, "look --help")
	}
}
