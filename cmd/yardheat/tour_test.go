package main

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web"
	"yardheat/cmd/yardheat/web/browser"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/ingest/work"
)

// tour is the page with the real work behind it, in a real browser.
type tour struct {
	t    *testing.T
	b    *browser.Browser
	site string
	key  string
	dir  string
	held atomic.Pointer[chan struct{}] // work waits for it after its first steps; nil = it does not
}

// hold makes the next work wait until the func that is given back is called.
func (v *tour) hold() (release func()) {
	gate := make(chan struct{})
	v.held.Store(&gate)
	return func() { v.held.Store(nil); close(gate) }
}

// wait is called by work that told of its progress.
func (v *tour) wait(ctx context.Context) {
	if gate := v.held.Load(); gate != nil {
		select {
		case <-*gate:
		case <-ctx.Done():
		}
	}
}

// newTour serves the page on the day after the sample farm's last reading.
func newTour(t *testing.T) *tour {
	t.Helper()
	t.Parallel() // a browser mostly waits: two at a time take little more than one
	v := &tour{t: t, b: browser.Start(t), dir: filepath.Join(t.TempDir(), "farms")}
	a := newApp(nil, &screen{}, &screen{})
	a.now = func() time.Time { return time.Date(2026, 4, 1, 8, 0, 0, 0, time.UTC) }
	store, err := farms.Open(v.dir, farms.DefaultLimits(), a.now)
	require.NoError(t, err)
	var page atomic.Pointer[web.Server]
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { page.Load().ServeHTTP(w, r) }))
	opt := a.webOptions(store)
	report := opt.Report
	opt.Report = func(ctx context.Context, dir, out string, p web.Period, tell func(work.Progress)) error {
		return report(ctx, dir, out, p, func(w work.Progress) { tell(w); v.wait(ctx) })
	}
	opt.Hosts = []string{strings.TrimPrefix(s.URL, "http://")}
	made, err := web.New(opt)
	require.NoError(t, err)
	page.Store(made)
	t.Cleanup(func() {
		assert.NoError(t, made.Close(context.Background()))
		s.Close()
		assert.NoError(t, store.Close())
	})
	v.site, v.key = s.URL, opt.Key
	return v
}

// tab is a tab that was let in.
func (v *tour) tab() *browser.Page {
	p := v.b.Page(v.t, v.site)
	p.Width(1280)
	p.Open(v.site + "/enter?key=" + v.key)
	return p
}

// sample makes the invented farm and one report of it, and gives their paths.
func (v *tour) sample(p *browser.Page) (farm, report string) {
	p.Open(v.site + "/")
	p.Follow("#sample-farm button")
	u, err := url.Parse(p.Address())
	require.NoError(v.t, err)
	return u.Path, v.work(p, u.Path)
}

// work makes a report of all days and gives its path.
func (v *tour) work(p *browser.Page, farm string) string {
	p.Open(v.site + farm + "/work")
	p.Click("main form button[type=submit]")
	p.WaitFor(`location.pathname.includes("/reports/") && document.readyState === "complete"`)
	u, err := url.Parse(p.Address())
	require.NoError(v.t, err)
	return u.Path
}

// speak sets the language of the pages.
func (v *tour) speak(p *browser.Page, lang string) {
	p.Open(v.site + "/display")
	p.Eval(`document.getElementById("lang").value = "`+lang+`"`, nil)
	p.Follow("main form button[type=submit]")
}

// look holds a page against what every page must keep: nothing goes wrong in it,
// no rule of WCAG 2.2 AA is broken, and it fits a phone of 320 px.
func (v *tour) look(p *browser.Page, name string) {
	v.t.Helper()
	p.Eval(`document.querySelectorAll("details").forEach(d => { d.open = true })`, nil)
	for _, px := range []int{1280, 320} {
		p.Width(px)
		if px == 320 && strings.HasPrefix(name, "de-") {
			continue // as in English, but for the words
		}
		for _, f := range p.Violations() {
			v.t.Errorf("%s at %d px: %s", name, px, f)
		}
	}
	assert.Empty(v.t, p.Overflow(), "%s at 320 px", name)
	if keep := os.Getenv("YARDHEAT_PICTURES"); keep != "" {
		for px, at := range map[int]string{390: "-390.png", 1280: "-1280.png"} {
			p.Width(px)
			p.Screenshot(filepath.Join(keep, name+at))
		}
	}
	p.Width(1280)
	assert.Empty(v.t, p.Faults(), name)
}

// germanToo are the pages that are looked at in German as well: those with most
// words of their own. Every text stands in one frame in both languages.
var germanToo = map[string]bool{"overview": true, "logs": true, "figures": true, "report": true, "today": true, "work": true}

// TestEveryPageInABrowser goes through all pages in English, and those of germanToo in German.
func TestEveryPageInABrowser(t *testing.T) {
	v := newTour(t)
	p := v.b.Page(t, v.site)
	p.Open(v.site + "/")
	p.Forgive() // who is not let in is told so by a status
	v.look(p, "enter")
	p = v.tab()
	v.look(p, "first-empty")
	farm, first := v.sample(p)
	second := v.work(p, farm)
	require.NotEqual(t, first, second)
	logs := v.some(t, "broken.csv", "<!doctype html><html>log in</html>")
	p.Open(v.site + farm + "/logs")
	asks := v.some(t, "asks.csv", "Time;Slab [°C];Loop flow [L/min]\r\n05/01/2026 10:00;20,5;3,0\r\n05/02/2026 10:00;21,5;3,1\r\n05/03/2026 10:00;22,5;3,1\r\n")
	p.Upload("#files", logs, asks, filepath.Join(v.dir, filepath.Base(farm), "yard-2026-02.csv"))
	p.WaitFor(`document.querySelectorAll("#cards article:not([data-state=reading])").length === 3`)
	for _, lang := range []string{"en", "de"} {
		v.speak(p, lang)
		for name, path := range map[string]string{
			"first": "/", "overview": farm, "logs": farm + "/logs", "figures": farm + "/figures", "file": farm + "/file", "work": farm + "/work",
			"report": first, "reports": farm + "/reports", "compare": farm + "/compare?a=" + filepath.Base(first) + "&b=" + filepath.Base(second),
			"delete": first + "/delete", "today": farm + "/today", "display": "/display", "licences": "/licences",
		} {
			if lang == "de" && !germanToo[name] {
				continue
			}
			p.Open(v.site + path)
			if name == "today" {
				p.WaitFor(`!document.getElementById("job")`)
			}
			if name == "report" {
				p.WaitFor(`document.querySelectorAll("figure.chart").length === document.querySelectorAll("figure.chart .uplot, figure.chart.empty").length`)
			}
			v.look(p, lang+"-"+name)
		}
		p.Open(v.site + "/nowhere")
		p.Forgive() // the status says that there is none
		v.look(p, lang+"-notfound")
		v.running(p, farm, lang)
	}
	p.Open(v.site + first)
	paper := p.Print()
	require.True(t, paper.IsA4(), "%.0f x %.0f mm", paper.WidthMM, paper.HeightMM)
	require.LessOrEqual(t, paper.Pages, 40)
	require.Equal(t, []string{strings.TrimPrefix(v.site, "http://")}, p.Hosts())
}

// running looks at work while it runs, when it was cancelled and when it failed.
func (v *tour) running(p *browser.Page, farm, lang string) {
	release := v.hold()
	p.Open(v.site + farm + "/work")
	p.Follow("main form button[type=submit]")
	p.Wait("#job")
	v.look(p, lang+"-running")
	p.Follow("main form[action$='/cancel'] button")
	release()
	p.WaitFor(`!document.getElementById("job") && document.readyState === "complete"`)
	v.look(p, lang+"-cancelled")
	file := filepath.Join(v.dir, filepath.Base(farm), "yard-2026-02.csv")
	whole, err := os.ReadFile(file)
	require.NoError(v.t, err)
	require.NoError(v.t, os.WriteFile(file, []byte("<!doctype html><html>log in</html>"), 0o600))
	p.Open(v.site + farm + "/work")
	p.Click("main form button[type=submit]")
	p.WaitFor(`document.querySelector(".faults, main [role=alert]") && document.readyState === "complete"`)
	v.look(p, lang+"-failed")
	require.NoError(v.t, os.WriteFile(file, whole, 0o600))
}

// some writes a file to be given to the page.
func (v *tour) some(t *testing.T, name, text string) string {
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}
