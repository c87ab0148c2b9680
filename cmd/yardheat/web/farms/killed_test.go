package farms

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const childEnv = "YARDHEAT_FARMS_CHILD"

// TestChild is no test: it is the program that TestKilledAtAnyMoment kills. It
// receives files and keeps them, and says each that was acknowledged.
func TestChild(t *testing.T) {
	dir := os.Getenv(childEnv)
	if dir == "" {
		t.Skip("only as a child of TestKilledAtAnyMoment")
	}
	h, err := Open(dir, DefaultLimits(), time.Now)
	require.NoError(t, err)
	f, err := h.Find("Upper Farm")
	require.NoError(t, err)
	for n := 0; ; n++ {
		names := map[string]string{}
		list := ""
		for i := range 3 {
			name := fmt.Sprintf("%d-%d-%d.csv", os.Getpid(), n, i)
			w, err := f.Receive(name, bytes.NewReader(bytes.Repeat([]byte(name), 3000)))
			require.NoError(t, err)
			fmt.Println("ack", w.ID, w.Name, w.SHA256)
			names[w.ID] = w.Name
			list += w.Name + "\n"
		}
		before, err := f.TOML()
		if err != nil {
			before = nil
		}
		require.NoError(t, f.Keep(names, before, append(bytes.Clone(before), list...)))
		fmt.Println("kept", strings.ReplaceAll(list, "\n", " "))
	}
}

// TestKilledAtAnyMoment kills the child at drawn moments: whatever it had
// acknowledged stands whole, and farm.toml names exactly the logs that are there.
func TestKilledAtAnyMoment(t *testing.T) {
	times := 30
	if testing.Short() {
		times = 6
	}
	h := home(t, DefaultLimits())
	f := newFarm(t, h)
	require.NoError(t, h.Close())
	draw := rand.New(rand.NewPCG(6, 28))
	acked := map[string]string{} // name → sum
	kept := map[string]bool{}
	for range times {
		lines := killedChild(t, h.dir, time.Duration(draw.IntN(100_000))*time.Microsecond)
		for _, line := range lines {
			words := strings.Fields(line)
			switch {
			case len(words) == 4 && words[0] == "ack":
				acked[words[2]] = words[3]
			case len(words) == 4 && words[0] == "kept":
				for _, name := range words[1:] {
					kept[name] = true
				}
			}
		}
		checkAfter(t, h.dir, f.dir, acked, kept)
	}
	require.NotEmpty(t, kept)
	t.Logf("%d kills, %d files acknowledged, %d kept", times, len(acked), len(kept))
}

// killedChild runs a child, kills it some time after its first line, and gives the
// whole lines that it said.
func killedChild(t *testing.T, dir string, after time.Duration) []string {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestChild$")
	cmd.Env = append(os.Environ(), childEnv+"="+dir)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	var lines []string
	scan := bufio.NewScanner(out)
	for scan.Scan() {
		lines = append(lines, scan.Text())
		if len(lines) == 1 {
			time.AfterFunc(after, func() { _ = cmd.Process.Kill() })
		}
	}
	_ = cmd.Wait() // it was killed
	return lines
}

func checkAfter(t *testing.T, home, dir string, acked map[string]string, kept map[string]bool) {
	t.Helper()
	h, err := Open(home, DefaultLimits(), time.Now)
	require.NoError(t, err)
	f, err := h.Find("Upper Farm")
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	stands := map[string]string{}
	waits, err := f.Waiting()
	require.NoError(t, err)
	for _, w := range waits {
		path, err := f.Content(w.ID)
		require.NoError(t, err)
		stands[w.Name] = sumOf(t, path)
		require.Equal(t, w.SHA256, stands[w.Name], "a waiting file is not whole")
		require.False(t, kept[w.Name], "%s waits and was kept", w.Name)
	}
	logs, err := f.Logs()
	require.NoError(t, err)
	var names []string
	for _, l := range logs {
		names = append(names, l.Name)
		stands[l.Name] = sumOf(t, filepath.Join(dir, l.Name))
	}
	for name, sum := range acked {
		require.Equal(t, sum, stands[name], "%s was acknowledged", name)
	}
	toml, err := f.TOML()
	if err != nil {
		require.ErrorIs(t, err, ErrNotFound)
	}
	listed := strings.Fields(string(toml))
	sort.Strings(listed)
	sort.Strings(names)
	require.Equal(t, names, append([]string(nil), listed...), "farm.toml and the logs differ: half a Keep is shown")
	for name := range kept {
		require.Contains(t, listed, name)
	}
	for name := range files(t, filepath.Join(dir, ownDir)) {
		require.False(t, strings.HasPrefix(name, partPrefix) || strings.HasPrefix(name, dropPrefix) || name == "keep.json", "left over: %s", name)
	}
}

func sumOf(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
