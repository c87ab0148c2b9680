package web

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web/farms"
)

// rig is the page over a real listener, and a browser that was let in.
type rig struct {
	t      *testing.T
	s      *Server
	base   string // http://127.0.0.1:port
	host   string
	dir    string
	client *http.Client
	token  string
}

const uploadPath = "/test/upload/Hof"

func newRig(t *testing.T, change func(*Options), limits farms.Limits) *rig {
	t.Helper()
	return newRigHead(t, change, limits, 10*time.Second)
}

// newRigHead gives a request's head so long.
func newRigHead(t *testing.T, change func(*Options), limits farms.Limits, head time.Duration) *rig {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "farms")
	store, err := farms.Open(dir, limits, time.Now)
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	host := l.Addr().String()
	opt := Options{Store: store, Key: "the-key", Hosts: []string{host}, Version: "test", Now: time.Now}
	if change != nil {
		change(&opt)
	}
	s, err := New(opt)
	require.NoError(t, err)
	mux := http.NewServeMux()
	mux.HandleFunc("POST /test/upload/{farm}", func(w http.ResponseWriter, r *http.Request) {
		if f, ok := s.farm(w, r); ok {
			got, err := s.receiveFiles(w, r, f)
			s.answerReceived(w, r, got, err, "/done")
		}
	})
	mux.Handle("/", s.routes())
	srv := &http.Server{Handler: s.guard(mux), ReadHeaderTimeout: head}
	go func() { _ = srv.Serve(l) }()
	t.Cleanup(func() {
		assert.NoError(t, s.Close(context.Background()))
		assert.NoError(t, srv.Close())
		assert.NoError(t, store.Close())
	})
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	g := &rig{t: t, s: s, base: "http://" + host, host: host, dir: dir}
	g.client = &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	g.enter()
	status, body := g.post("/farms", url.Values{"name": {"Hof"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	return g
}

// listenHere opens one more address for the page.
func listenHere(t *testing.T, s *Server) net.Listener {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s.opt.Hosts = append(s.opt.Hosts, l.Addr().String())
	return l
}

var metaToken = regexp.MustCompile(`name="yardheat-token" content="([0-9a-f]{64})"`)

func (g *rig) enter() {
	g.t.Helper()
	status, _ := g.get("/enter?key=the-key")
	require.Equal(g.t, http.StatusSeeOther, status)
	_, body := g.get("/display")
	found := metaToken.FindStringSubmatch(body)
	require.NotNil(g.t, found)
	g.token = found[1]
}

func (g *rig) do(r *http.Request) (int, string) {
	g.t.Helper()
	res, err := g.client.Do(r)
	require.NoError(g.t, err)
	defer func() { _ = res.Body.Close() }()
	b, err := io.ReadAll(res.Body)
	require.NoError(g.t, err)
	return res.StatusCode, string(b)
}

func (g *rig) request(method, path string, body io.Reader) *http.Request {
	g.t.Helper()
	r, err := http.NewRequest(method, g.base+path, body)
	require.NoError(g.t, err)
	return r
}

func (g *rig) get(path string) (int, string) {
	g.t.Helper()
	return g.do(g.request(http.MethodGet, path, nil))
}

func (g *rig) post(path string, v url.Values) (int, string) {
	g.t.Helper()
	v.Set("token", g.token)
	return g.do(g.formRequest(path, v))
}

func (g *rig) formRequest(path string, v url.Values) *http.Request {
	g.t.Helper()
	r := g.request(http.MethodPost, path, strings.NewReader(v.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return r
}

// file is one part of an upload.
type file struct{ name, text string }

func sentForm(token string, files ...file) (body *bytes.Buffer, kind string) {
	body = &bytes.Buffer{}
	m := multipart.NewWriter(body)
	if token != "" {
		_ = m.WriteField("token", token)
	}
	for _, f := range files {
		w, _ := m.CreateFormFile("files", f.name)
		_, _ = io.WriteString(w, f.text)
	}
	_ = m.Close()
	return body, m.FormDataContentType()
}

type answer struct {
	Files []receivedFile
	Error string
}

// upload sends files as the page's script does.
func (g *rig) upload(path string, files ...file) (int, answer) {
	g.t.Helper()
	body, kind := sentForm("", files...)
	r := g.request(http.MethodPost, path, body)
	r.Header.Set("Content-Type", kind)
	r.Header.Set("X-Yardheat-Token", g.token)
	r.Header.Set("Accept", "application/json")
	status, text := g.do(r)
	var a answer
	require.NoError(g.t, json.Unmarshal([]byte(text), &a), text)
	return status, a
}

func (g *rig) snapshot() map[string]string {
	g.t.Helper()
	all := map[string]string{}
	require.NoError(g.t, filepath.WalkDir(g.dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == "lock" {
			return err
		}
		b, err := os.ReadFile(path)
		all[path] = string(b)
		return err
	}))
	return all
}

func (g *rig) waiting() []farms.Waiting {
	g.t.Helper()
	f, err := g.s.opt.Store.Find("Hof")
	require.NoError(g.t, err)
	all, err := f.Waiting()
	require.NoError(g.t, err)
	return all
}

func TestReboundHostIsRefused(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	for _, host := range []string{"evil.example", "evil.example:" + strings.Split(g.host, ":")[1], "127.0.0.1", "127.0.0.1:1", "", "localhost.evil.example", g.host + ".evil.example"} {
		for _, path := range []string{"/", "/enter?key=the-key", "/assets/page.css", "/nowhere"} {
			r := g.request(http.MethodGet, path, nil)
			r.Host = host
			if host == "" {
				continue // HTTP/1.1 without Host: below
			}
			status, _ := g.do(r)
			require.Equal(t, http.StatusMisdirectedRequest, status, "%s %s", host, path)
		}
		r := g.formRequest("/farms", url.Values{"name": {"Evil"}, "token": {g.token}})
		if r.Host = host; host != "" {
			r.Header.Set("Origin", "http://"+host)
			r.Header.Set("Sec-Fetch-Site", "same-origin")
			status, _ := g.do(r)
			require.Equal(t, http.StatusMisdirectedRequest, status, host)
		}
	}
	require.Contains(t, g.raw("GET / HTTP/1.0\r\n\r\n"), " 421 ")
	require.Contains(t, g.raw("GET / HTTP/1.1\r\n\r\n"), " 400 ")
	require.NoDirExists(t, filepath.Join(g.dir, "Evil"))
}

// raw sends bytes and gives what came back until the server closed, or 2 s.
func (g *rig) raw(text string) string {
	g.t.Helper()
	c, err := net.Dial("tcp", g.host)
	require.NoError(g.t, err)
	defer func() { _ = c.Close() }()
	_, err = io.WriteString(c, text)
	require.NoError(g.t, err)
	require.NoError(g.t, c.SetReadDeadline(time.Now().Add(2*time.Second)))
	b, _ := io.ReadAll(c)
	return string(b)
}

func TestCrossOriginPostIsRefused(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	for _, h := range []map[string]string{
		{"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}, {"Sec-Fetch-Site": "nonsense"},
		{"Origin": "http://evil.example"}, {"Origin": "null"}, {"Origin": "http://127.0.0.1:1"}, {"Origin": "http://localhost"},
		{"Sec-Fetch-Site": "cross-site", "Origin": g.base},
	} {
		for _, path := range []string{"/farms", "/enter", "/leave", "/display", uploadPath} {
			r := g.formRequest(path, url.Values{"name": {"Evil"}, "token": {g.token}, "password": {"x"}})
			for k, v := range h {
				r.Header.Set(k, v)
			}
			status, _ := g.do(r)
			require.Equal(t, http.StatusForbidden, status, "%v %s", h, path)
		}
	}
	require.NoDirExists(t, filepath.Join(g.dir, "Evil"))
	r := g.formRequest("/farms", url.Values{"name": {"Good"}, "token": {g.token}})
	r.Header.Set("Origin", g.base)
	status, _ := g.do(r)
	require.Equal(t, http.StatusSeeOther, status)
	for _, method := range []string{http.MethodOptions, http.MethodPut, http.MethodDelete, http.MethodPatch, "TRACE"} {
		r := g.request(method, "/farms", nil)
		r.Header.Set("Origin", g.base)
		r.Header.Set("X-Yardheat-Token", g.token)
		res, err := g.client.Do(r)
		require.NoError(t, err)
		_ = res.Body.Close()
		require.Equal(t, http.StatusMethodNotAllowed, res.StatusCode, method)
		require.Empty(t, res.Header.Get("Access-Control-Allow-Origin"))
	}
}

func TestCookieAndToken(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	good := g.client.Jar.Cookies(g.request(http.MethodGet, "/", nil).URL)[0]
	name := func(n string) url.Values { return url.Values{"name": {n}, "token": {g.token}} }
	for what, cookie := range map[string]string{"none": "", "wrong": strings.Repeat("0", 64), "cut": good.Value[:63]} {
		for _, r := range []*http.Request{g.request(http.MethodGet, "/", nil), g.request(http.MethodGet, "/farm/Hof", nil), g.formRequest("/farms", name("Evil")), g.request(http.MethodGet, "/enter?key=wrong", nil), g.request(http.MethodGet, "/enter?key=", nil)} {
			if cookie != "" {
				r.AddCookie(&http.Cookie{Name: good.Name, Value: cookie})
			}
			res, err := (&http.Client{CheckRedirect: g.client.CheckRedirect}).Do(r)
			require.NoError(t, err)
			_ = res.Body.Close()
			require.Equal(t, http.StatusUnauthorized, res.StatusCode, "%s %s", what, r.URL)
			require.Empty(t, res.Header.Values("Set-Cookie"))
		}
	}
	other := newSession(t, g)
	for _, token := range []string{"", "x", strings.Repeat("0", 64), other, g.token[:63]} {
		v := name("Evil")
		v.Set("token", token)
		status, body := g.do(g.formRequest("/farms", v))
		require.Equal(t, http.StatusForbidden, status)
		require.NotContains(t, body, g.token+g.token)
		b, kind := sentForm(token, file{"a.csv", "x"})
		r := g.request(http.MethodPost, uploadPath, b)
		r.Header.Set("Content-Type", kind)
		status, _ = g.do(r)
		require.Equal(t, http.StatusForbidden, status, "%q", token)
	}
	for _, kind := range []string{"", "text/plain", "application/json", "multipart/form-data", "multipart/form-data; boundary=", "multipart/mixed; boundary=x"} {
		r := g.request(http.MethodPost, "/farms", strings.NewReader("name=Evil&token="+g.token))
		r.Header.Set("Content-Type", kind)
		status, _ := g.do(r)
		require.Equal(t, http.StatusForbidden, status, kind)
	}
	r := g.formRequest("/farms?token="+g.token, url.Values{"name": {"Evil"}})
	status, _ := g.do(r)
	require.Equal(t, http.StatusForbidden, status, "a token in the address does not count")
	require.NoDirExists(t, filepath.Join(g.dir, "Evil"))
	require.Empty(t, g.waiting())

	b, kind := sentForm(g.token, file{"a.csv", "x"}, file{"b.csv", "y"})
	r = g.request(http.MethodPost, uploadPath, b)
	r.Header.Set("Content-Type", kind)
	status, _ = g.do(r)
	require.Equal(t, http.StatusSeeOther, status)
	require.Len(t, g.waiting(), 2)
	status, _ = g.post("/leave", url.Values{})
	require.Equal(t, http.StatusSeeOther, status)
	status, _ = g.get("/")
	require.Equal(t, http.StatusUnauthorized, status)
}

// newSession is another browser's token.
func newSession(t *testing.T, g *rig) string {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	o := *g
	o.client = &http.Client{Jar: jar, CheckRedirect: g.client.CheckRedirect}
	o.enter()
	require.NotEqual(t, g.token, o.token)
	return o.token
}

func TestReadingChangesNothing(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	_, a := g.upload(uploadPath, file{"a.csv", "x"})
	require.Len(t, a.Files, 1)
	before := g.snapshot()
	for _, method := range []string{http.MethodGet, http.MethodHead} {
		for _, path := range append(readPaths, "/farms?name=Evil&token="+g.token, "/leave?token="+g.token, uploadPath, "/farm/Hof/logs/drop?id="+a.Files[0].ID,
			"/farm/Hof/keep", "/farm/Hof/work", "/farm/Hof/reports/drop") {
			g.do(g.request(method, path, nil))
		}
	}
	require.Equal(t, before, g.snapshot())
	status, _ := g.get("/")
	require.Equal(t, http.StatusOK, status, "still let in")
}

// readPaths are addresses of every kind.
var readPaths = []string{"/", "/display", "/farm/Hof", "/farm/Hof/logs", "/farm/Hof/figures", "/farm/Hof/reports", "/farm/Hof/today", "/farm/Hof/logs/state", "/farm/Hof/logs/kept", "/farm/Hof/file", "/farm/Hof/work", "/farm/Hof/work/1", "/farm/Hof/compare", "/farm/Hof/reports/..", "/farm/None", "/licences",
	"/nowhere", "/enter", "/assets/page.css", "/assets/page.js", "/assets/", "/assets/none", "/farm/..%2f..%2fetc", "/farm/%00", "/assets/..%2fserver.go"}

func TestPolicyEverywhere(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	stranger := &http.Client{CheckRedirect: g.client.CheckRedirect}
	for _, client := range []*http.Client{g.client, stranger} {
		for _, path := range readPaths {
			res, err := client.Do(g.request(http.MethodGet, path, nil))
			require.NoError(t, err)
			b, err := io.ReadAll(res.Body)
			require.NoError(t, err)
			_ = res.Body.Close()
			require.Less(t, res.StatusCode, 500, path)
			csp := res.Header.Get("Content-Security-Policy")
			require.True(t, strings.HasPrefix(csp, "default-src 'none'"), path)
			require.NotContains(t, csp, "unsafe", path)
			require.Contains(t, csp, "frame-ancestors 'none'", path)
			require.Equal(t, "nosniff", res.Header.Get("X-Content-Type-Options"), path)
			require.Equal(t, "no-store", res.Header.Get("Cache-Control"), path)
			require.Empty(t, res.Header.Get("Access-Control-Allow-Origin"), path)
			require.NotContains(t, string(b), "<pre>", path+": a list of a folder")
			if strings.HasPrefix(res.Header.Get("Content-Type"), "text/html") {
				require.Empty(t, inline(string(b)), path)
			}
		}
	}
}

// scriptTag, and inline what the policy would stop: scripts and styles in the page.
var (
	scriptTag = regexp.MustCompile(`(?i)<script\b[^>]*>`)
	badMarkup = regexp.MustCompile(`(?is)<style\b|<[a-z][^>]*\sstyle\s*=|<[a-z][^>]*\son[a-z]+\s*=|javascript:|<(iframe|object|embed|base)\b|<[a-z][^>]*\s(src|href|action|formaction)\s*=\s*["']?(https?:)?//`)
)

func inline(page string) []string {
	all := badMarkup.FindAllString(page, -1)
	for _, tag := range scriptTag.FindAllString(page, -1) {
		if !strings.Contains(tag, `src="/assets/`) {
			all = append(all, tag)
		}
	}
	return all
}

var postForm = regexp.MustCompile(`(?is)<form\b[^>]*method="post"[^>]*>(.*?)</form>`)

func TestTemplatesHoldNoScriptAndEveryFormItsToken(t *testing.T) {
	require.Len(t, inline(`<p onclick="x"><style>`), 2)
	require.Len(t, inline(`<script>x</script>`), 1)
	require.Len(t, inline(`<a href="https://example.org/"><img src="//x">`), 2)
	names, err := fs.Glob(pageFiles, "pages/*.tmpl")
	require.NoError(t, err)
	forms := 0
	for _, name := range names {
		b, err := pageFiles.ReadFile(name)
		require.NoError(t, err)
		require.Empty(t, inline(string(b)), name)
		for _, f := range postForm.FindAllStringSubmatch(string(b), -1) {
			if strings.Contains(f[0], `action="/enter"`) {
				continue
			}
			forms++
			require.True(t, strings.HasPrefix(strings.TrimSpace(f[1]), `{{template "token" `), "%s: a form whose first field is not the token: %s", name, f[0])
		}
	}
	require.GreaterOrEqual(t, forms, 3)
}

func TestUploadLimits(t *testing.T) {
	limits := farms.Limits{FileB: 1000, Files: 6, NameRune: 120, TotalB: 10_000}
	g := newRig(t, func(o *Options) {
		o.Limits = DefaultLimits()
		o.Limits.RequestB, o.Limits.Parts = 40_000, 8
	}, limits)
	big := strings.Repeat("x", 1001)
	status, a := g.upload(uploadPath, file{"a.csv", "1"}, file{"big.csv", big}, file{"evil.exe", "MZ"}, file{"CON", "x"}, file{"plain", "2"}, file{"../up.txt", "3"}, file{"x.csv.exe.", "MZ"})
	require.Equal(t, http.StatusOK, status)
	require.Len(t, a.Files, 7)
	for i, want := range []bool{true, false, false, false, true, true, false} {
		require.Equal(t, want, a.Files[i].Error == "", "%+v", a.Files[i])
		require.Equal(t, want, a.Files[i].ID != "")
	}
	require.Len(t, g.waiting(), 3)
	many := make([]file, 9)
	for i := range many {
		many[i] = file{fmt.Sprintf("m%d.csv", i), "x"}
	}
	status, a = g.upload(uploadPath, many...)
	require.Equal(t, http.StatusBadRequest, status)
	require.Contains(t, a.Error, "more fields or files")
	require.Len(t, g.waiting(), 6, "no more than may wait")
	status, a = g.upload(uploadPath, file{"huge.csv", strings.Repeat("x", 50_000)})
	require.Equal(t, http.StatusRequestEntityTooLarge, status)
	require.NotEmpty(t, a.Error)
	require.Len(t, g.waiting(), 6)
	status, _ = g.post("/farms", url.Values{"name": {strings.Repeat("x", 2<<20)}})
	require.Equal(t, http.StatusRequestEntityTooLarge, status)

	head := "--b\r\nContent-Disposition: form-data; name=\"f\"; filename=\"a.csv\"\r\nX: " + strings.Repeat("y", 200_000)
	r := g.request(http.MethodPost, uploadPath, strings.NewReader(head+"\r\n\r\nx\r\n--b--\r\n"))
	r.Header.Set("Content-Type", "multipart/form-data; boundary=b")
	r.Header.Set("X-Yardheat-Token", g.token)
	status, _ = g.do(r)
	require.GreaterOrEqual(t, status, 400)
	require.Len(t, g.waiting(), 6)
	for _, path := range g.snapshotParts() {
		require.Fail(t, "left over: "+path)
	}
}

func (g *rig) snapshotParts() []string {
	var left []string
	for path := range g.snapshot() {
		if strings.Contains(path, "part-") || strings.Contains(path, "drop-") {
			left = append(left, path)
		}
	}
	return left
}

// TestSlowClients: a head or a body that hardly moves is cut; a slow line that
// moves is not.
func TestSlowClients(t *testing.T) {
	g := newRigHead(t, func(o *Options) {
		o.Limits = DefaultLimits()
		o.Limits.StepB, o.Limits.Step = 200, 400*time.Millisecond
	}, farms.DefaultLimits(), 300*time.Millisecond)
	start := time.Now()
	g.raw("GET / HTTP/1.1\r\nHost: " + g.host + "\r\nX-A: 1\r\n")
	require.Less(t, time.Since(start), 1500*time.Millisecond, "a head that never ends")

	body, kind := sentForm("", file{"slow.csv", strings.Repeat("x", 3000)})
	send := func(pieceB int, pause time.Duration) string {
		c, err := net.Dial("tcp", g.host)
		require.NoError(t, err)
		defer func() { _ = c.Close() }()
		cookie := g.client.Jar.Cookies(g.request(http.MethodGet, "/", nil).URL)[0]
		_, err = fmt.Fprintf(c, "POST %s HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\nX-Yardheat-Token: %s\r\nAccept: application/json\r\nContent-Type: %s\r\nContent-Length: %d\r\nConnection: close\r\n\r\n",
			uploadPath, g.host, cookie, g.token, kind, body.Len())
		require.NoError(t, err)
		for b := body.Bytes(); len(b) > 0; {
			n := min(pieceB, len(b))
			if _, err := c.Write(b[:n]); err != nil {
				break // it was cut
			}
			b = b[n:]
			time.Sleep(pause)
		}
		require.NoError(t, c.SetReadDeadline(time.Now().Add(2*time.Second)))
		line, _ := bufio.NewReader(c).ReadString('\n')
		return line
	}
	require.Contains(t, send(150, 60*time.Millisecond), " 200 ", "slow, but it moves: longer than any one step in all")
	require.Len(t, g.waiting(), 1)
	start = time.Now()
	require.NotContains(t, send(4, 100*time.Millisecond), " 200 ")
	require.Less(t, time.Since(start), 5*time.Second, "cut long before its end")
	require.Len(t, g.waiting(), 1)
	require.Eventually(t, func() bool { return len(g.snapshotParts()) == 0 }, time.Second, 10*time.Millisecond)
}

// TestAnswerMayTakeLonger: the time of a body is over when it is there.
func TestAnswerMayTakeLonger(t *testing.T) {
	g := newRig(t, func(o *Options) {
		o.Limits = DefaultLimits()
		o.Limits.Step = 100 * time.Millisecond
	}, farms.DefaultLimits())
	var left error
	slow := g.s.guard(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		time.Sleep(300 * time.Millisecond)
		left = r.Context().Err()
		_, _ = io.WriteString(w, "done")
	}))
	l := listenHere(t, g.s)
	srv := &http.Server{Handler: slow}
	go func() { _ = srv.Serve(l) }()
	defer func() { _ = srv.Close() }()
	r := g.formRequest("/x", url.Values{"token": {g.token}})
	r.URL.Host, r.Host = l.Addr().String(), l.Addr().String()
	r.AddCookie(&http.Cookie{Name: "yardheat-" + strings.Split(l.Addr().String(), ":")[1], Value: g.client.Jar.Cookies(g.request(http.MethodGet, "/", nil).URL)[0].Value})
	status, body := g.do(r)
	require.Equal(t, http.StatusOK, status, body)
	require.Equal(t, "done", body)
	require.NoError(t, left)
}

// peakHeap watches the heap; what it gives says by how much it grew at most.
func peakHeap() func() int64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	before, stop, most := m.HeapAlloc, make(chan struct{}), make(chan int64)
	go func() {
		var peak int64
		for {
			select {
			case <-stop:
				most <- peak
				return
			case <-time.After(10 * time.Millisecond):
				runtime.ReadMemStats(&m)
				peak = max(peak, int64(m.HeapAlloc)-int64(before))
			}
		}
	}()
	return func() int64 { close(stop); return <-most }
}

func TestManyUploadsAtOnce(t *testing.T) {
	g := newRig(t, func(o *Options) {
		o.Limits = DefaultLimits()
		o.Limits.Uploads = 16
	}, farms.DefaultLimits())
	const n, sizeB = 200, 400 << 10
	text := strings.Repeat("2026-11-28 09:15;21.5\n", sizeB/22)
	peak := peakHeap()
	var wg sync.WaitGroup
	ids := make([]string, n)
	for i := range n {
		wg.Go(func() {
			pr, pw := io.Pipe()
			m := multipart.NewWriter(pw)
			go func() {
				w, err := m.CreateFormFile("files", fmt.Sprintf("log-%d.csv", i))
				if err == nil {
					_, err = io.WriteString(w, text)
				}
				_ = pw.CloseWithError(errors.Join(err, m.Close()))
			}()
			r, err := http.NewRequest(http.MethodPost, g.base+uploadPath, pr)
			if !assert.NoError(t, err) {
				return
			}
			r.Header.Set("Content-Type", m.FormDataContentType())
			r.Header.Set("X-Yardheat-Token", g.token)
			r.Header.Set("Accept", "application/json")
			res, err := g.client.Do(r)
			if !assert.NoError(t, err) {
				return
			}
			defer func() { _ = res.Body.Close() }()
			var a answer
			assert.NoError(t, json.NewDecoder(res.Body).Decode(&a))
			if assert.Len(t, a.Files, 1) && assert.Empty(t, a.Files[0].Error) {
				ids[i] = a.Files[0].ID
			}
		})
	}
	wg.Wait()
	growthB := peak()
	t.Logf("heap grew by %d MB with client and server in one process", growthB>>20)
	require.Less(t, growthB, int64(100<<20))
	have := map[string]bool{}
	for _, w := range g.waiting() {
		have[w.ID] = w.SizeB == int64(len(text))
	}
	require.Len(t, have, n)
	for _, id := range ids {
		require.True(t, have[id])
	}
}

func TestPassword(t *testing.T) {
	now := time.Now()
	var mu sync.Mutex
	tick := func() time.Time { mu.Lock(); defer mu.Unlock(); return now }
	g := newRig(t, func(o *Options) { o.Password, o.Now = "12345 67890", tick }, farms.DefaultLimits())
	require.Regexp(t, `^\d{5} \d{5}$`, NewPassword())
	require.NotEqual(t, NewPassword(), NewPassword())
	try := func(password string) int {
		r := g.formRequest("/enter", url.Values{"password": {password}})
		res, err := (&http.Client{CheckRedirect: g.client.CheckRedirect}).Do(r)
		require.NoError(t, err)
		_ = res.Body.Close()
		require.Equal(t, res.StatusCode == http.StatusSeeOther, len(res.Header.Values("Set-Cookie")) == 1)
		return res.StatusCode
	}
	require.Equal(t, http.StatusSeeOther, try(" 1234567890"))
	require.Equal(t, http.StatusSeeOther, try("12345-67890"))
	for _, wrong := range []string{"", "1234567891", "123456789", "the-key", "x"} {
		require.Equal(t, http.StatusUnauthorized, try(wrong))
	}
	require.Equal(t, http.StatusTooManyRequests, try("1234567890"), "even the right one waits")
	mu.Lock()
	now = now.Add(31 * time.Second)
	mu.Unlock()
	require.Equal(t, http.StatusUnauthorized, try("0"))
	require.Equal(t, http.StatusTooManyRequests, try("1234567890"))
	status, body := g.get("/")
	require.Equal(t, http.StatusOK, status, "who is in stays in")
	require.Contains(t, body, `action="/leave"`)

	all := newTries(tick)
	let := 0
	for i := range 5000 {
		if all.allow(fmt.Sprintf("10.0.%d.%d", i/256, i%256)) {
			let++
		}
	}
	require.Equal(t, triesAll, let, "from many addresses")
	require.LessOrEqual(t, len(all.by), mostAddresses)
	require.Equal(t, addressOf(&http.Request{RemoteAddr: "[fd00::1:2:3:4]:5"}), addressOf(&http.Request{RemoteAddr: "[fd00::9:9:9:9]:6"}))
}

func TestKeyThatOpensOnce(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	key := g.s.OnceKey()
	status, _ := g.get("/enter?key=" + key)
	require.Equal(t, http.StatusSeeOther, status)
	status, _ = g.get("/enter?key=" + key)
	require.Equal(t, http.StatusUnauthorized, status)
}

// TestOldTab: after a new start a tab of before is told what to do.
func TestOldTab(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	g.s.sessions = newSessions(time.Now)
	status, body := g.get("/farm/Hof")
	require.Equal(t, http.StatusUnauthorized, status)
	require.Contains(t, body, "started again")
	r := g.formRequest("/farms", url.Values{"name": {"Evil"}, "token": {g.token}})
	r.Header.Set("Accept", "application/json")
	status, body = g.do(r)
	require.Equal(t, http.StatusUnauthorized, status)
	require.Contains(t, body, "Open the page again")
}

func TestClosingRefusesChanges(t *testing.T) {
	closed := 0
	g := newRig(t, func(o *Options) { o.Close = func(context.Context) error { closed++; return nil } }, farms.DefaultLimits())
	require.NoError(t, g.s.Close(context.Background()))
	require.Equal(t, 1, closed)
	status, _ := g.post("/farms", url.Values{"name": {"Late"}})
	require.Equal(t, http.StatusServiceUnavailable, status)
	status, _ = g.get("/")
	require.Equal(t, http.StatusOK, status)
}

// TestMarkupIsShownAsText gives the logs page names, headers and notes that are
// markup.
func TestMarkupIsShownAsText(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	path := "/farm/Hof/logs/files"
	if status, _ := g.get("/farm/Hof/logs"); status == http.StatusNotFound {
		path = uploadPath
		t.Log("THE LOGS PAGE IS NOT THERE: only the farms' names are tried")
	}
	evil := `<img src=x onerror=alert(1)>`
	text := "stamp;" + evil + " (°C);\"><script>alert(2)</script>\n"
	for h := range 24 {
		text += fmt.Sprintf("2026-11-28 %02d:00;21.5;%s\n", h, evil)
	}
	status, a := g.upload(path, file{`"><script>alert(3)</script>.csv`, text}, file{evil + ".exe", "x"})
	require.Less(t, status, 400, "%v", a)
	status, _ = g.post("/farms", url.Values{"name": {evil}})
	require.Equal(t, http.StatusSeeOther, status)
	for range 20 { // the file is looked at meanwhile
		for _, page := range []string{"/", "/farm/Hof/logs/card/" + a.Files[0].ID, "/farm/Hof/logs/summary", "/farm/Hof/logs", "/farm/Hof/figures", "/farm/Hof", "/farm/" + url.PathEscape(strings.NewReplacer("<", "_", ">", "_").Replace(evil))} {
			_, body := g.get(page)
			for _, bad := range []string{"<script>alert", "<img src=x"} {
				require.NotContains(t, body, bad, page)
			}
		}
		time.Sleep(20 * time.Millisecond)
	}
	_, body := g.get("/")
	require.Contains(t, body, "_img src=x")
	if _, body = g.get("/farm/Hof/logs"); path != uploadPath {
		require.Contains(t, body, "onerror=alert", "the header is not shown at all: the test sees nothing")
	}
}

func FuzzForm(f *testing.F) {
	body, kind := sentForm("tok", file{"a.csv", "x"})
	f.Add(kind, body.Bytes())
	f.Add("application/x-www-form-urlencoded", []byte("token=tok&name=%zz"))
	f.Add("multipart/form-data; boundary=\"b\"", []byte("--b\r\nContent-Disposition: form-data; name=token\r\n\r\ntok\r\n--b\r\nContent-Disposition: form-data; name=f; filename*=utf-8''..%2fx.csv\r\n\r\ny\r\n--b--"))
	s := &Server{uploads: newPlaces(4, time.Second), opt: Options{Limits: DefaultLimits()}}
	f.Fuzz(func(t *testing.T, kind string, body []byte) {
		r, err := http.NewRequest(http.MethodPost, "/", bytes.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", kind)
		if checkToken(nil, r, "tok") != nil {
			return
		}
		if !bytes.Contains(body, []byte("tok")) && !bytes.Contains(body, []byte("%")) {
			t.Fatalf("let in without the token: %q", body)
		}
		got, _ := s.receiveFiles(nil, r, sink{})
		for _, g := range got {
			if g.Err == nil && !allowed(g.Given) {
				t.Fatalf("took %q", g.Given)
			}
		}
	})
}

// sink is a farm that reads what it is given and keeps nothing.
type sink struct{ farms.Farm }

func (sink) Receive(name string, r io.Reader) (farms.Waiting, error) {
	n, err := io.Copy(io.Discard, r)
	return farms.Waiting{Name: name, SizeB: n}, err
}
