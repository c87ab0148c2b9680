package ingest

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/logs"
)

func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// minutes are the rows of an invented log.
func minutes(header string, n int) string {
	var b strings.Builder
	b.WriteString("time;" + header + "\n")
	for i := range n {
		fmt.Fprintf(&b, "2026-02-01 %02d:%02d:00;%d.5\n", i/60, i%60, 20+i%10)
	}
	return b.String()
}

// Whoever is to repeat a run needs every file that was read: also those that
// moved no figure, for the report has a sentence on them.
func TestOriginalsAreAllFilesRead(t *testing.T) {
	fs := files{
		"farm.toml": `[[log]]
files = ["*.csv"]
zone = "UTC"
[log.columns]
"Loop out [C]" = "loop_out_temp"
[milkings]
file = "lists/milk.csv"
[milkings.columns]
date = "day"
`,
		"lists/milk.csv": "day;litres\n2026-02-01;100\n2026-02-13;90\n",
		"a.csv":          minutes("Loop out [C]", 200),
		"b-twice.csv":    minutes("Loop out [C]", 200),
		"c-empty.csv":    "",
		"d-other.csv":    minutes("Humidity", 200),
		"sub/e.csv":      minutes("Loop out [C]", 10), // not named by the pattern
		"old.csv":        "PK… " + logs.BundleMark,
	}
	for _, streamFrom := range []int64{1 << 20, 1} {
		opt := options()
		opt.StreamBytes = streamFrom
		rec, err := Load(write(t, fs), opt)
		require.NoError(t, err)
		fs["farm.toml"] = romeFarm + strings.TrimPrefix(fs["farm.toml"], romeFarm) // as write has it
		got := map[string]Own{}
		for _, o := range rec.Originals {
			got[o.Name] = o
		}
		require.Len(t, got, 6)
		require.Len(t, rec.Originals, 6)
		for _, name := range []string{"a.csv", "b-twice.csv", "c-empty.csv", "d-other.csv", "farm.toml", "lists/milk.csv"} {
			want := hashOf(fs[name])
			if name == "d-other.csv" && streamFrom == 1 {
				want = "" // its head was read and named no column
			}
			require.Equal(t, Own{Name: name, SizeB: int64(len(fs[name])), SHA256: want}, got[name], name)
		}
	}
}
