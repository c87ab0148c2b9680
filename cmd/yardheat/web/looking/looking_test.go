package looking

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func write(t *testing.T, name, text string) Ask {
	path := filepath.Join(t.TempDir(), "content")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return Ask{Path: path, Name: name, Hash: name + fmt.Sprint(len(text)), SizeB: int64(len(text))}
}

func csv(rows int) string {
	var b strings.Builder
	b.WriteString("Time;Loop out [°C]\n")
	for i := range rows {
		fmt.Fprintf(&b, "%02d.01.2026 %02d:00;%d,5\n", 1+i/24, i%24, 20+i%7)
	}
	return b.String()
}

func TestAskedOnceAndKept(t *testing.T) {
	l := New(Options{})
	a := write(t, "loop.csv", csv(400))
	first := l.Wait(a, time.Minute)
	require.NotNil(t, first)
	require.Nil(t, first.Fault)
	require.Len(t, first.Tables, 1)
	assert.Equal(t, 400, first.Tables[0].Rows)
	assert.Equal(t, "Time;Loop out [°C]", first.Head[0])
	assert.Same(t, first, l.Get(a), "the second asker gets the same description")
	a.Dates = "mdy"
	other := l.Wait(a, time.Minute)
	require.NotNil(t, other)
	assert.NotSame(t, first, other, "read in another way it is another description")
}

func TestFaultNamesItsLine(t *testing.T) {
	l := New(Options{})
	for name, text := range map[string]string{"empty.csv": "", "page.html": "<!DOCTYPE html><html><body>log in</body></html>", "bytes.bin": "\x00\x01\x02\xff\xfe\x00"} {
		f := l.Wait(write(t, name, text), time.Minute)
		require.NotNil(t, f)
		require.NotNil(t, f.Fault, name)
		assert.Equal(t, name, f.Fault.File)
		assert.NotEmpty(t, f.Fault.Do, name)
	}
}

func TestAPanicIsAFault(t *testing.T) {
	said := ""
	l := New(Options{Explain: func(s string) { said = s }, Now: func() time.Time { panic("a clock that breaks") }})
	f := l.Wait(write(t, "loop.csv", csv(10)), time.Minute)
	require.NotNil(t, f)
	require.NotNil(t, f.Fault)
	assert.Contains(t, said, "a clock that breaks")
}

func TestNoMoreThanTwoAtOnceAndOldestForgotten(t *testing.T) {
	var mu sync.Mutex
	now, most := 0, 0
	l := New(Options{AtOnce: 2, Keep: 3, Now: func() time.Time {
		mu.Lock()
		now++
		most = max(most, now)
		mu.Unlock()
		time.Sleep(5 * time.Millisecond)
		mu.Lock()
		now--
		mu.Unlock()
		return time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	}})
	asks := make([]Ask, 8)
	for i := range asks {
		asks[i] = write(t, fmt.Sprintf("f%d.csv", i), csv(5))
		l.Get(asks[i])
	}
	for _, a := range asks {
		require.NotNil(t, l.Wait(a, time.Minute))
	}
	assert.Equal(t, 2, most)
	for _, a := range asks {
		require.NotNil(t, l.Wait(a, time.Minute))
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	assert.LessOrEqual(t, len(l.all), 3)
	assert.Equal(t, l.order.Len(), len(l.all))
}

func TestExcerpt(t *testing.T) {
	head, lines := excerpt(strings.NewReader("a\r\nb\rc\nd\n\nf"), map[int]bool{4: true, 6: true, 9: true})
	assert.Equal(t, []string{"a", "b", "c"}, head)
	assert.Equal(t, map[int]string{4: "d", 6: "f"}, lines)
	_, lines = excerpt(strings.NewReader("h\n"+strings.Repeat("x", 3<<20)+"\nend"), map[int]bool{2: true, 3: true})
	assert.Len(t, []rune(lines[2]), mostRunes+1)
	assert.Equal(t, "end", lines[3])
	head, _ = excerpt(strings.NewReader("PK\x03\x04zip"), nil)
	assert.Nil(t, head)
	head, _ = excerpt(strings.NewReader("Temp \xb0C"), nil)
	assert.Equal(t, []string{"Temp °C"}, head)
}
