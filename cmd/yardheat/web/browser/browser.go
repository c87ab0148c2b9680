// Package browser drives a real browser for the tests of the pages: it opens,
// clicks, uploads and drops; notes every error on the console and every host
// asked; finds what is wider than the screen and what breaks the guidelines of
// accessibility; takes pictures and prints. Only tests import it.
//
// Without a browser the tests skip and say so; with YARDHEAT_NEEDS_BROWSER set
// they fail.
package browser

import (
	"context"
	"errors"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// Needs is the variable of the environment that turns a skip into a failure.
const Needs = "YARDHEAT_NEEDS_BROWSER"

// patience is how long one step may take, on a machine that has others to serve.
const patience = 30 * time.Second

// Browser is one running browser with a new, empty profile.
type Browser struct {
	ctx context.Context
}

// find is the browser's path, "" = none.
func find() string {
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	return ""
}

// Start starts a browser for a test; it ends with the test. It is heavy, so
// that it is left out under -short.
func Start(t testing.TB) *Browser {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser is heavy: left out under -short")
	}
	program := find()
	if program == "" {
		if os.Getenv(Needs) != "" {
			t.Fatalf("no chromium on the path, and %s is set", Needs)
		}
		t.Skip("SKIPPED: no chromium on the path, so no page was tried in a browser")
	}
	profile, err := os.MkdirTemp("", "browser-profile-")
	if err != nil {
		t.Fatal(err)
	}
	opts := []chromedp.ExecAllocatorOption{
		chromedp.ExecPath(program), chromedp.UserDataDir(profile), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.NoDefaultBrowserCheck,
	}
	for _, f := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync", "disable-dev-shm-usage",
		"disable-default-apps", "disable-extensions", "mute-audio", "hide-scrollbars"} {
		opts = append(opts, chromedp.Flag(f, true))
	}
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() {
		end, done := context.WithTimeout(ctx, 10*time.Second)
		_ = chromedp.Cancel(end) // asks it to close; stop ends it in any case
		done()
		cancel()
		stop()
		_ = os.RemoveAll(profile)
	})
	if err := chromedp.Run(ctx); err != nil {
		t.Fatalf("start the browser %s: %v", program, err)
	}
	return &Browser{ctx: ctx}
}

// Page is one tab. Its steps fail the test when they do not succeed in time.
type Page struct {
	t    testing.TB
	ctx  context.Context
	host string

	mu     sync.Mutex
	faults []string
	hosts  map[string]bool
}

// Page opens an empty tab that may ask the host of site, as in
// "http://127.0.0.1:8080", and none else. What goes wrong in it is in Faults.
func (b *Browser) Page(t testing.TB, site string) *Page {
	t.Helper()
	u, err := url.Parse(site)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := chromedp.NewContext(b.ctx)
	t.Cleanup(cancel)
	p := &Page{t: t, ctx: ctx, host: u.Host, hosts: map[string]bool{}}
	chromedp.ListenTarget(ctx, p.note)
	if err := chromedp.Run(ctx); err != nil { // the tab lives as long as the context of its first run
		t.Fatalf("open a tab: %v", err)
	}
	p.run("watch a tab", network.Enable(), log.Enable(), runtime.Enable())
	return p
}

// note keeps what the browser tells of errors and requests.
func (p *Page) note(event any) {
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		p.fault("exception: " + e.ExceptionDetails.Error())
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.APITypeError || e.Type == runtime.APITypeAssert {
			var words []string
			for _, a := range e.Args {
				words = append(words, string(a.Value)+a.Description)
			}
			p.fault("console: " + strings.Join(words, " "))
		}
	case *log.EventEntryAdded:
		if e.Entry.Level == log.LevelError {
			p.fault("browser: " + strings.TrimSpace(e.Entry.Text+" "+e.Entry.URL))
		}
	case *network.EventRequestWillBeSent:
		p.asked(e.Request.URL)
	case *network.EventWebSocketCreated:
		p.asked(e.URL)
	}
}

func (p *Page) asked(address string) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" { // data:, blob:, about:
		return
	}
	p.mu.Lock()
	p.hosts[u.Host] = true
	p.mu.Unlock()
	if u.Host != p.host {
		p.fault("foreign request: " + address)
	}
}

func (p *Page) fault(text string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.faults = append(p.faults, text)
}

// Faults are the errors, exceptions and requests to other hosts so far.
func (p *Page) Faults() []string {
	p.Settle()
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]string(nil), p.faults...)
}

// Forgive forgets the faults so far: after a step that is to cause one.
func (p *Page) Forgive() {
	p.Settle()
	p.mu.Lock()
	defer p.mu.Unlock()
	p.faults = nil
}

// Hosts are those that were asked.
func (p *Page) Hosts() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	var out []string
	for h := range p.hosts {
		out = append(out, h)
	}
	return out
}

// run does the steps, and fails the test if they take too long or go wrong.
func (p *Page) run(what string, steps ...chromedp.Action) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	if err := chromedp.Run(ctx, steps...); err != nil {
		if errors.Is(err, context.DeadlineExceeded) {
			p.t.Fatalf("%s: not within %s", what, patience)
		}
		p.t.Fatalf("%s: %v", what, err)
	}
}
