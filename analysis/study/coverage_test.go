//go:build study

package study

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var (
	farms  = flag.Int("farms", 1000, "how many farms TestCoverage draws")
	first  = flag.Int("first", 1, "the first of them")
	chunks = flag.String("chunks", "", "folder in which finished pieces are kept and looked for")
	out    = flag.String("out", "", "folder of the tables (default testdata/study of the repository)")
	made   = flag.String("made", "", "date and commit for the table's head (default today)")
	said   = flag.Bool("misses", false, "list every interval that misses")
)

// pieceSize farms are kept together.
const pieceSize = 10

// piece is farms from..to-1, from its file if it is there.
func piece(t *testing.T, from, to int) []Result {
	name := filepath.Join(*chunks, fmt.Sprintf("farms-%05d-%05d.json", from, to-1))
	var results []Result
	if b, err := os.ReadFile(name); *chunks != "" && err == nil {
		require.NoError(t, json.Unmarshal(b, &results), name)
		return results
	}
	for n := from; n < to; n++ {
		results = append(results, run(t, uint64(n)))
	}
	if *chunks != "" {
		b, err := json.Marshal(results)
		require.NoError(t, err)
		require.NoError(t, os.MkdirAll(*chunks, 0o755))
		require.NoError(t, os.WriteFile(name, b, 0o644))
	}
	return results
}

// pieces runs all pieces, two at a time (a farm's fit takes all cores, the rest
// of its way one), and returns them in order.
func pieces(t *testing.T, first, farms int) []Result {
	n := (farms + pieceSize - 1) / pieceSize
	got := make([][]Result, n)
	var wg sync.WaitGroup
	next := make(chan int)
	for range 2 {
		wg.Go(func() {
			for i := range next {
				a := first + i*pieceSize
				got[i] = piece(t, a, min(a+pieceSize, first+farms))
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	var all []Result
	for _, p := range got {
		all = append(all, p...)
	}
	return all
}

// write puts a table into testdata/study.
func write(t *testing.T, name, text string) {
	dir := *out
	if dir == "" {
		dir = filepath.Join("..", "..", "testdata", "study")
	}
	require.NoError(t, os.MkdirAll(dir, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
}

func head(title, command string) string {
	at := time.Now().UTC().Format(time.DateOnly)
	if *made != "" {
		at = *made
	}
	return fmt.Sprintf("# %s\n\nMeasured %s with `%s`. Simulated farms (invented, seeded; `ingest/simfarm`). Not edited by hand.\n\n",
		title, at, command)
}

func TestCoverage(t *testing.T) {
	results := pieces(t, *first, *farms)
	require.Len(t, results, *farms)
	text := head(fmt.Sprintf("Coverage over %d random farms", len(results)), fmt.Sprintf("go test -run Coverage -tags study -timeout 5h ./analysis/study -farms %d", *farms)) + table(results)
	if *said {
		t.Log(strings.Join(misses(results), "\n"))
	}
	t.Log("\n" + text)
	write(t, "coverage.md", text)
}
