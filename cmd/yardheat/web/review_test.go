package web

import (
	"bytes"
	"context"
	"errors"
	"log"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/job"
)

// formRoutes are all that a POST may go to.
var formRoutes = []string{"/farms", "/farms/sample", "/display", "/leave", "/farm/Hof/logs/files", "/farm/Hof/logs/choose/x", "/farm/Hof/logs/keep", "/farm/Hof/figures",
	"/farm/Hof/figures/event", "/farm/Hof/figures/event/remove", "/farm/Hof/file/back", "/farm/Hof/work", "/farm/Hof/work/1/cancel", "/farm/Hof/reports/x/bundle", "/farm/Hof/reports/x/delete", "/farm/Hof/today"}

// Every route that the source names is tried; so that no later one is forgotten.
func TestEveryFormRouteAsksForItsToken(t *testing.T) {
	names, err := filepath.Glob("*.go")
	require.NoError(t, err)
	found := 0
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		b, err := os.ReadFile(name)
		require.NoError(t, err)
		found += bytes.Count(b, []byte(`mux.HandleFunc("POST `))
		require.NotRegexp(t, `\.(Post)?FormValue\(`, string(b), name+": it writes large forms into the system's folder; use field")
	}
	require.Equal(t, found, len(formRoutes), "a route without a test")
	g := newRig(t, nil, farms.DefaultLimits())
	before := g.snapshot()
	for _, path := range formRoutes {
		for _, token := range []string{"", "wrong"} {
			status, _ := g.do(g.formRequest(path, url.Values{"token": {token}, "name": {"Evil"}}))
			require.Equal(t, http.StatusForbidden, status, path)
		}
		r := g.formRequest(path, url.Values{"token": {g.token}})
		r.Header.Set("Sec-Fetch-Site", "same-site") // another port of this computer
		status, _ := g.do(r)
		require.Equal(t, http.StatusForbidden, status, path)
	}
	require.Equal(t, before, g.snapshot())
}

// A large form with files, to an address that takes none, is not put on the disk.
func TestFormsWithFilesAreNotSpilled(t *testing.T) {
	spill := t.TempDir()
	t.Setenv("TMPDIR", spill)
	t.Setenv("TMP", spill)
	g := newRig(t, nil, farms.DefaultLimits())
	seen := func() int {
		entries, err := os.ReadDir(spill)
		require.NoError(t, err)
		n := 0
		for _, e := range entries {
			if strings.HasPrefix(e.Name(), "multipart-") {
				n++
			}
		}
		return n
	}
	most, stop, over := 0, make(chan struct{}), make(chan struct{})
	go func() {
		defer close(over)
		for {
			most = max(most, seen())
			select {
			case <-stop:
				return
			case <-time.After(time.Millisecond):
			}
		}
	}()
	for method, path := range map[string]string{http.MethodPost: "/farms", http.MethodGet: "/farm/Hof/compare?a=x"} {
		var b bytes.Buffer
		m := multipart.NewWriter(&b)
		require.NoError(t, m.WriteField("token", g.token))
		w, err := m.CreateFormFile("files", "a.csv")
		require.NoError(t, err)
		_, _ = w.Write(make([]byte, 48<<20)) // into memory
		require.NoError(t, m.Close())
		r := g.request(method, path, &b)
		r.Header.Set("Content-Type", m.FormDataContentType())
		res, err := g.client.Do(r)
		if err == nil { // the server may leave such a body unread
			_ = res.Body.Close()
			require.GreaterOrEqual(t, res.StatusCode, 400)
		}
	}
	close(stop)
	<-over
	require.Zero(t, most)
}

// Links set where bundles are kept lead nothing out of the farm: not what is
// written, not what is sent, not what is removed.
func TestBundlesStayInTheFarm(t *testing.T) {
	made := make(chan string, 4)
	p := openPage(t, func(o *Options) {
		o.Bundle = func(_ context.Context, _, _, to string, _ func(job.Progress)) error {
			made <- to
			return os.WriteFile(to, []byte("bundle"), 0o600)
		}
	})
	const id = "2026-11-28-091500"
	p.putReport(id, nil)
	outside := t.TempDir()
	kept := filepath.Join(outside, id+".zip")
	require.NoError(t, os.WriteFile(kept, []byte("somebody's"), 0o600))
	p.get("/farm/farm") // the folder is prepared
	if err := os.Symlink(outside, filepath.Join(p.dir, ".yardheat", "bundles")); err != nil {
		t.Skip("no links here: ", err)
	}
	one := "/farm/farm/reports/" + id
	p.post(one+"/bundle", nil)
	require.Eventually(t, func() bool { _, running := p.page.jobOf("farm", jobBundle); return !running }, 5*time.Second, time.Millisecond)
	require.Empty(t, made)
	status, body := p.get(one + "/bundle.zip")
	require.Equal(t, http.StatusNotFound, status)
	require.NotContains(t, body, "somebody's")
	p.post(one+"/delete", nil)
	b, err := os.ReadFile(kept)
	require.NoError(t, err)
	require.Equal(t, "somebody's", string(b))
	require.NoDirExists(t, filepath.Join(p.dir, "reports", id))
}

// The invented farm is written over nothing that stands in a folder of its name.
func TestSampleLeavesAFarmOfItsNameAlone(t *testing.T) {
	g := newRig(t, func(o *Options) {
		o.Sample = func(_ context.Context, dir string) error {
			return errors.Join(os.WriteFile(filepath.Join(dir, "farm.toml"), []byte("[farm]\ntimezone = \"UTC\"\n"), 0o600),
				os.WriteFile(filepath.Join(dir, "yard.csv"), []byte("invented"), 0o600))
		}
	}, farms.DefaultLimits())
	own := filepath.Join(g.dir, sampleTitle)
	f, err := g.s.opt.Store.New(sampleTitle)
	require.NoError(t, err)
	_, err = f.Receive("waits.csv", strings.NewReader("a"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(own, "yard.csv"), []byte("my own"), 0o600))
	var wait sync.WaitGroup
	for range 4 { // tabs
		wait.Go(func() {
			status, _ := g.post("/farms/sample", url.Values{})
			assert.Equal(t, http.StatusSeeOther, status)
		})
	}
	wait.Wait()
	b, err := os.ReadFile(filepath.Join(own, "yard.csv"))
	require.NoError(t, err)
	require.Equal(t, "my own", string(b))
	require.NoFileExists(t, filepath.Join(own, "farm.toml"))
	require.FileExists(t, filepath.Join(g.dir, sampleTitle+" 2", "farm.toml"))
	require.FileExists(t, filepath.Join(g.dir, sampleTitle+" 2", "yard.csv"))
	require.NoDirExists(t, filepath.Join(g.dir, sampleTitle+" 3"))
}

// A report that was cancelled too late stands; the next of the same second gets a
// place of its own.
func TestReportIsNeverReplacedByALaterOne(t *testing.T) {
	at := time.Date(2026, 11, 28, 9, 15, 0, 0, time.Local)
	begun, goOn := make(chan string, 2), make(chan struct{})
	p := openPage(t, func(o *Options) {
		o.Now = func() time.Time { return at }
		o.Report = func(_ context.Context, _, out string, _ Period, _ func(job.Progress)) error {
			begun <- out
			<-goOn
			return os.MkdirAll(out, 0o755)
		}
	})
	f, err := p.page.opt.Store.Find("farm")
	require.NoError(t, err)
	_ = f
	p.post("/farm/farm/work", nil)
	first := <-begun
	require.NoError(t, p.page.jobs.Cancel(1))
	p.post("/farm/farm/work", nil)
	close(goOn)
	require.NotEqual(t, first, <-begun)
}

// What is kept of jobs does not grow with their number.
func TestResultsOfOldJobsAreForgotten(t *testing.T) {
	p := openPage(t, nil)
	for range 200 {
		j, err := p.page.start("farm", jobReport, toURL("/"), func(context.Context, func(job.Progress)) error { return nil })
		require.NoError(t, err)
		_, err = p.page.jobs.Wait(context.Background(), j.ID)
		require.NoError(t, err)
	}
	n := 0
	p.page.results.Range(func(any, any) bool { n++; return true })
	require.LessOrEqual(t, n, job.DefaultOptions().Kept+job.DefaultOptions().Queue+2)
}

// A name from outside is no line of its own in the log, and steers no terminal.
func TestLogLinesCannotBeForged(t *testing.T) {
	var out bytes.Buffer
	s := &Server{opt: Options{Log: log.New(&out, "LOG ", 0)}}
	s.logf("chart %s: %v", "/farm/x\nLOG forged\r\x1b[2J\u202e", errors.New("y"))
	require.Equal(t, 1, len(regexp.MustCompile(`(?m)^LOG `).FindAllString(out.String(), -1)))
	require.NotRegexp(t, "[\x1b\r\u202e]", out.String())
}

// Names that mean something in an address lead to their own farm only.
func TestFarmsWithSignsInTheirNames(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	for _, name := range []string{"Hof #1", "100% %48of", "A & B's [2]", "x;y=z"} {
		_, err := g.s.opt.Store.New(name)
		require.NoError(t, err)
		for _, path := range []string{"", "/logs", "/figures", "/reports"} {
			body := g.page("/farm/" + url.PathEscape(name) + path)
			for _, m := range regexp.MustCompile(`(?:href|action|data-[a-z]+)="(/farm/[^"]*)"`).FindAllStringSubmatch(body, -1) {
				u, err := url.Parse(strings.NewReplacer("&amp;", "&", "&#39;", "'", "&#43;", "+", "&#61;", "=").Replace(m[1]))
				require.NoError(t, err, m[1])
				require.Equal(t, name, strings.SplitN(u.Path, "/", 4)[2], "%s on %s", m[1], path)
			}
		}
	}
}

// Two tabs take the same files in at the same time, while others come in: each
// file becomes one log, and none is lost.
func TestTwoTabsKeepWhileFilesComeIn(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	g.give("Hof", file{"yard-2026-01.csv", loopCSV(2026, 1)}, file{"yard-2026-02.csv", loopCSV(2026, 2)})
	g.ready("Hof")
	var wait sync.WaitGroup
	codes := make(chan int, 4)
	for range 4 {
		wait.Go(func() {
			status, _ := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europe/Berlin"}})
			codes <- status
		})
	}
	f, err := g.s.opt.Store.Find("Hof")
	require.NoError(t, err)
	for n := range 10 {
		_, err := f.Receive("other.csv", strings.NewReader(strings.Repeat("x", n+1)))
		require.NoError(t, err)
	}
	wait.Wait()
	close(codes)
	done := 0
	for c := range codes {
		if c == http.StatusSeeOther {
			done++
		}
		require.Less(t, c, 500)
	}
	logs, err := f.Logs()
	require.NoError(t, err)
	all, err := f.Waiting()
	require.NoError(t, err)
	if done == 0 { // the others were being read at each try: nothing was taken
		require.Len(t, all, 12)
		require.Empty(t, logs)
		return
	}
	require.Equal(t, 1, done)
	require.Len(t, logs, 2)
	require.Len(t, all, 10)
}
