package desktop

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestOnMac(t *testing.T) {
	terminal := os.ModeDevice | os.ModeCharDevice
	s := start{args: []string{"/Users/ann/Downloads/yardheat"}, home: "/Users/ann", folder: "/Users/ann", in: terminal, out: terminal}
	require.True(t, onMac(s), "as the file manager starts it in a terminal")
	typed := s
	typed.args = []string{"yardheat"}
	require.False(t, onMac(typed), "typed, found on the path")
	typed = s
	typed.args = append(typed.args, "report")
	require.False(t, onMac(typed), "with an argument")
	typed = s
	typed.folder = "/Users/ann/farm"
	require.False(t, onMac(typed), "in another folder")
	require.True(t, onMac(start{args: []string{"yardheat"}}), "from a bundle: no terminal")
	require.False(t, onMac(start{args: []string{"yardheat"}, in: os.ModeNamedPipe}), "in a pipe")
}

func TestOnDesktop(t *testing.T) {
	require.True(t, onDesktop(start{args: []string{"yardheat"}, display: true}))
	require.False(t, onDesktop(start{args: []string{"yardheat"}}), "no display")
	require.False(t, onDesktop(start{args: []string{"yardheat", "demo"}, display: true}))
	require.False(t, onDesktop(start{args: []string{"yardheat"}, display: true, in: os.ModeDevice | os.ModeCharDevice}))
	require.False(t, onDesktop(start{args: []string{"yardheat"}, display: true, out: os.ModeNamedPipe}))
	null, err := os.Open(os.DevNull)
	require.NoError(t, err)
	defer null.Close()
	require.Zero(t, modeOf(null), "the null device is no terminal")
}

func TestOnlyOurPagesAreOpened(t *testing.T) {
	for _, page := range []string{"http://127.0.0.1:8080/enter?key=0a1b", "http://localhost:1/", "http://[::1]:8080/"} {
		require.NoError(t, ours(page), page)
	}
	for _, page := range []string{"", "file:///etc/passwd", "https://example.org/", "http://example.org:80/", "http://127.0.0.1/", "http://127.0.0.1.example.org:1/",
		"http://127.0.0.1:80/a b", "http://127.0.0.1:80/\"x", "http://a@127.0.0.1:80/", "--help", "javascript:alert(1)", "http://127.0.0.1:80/\x01", "http://127.0.0.1:80/ü"} {
		require.Error(t, OpenBrowser(page), page)
	}
	name, args := browser("http://127.0.0.1:8080/")
	require.NotEmpty(t, name)
	require.Equal(t, "http://127.0.0.1:8080/", args[len(args)-1])
}
