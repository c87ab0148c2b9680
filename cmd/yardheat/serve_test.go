package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web/farms"
)

// screen is what the program printed so far.
type screen struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *screen) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(b)
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

var pageLink = regexp.MustCompile(`Page: +(http://(\S+)/enter\?key=\w+)`)

// serving runs the page until stop is called, which gives its error.
func serving(t *testing.T, dir string, f serveFlags) (out *screen, link, host string, stop func() error) {
	t.Helper()
	out = &screen{}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- newApp(nil, out, out).serve(ctx, dir, f) }()
	var once sync.Once
	var err error
	stop = func() error {
		once.Do(func() { cancel(); err = <-ended })
		return err
	}
	t.Cleanup(func() { assert.NoError(t, stop()) })
	require.Eventually(t, func() bool { return pageLink.MatchString(out.String()) }, 5*time.Second, 5*time.Millisecond)
	found := pageLink.FindStringSubmatch(out.String())
	return out, found[1], found[2], stop
}

func visitor(t *testing.T) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &http.Client{Jar: jar}
}

func fetch(t *testing.T, c *http.Client, link string) (int, string) {
	t.Helper()
	res, err := c.Get(link)
	require.NoError(t, err)
	defer func() { _ = res.Body.Close() }()
	b, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	return res.StatusCode, string(b)
}

func TestServeOnThisComputer(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "Yardheat")
	out, link, host, stop := serving(t, dir, serveFlags{listen: "127.0.0.1:0"})
	require.Contains(t, out.String(), "Stop:")
	require.Contains(t, out.String(), dir)
	require.NotContains(t, out.String(), "Password")
	status, body := fetch(t, visitor(t), link)
	require.Equal(t, http.StatusOK, status)
	require.Contains(t, body, "<h1>")
	status, _ = fetch(t, visitor(t), "http://"+host+"/")
	require.Equal(t, http.StatusUnauthorized, status)

	again := &screen{}
	require.NoError(t, newApp(nil, again, again).serve(context.Background(), dir, serveFlags{}))
	require.Contains(t, again.String(), link, "the second is pointed to the first")
	require.NoError(t, stop())
	_, err := net.Dial("tcp", host)
	require.Error(t, err)
	_, link2, _, _ := serving(t, dir, serveFlags{listen: "127.0.0.1:0"})
	require.NotEqual(t, link, link2)
}

func TestServeOnTheNetworkNeedsAPassword(t *testing.T) {
	out, link, host, _ := serving(t, t.TempDir(), serveFlags{listen: "0.0.0.0:0"})
	text := out.String()
	for _, want := range []string{"Password: ", "not encrypted", "read along", "network that you trust"} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "0.0.0.0")
	require.True(t, strings.HasPrefix(host, "127.0.0.1:"))
	_, port, _ := net.SplitHostPort(host)
	r, err := http.NewRequest(http.MethodGet, "http://"+host+"/", nil)
	require.NoError(t, err)
	for name, want := range map[string]int{"127.0.0.1": 401, "localhost": 401, "[::1]": 401, "0.0.0.0": 421, "farm.example": 421} {
		r.Host = name + ":" + port
		res, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		_ = res.Body.Close()
		require.Equal(t, want, res.StatusCode, name)
	}
	for _, u := range regexp.MustCompile(`(?m)^ {9}(http://\S+)$`).FindAllStringSubmatch(text, -1) {
		if res, err := http.Get(u[1] + "/"); err == nil { // not every address can be reached from here
			_ = res.Body.Close()
			require.Equal(t, 401, res.StatusCode, u[1])
		}
	}
	password := strings.TrimSpace(regexp.MustCompile(`Password: (.*)`).FindStringSubmatch(text)[1])
	c := visitor(t)
	res, err := c.PostForm("http://"+host+"/enter", map[string][]string{"password": {password}})
	require.NoError(t, err)
	_ = res.Body.Close()
	require.Equal(t, http.StatusOK, res.StatusCode)
	require.Equal(t, "/", res.Request.URL.Path)
	require.NotContains(t, link, password)
}

func TestParseListen(t *testing.T) {
	for text, want := range map[string]listenAt{
		"":                 {host: "127.0.0.1", port: ownPort, any: true},
		"localhost:8080":   {host: "127.0.0.1", port: 8080},
		"[::1]:8080":       {host: "::1", port: 8080},
		"::1":              {host: "::1", port: ownPort, any: true},
		":8080":            {port: 8080, network: true},
		"0.0.0.0":          {port: ownPort, any: true, network: true},
		"192.168.1.5:80":   {host: "192.168.1.5", port: 80, network: true},
		"127.5.5.5:1":      {host: "127.5.5.5", port: 1},
		"[::]:28417":       {port: 28417, network: true},
		"fd00::5":          {host: "fd00::5", port: ownPort, any: true, network: true},
		"169.254.1.1:9999": {host: "169.254.1.1", port: 9999, network: true},
	} {
		got, err := parseListen(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	}
	for _, text := range []string{"farm.example:80", "127.0.0.1:99999", "127.0.0.1:x", "a b"} {
		_, err := parseListen(text)
		require.Error(t, err, text)
	}
	require.Equal(t, []string{"192.168.1.5:80", "192.168.1.5"}, listenAt{host: "192.168.1.5"}.where(80).hosts)
}

// TestServePortTaken: the page's own port is another program's, and another will do.
func TestServePortTaken(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { _ = l.Close() }()
	port := l.Addr().(*net.TCPAddr).Port
	other, err := listenAt{host: "127.0.0.1", port: port, any: true}.open(context.Background())
	require.NoError(t, err)
	require.NotEqual(t, port, other.Addr().(*net.TCPAddr).Port)
	require.NoError(t, other.Close())
	_, err = listenAt{host: "127.0.0.1", port: port}.open(context.Background())
	require.Error(t, err, "asked for by name")
}

// TestServeKilled runs the program itself: after a kill the folder is free.
func TestServeKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program")
	}
	exe := filepath.Join(t.TempDir(), "yardheat.exe")
	build, err := exec.Command("go", "build", "-o", exe, ".").CombinedOutput()
	require.NoError(t, err, string(build))
	dir := t.TempDir()
	run := func(end os.Signal) (string, error) {
		cmd := exec.Command(exe, "serve", dir, "--listen", "127.0.0.1:0")
		out := &screen{}
		cmd.Stdout, cmd.Stderr = out, out
		require.NoError(t, cmd.Start())
		require.Eventually(t, func() bool { return pageLink.MatchString(out.String()) }, 10*time.Second, 5*time.Millisecond, out)
		require.NoError(t, cmd.Process.Signal(end))
		err := cmd.Wait()
		return out.String(), err
	}
	_, err = run(os.Kill)
	require.Error(t, err)
	text, err := run(os.Interrupt)
	require.NoError(t, err, text)
	require.Contains(t, text, "Stopping")
}

// TestServeStopsDuringAnUpload: what was not acknowledged leaves nothing behind.
func TestServeStopsDuringAnUpload(t *testing.T) {
	dir := t.TempDir()
	_, link, host, stop := serving(t, dir, serveFlags{listen: "127.0.0.1:0"})
	c := visitor(t)
	_, body := fetch(t, c, link)
	token := regexp.MustCompile(`yardheat-token" content="(\w+)"`).FindStringSubmatch(body)[1]
	res, err := c.PostForm("http://"+host+"/farms", map[string][]string{"token": {token}, "name": {"Hof"}})
	require.NoError(t, err)
	_ = res.Body.Close()
	pr, pw := io.Pipe()
	m := multipart.NewWriter(pw)
	r, err := http.NewRequest(http.MethodPost, "http://"+host+"/farm/Hof/logs/files", pr)
	require.NoError(t, err)
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("X-Yardheat-Token", token)
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	ended := make(chan error, 1)
	go func() {
		res, err := c.Do(r)
		if err == nil {
			_ = res.Body.Close()
			if res.StatusCode == http.StatusNotFound {
				err = errNoLogsPage
			}
		}
		ended <- err
	}()
	w, err := m.CreateFormFile("files", "yard.csv")
	if err == nil {
		_, err = io.WriteString(w, strings.Repeat("x", 100_000))
	}
	if err != nil {
		t.Skip("the logs page is not there")
	}
	select {
	case err := <-ended: // the answer that there is no such page
		require.ErrorIs(t, err, errNoLogsPage)
		t.Skip("the logs page is not there")
	case <-time.After(200 * time.Millisecond):
	}
	go func() { time.Sleep(300 * time.Millisecond); _ = m.Close(); _ = pw.Close() }()
	require.NoError(t, stop())
	acknowledged := <-ended == nil
	t.Logf("acknowledged: %v", acknowledged)
	entries, err := os.ReadDir(filepath.Join(dir, "Hof", ".yardheat", "new"))
	require.NoError(t, err)
	require.Equal(t, acknowledged, len(entries) == 1)
}

var errNoLogsPage = errors.New("there is no logs page")

// TestReportKilled kills the program while it writes a report where the page has
// its reports: none is shown then, or a whole one, and the next start clears up.
func TestReportKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program and makes reports")
	}
	exe := filepath.Join(t.TempDir(), "yardheat.exe")
	build, err := exec.Command("go", "build", "-o", exe, ".").CombinedOutput()
	require.NoError(t, err, string(build))
	dir := filepath.Join(t.TempDir(), "farm")
	out, err := exec.Command(exe, "demo", dir).CombinedOutput()
	require.NoError(t, err, string(out))
	draw := rand.New(rand.NewPCG(6, 9))
	whole := 0
	for n := range 3 {
		place := filepath.Join(dir, "reports", fmt.Sprintf("2026-11-28-0915%02d", n))
		cmd := exec.Command(exe, "report", dir, "--out", place)
		require.NoError(t, cmd.Start())
		unfinished := filepath.Join(filepath.Dir(place), "."+filepath.Base(place)+".yardheat-new")
		require.Eventually(t, func() bool { // the moments that matter are those of writing
			_, err := os.Stat(unfinished)
			return err == nil
		}, time.Minute, time.Millisecond)
		time.Sleep(time.Duration(draw.IntN(1000)) * time.Millisecond)
		_ = cmd.Process.Kill()
		_ = cmd.Wait() // it was killed, or was done already
		store, err := farms.Open(dir, farms.DefaultLimits(), time.Now)
		require.NoError(t, err)
		names, err := store.List()
		require.NoError(t, err)
		f, err := store.Find(names[0])
		require.NoError(t, err)
		all, err := f.Reports()
		require.NoError(t, err)
		whole = len(all)
		for _, r := range all {
			requireWhole(t, r.Dir)
		}
		require.NoDirExists(t, unfinished)
		require.NoError(t, store.Close())
	}
	t.Logf("%d of 3 were whole, with the one of the demo %d", whole-1, whole)
}

// requireWhole holds a report's files against its sources.json.
func requireWhole(t *testing.T, dir string) {
	t.Helper()
	var s struct {
		Report []struct{ Name, SHA256 string }
	}
	b, err := os.ReadFile(filepath.Join(dir, "sources.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, &s))
	require.NotEmpty(t, s.Report)
	for _, f := range s.Report {
		b, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(f.Name)))
		require.NoError(t, err)
		require.Equal(t, f.SHA256, fmt.Sprintf("%x", sha256.Sum256(b)), f.Name)
	}
}
