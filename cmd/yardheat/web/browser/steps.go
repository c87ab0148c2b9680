package browser

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// Open goes to an address and waits until the page is loaded.
func (p *Page) Open(address string) {
	p.t.Helper()
	p.run("open "+address, chromedp.Navigate(address))
}

// Front brings the tab before the others: one behind them is not drawn, so that
// Settle would wait for ever.
func (p *Page) Front() {
	p.t.Helper()
	p.run("bring the tab to the front", page.BringToFront())
}

// Reload loads the page again.
func (p *Page) Reload() {
	p.t.Helper()
	p.run("reload", chromedp.Reload())
}

// Wait waits until what a CSS selector names is to be seen.
func (p *Page) Wait(selector string) {
	p.t.Helper()
	p.run("wait for "+selector, chromedp.WaitVisible(selector, chromedp.ByQuery))
}

// WaitFor waits until an expression is true, over changes of the page too.
func (p *Page) WaitFor(expression string) {
	p.t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		ctx, cancel := context.WithTimeout(p.ctx, patience)
		var yes bool
		err := chromedp.Run(ctx, chromedp.Evaluate("!!("+expression+")", &yes))
		cancel()
		if err == nil && yes { // an error: the page is just being changed
			return
		}
	}
	p.t.Fatalf("wait for %s: not within %s", expression, patience)
}

// Click clicks on what a selector names.
func (p *Page) Click(selector string) {
	p.t.Helper()
	p.run("click "+selector, chromedp.Click(selector, chromedp.ByQuery, chromedp.NodeVisible))
}

// Follow clicks and waits until another page is loaded.
func (p *Page) Follow(selector string) {
	p.t.Helper()
	p.Eval("void (window.beforeFollow = true)", nil)
	p.Click(selector)
	p.WaitFor("!window.beforeFollow && document.readyState === 'complete'")
}

// Fill puts a text into a field in place of what stood there.
func (p *Page) Fill(selector, text string) {
	p.t.Helper()
	p.run("fill "+selector, chromedp.WaitVisible(selector, chromedp.ByQuery), chromedp.Focus(selector, chromedp.ByQuery),
		chromedp.Evaluate("document.activeElement.select()", nil), chromedp.KeyEvent(kb.Backspace+text))
}

// Press types keys into what has the focus; see chromedp/kb for their names.
func (p *Page) Press(keys string) {
	p.t.Helper()
	p.run("press keys", chromedp.KeyEvent(keys))
}

// Text is the text to be seen in what a selector names.
func (p *Page) Text(selector string) string {
	p.t.Helper()
	var text string
	p.run("read "+selector, chromedp.Text(selector, &text, chromedp.ByQuery))
	return text
}

// Address is where the page is.
func (p *Page) Address() string {
	p.t.Helper()
	var out string
	p.run("read the address", chromedp.Location(&out))
	return out
}

// Eval gives the value of an expression; a promise is waited for. out may be nil.
func (p *Page) Eval(expression string, out any) {
	p.t.Helper()
	wait := func(e *runtime.EvaluateParams) *runtime.EvaluateParams { return e.WithAwaitPromise(true) }
	p.run("run a script", chromedp.Evaluate(expression, out, wait))
}

// Upload chooses files in a field for files.
func (p *Page) Upload(selector string, files ...string) {
	p.t.Helper()
	var paths []string
	for _, f := range files {
		abs, err := filepath.Abs(f)
		if err != nil {
			p.t.Fatal(err)
		}
		paths = append(paths, abs)
	}
	p.run("upload into "+selector, chromedp.SetUploadFiles(selector, paths, chromedp.ByQuery))
}

const dropScript = `(function (selector, files) {
	var data = new DataTransfer();
	files.forEach(function (f) {
		var text = atob(f.base64), bytes = new Uint8Array(text.length);
		for (var i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
		data.items.add(new File([bytes], f.name));
	});
	var at = document.querySelector(selector);
	if (!at) throw new Error('nothing to drop on: ' + selector);
	['dragenter', 'dragover', 'drop'].forEach(function (kind) {
		at.dispatchEvent(new DragEvent(kind, {dataTransfer: data, bubbles: true, cancelable: true}));
	});
})(%s, %s)`

// Drop drops files on what a selector names, as from the desktop.
func (p *Page) Drop(selector string, files ...string) {
	p.t.Helper()
	type dropped struct {
		Name   string `json:"name"`
		Base64 string `json:"base64"`
	}
	list := make([]dropped, 0, len(files))
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			p.t.Fatal(err)
		}
		list = append(list, dropped{filepath.Base(f), base64.StdEncoding.EncodeToString(b)})
	}
	on, err := json.Marshal(selector)
	if err != nil {
		p.t.Fatal(err)
	}
	what, err := json.Marshal(list)
	if err != nil {
		p.t.Fatal(err)
	}
	p.Eval(fmt.Sprintf(dropScript, on, what), nil)
}

// Width makes the window so many pixels wide, as of a phone (320), a large phone
// (390) or a desk (1280).
func (p *Page) Width(px int) {
	p.t.Helper()
	p.run("change the width", emulation.SetDeviceMetricsOverride(int64(px), 800, 1, px < 600))
	p.Settle()
}

// Settle waits until the page has been drawn twice, so that what it was about to
// say has been said.
func (p *Page) Settle() {
	p.t.Helper()
	p.Eval("new Promise(function (done) { setTimeout(function () { requestAnimationFrame(function () { requestAnimationFrame(function () { done(true); }); }); }, 30); })", nil)
}
