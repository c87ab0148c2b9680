package main

import (
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web/browser"
	"yardheat/ingest/simfarm"
)

// exports writes the sample farm's logs, as their loggers gave them, and no farm.toml.
func exports(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	farm, err := simfarm.Run(simfarm.Sample())
	require.NoError(t, err)
	require.NoError(t, farm.Write(dir))
	require.NoError(t, os.Remove(filepath.Join(dir, "farm.toml")))
	return dir
}

// begin names a new farm and gives its path.
func (v *tour) begin(p *browser.Page, name string) string {
	p.Open(v.site + "/")
	p.Fill("#name", name)
	p.Follow("#new-farm button")
	u, err := url.Parse(p.Address())
	require.NoError(v.t, err)
	return u.Path
}

const noneRead = `[...document.querySelectorAll("#cards article")].length === %d && !document.querySelector("#cards article[data-state=reading]") && document.querySelectorAll("#cards article[data-state=old]").length === 0`

// read waits until so many files are understood or refused.
func read(p *browser.Page, files int) { p.WaitFor(fmt.Sprintf(noneRead, files)) }

// takeIn takes the waiting files in.
func (v *tour) takeIn(p *browser.Page, zone string) {
	p.WaitFor(`document.querySelector("#take-in-button:not([disabled])")`)
	if zone != "" {
		p.Fill("#zone", zone)
	}
	p.Follow("#take-in-button")
	p.Wait("#taken-in")
}

// settle presses the first answer to every question that is open.
func settle(p *browser.Page, files int) (asked int) {
	for range 10 {
		var open bool
		if p.Eval(`!!document.querySelector("#cards .doubt-box.must button, #cards .doubt-item button")`, &open); !open {
			return asked
		}
		asked++
		p.Eval(`window.pressed = document.querySelector("#cards .doubt-box.must button, #cards .doubt-item button"); pressed.click()`, nil)
		p.WaitFor(`!window.pressed.isConnected`)
		read(p, files)
	}
	return asked
}

// TestFirstVisitAndNextMonthInABrowser goes from an empty page to two reports that
// are compared.
func TestFirstVisitAndNextMonthInABrowser(t *testing.T) {
	v := newTour(t)
	logs := exports(t)
	at := func(names ...string) (out []string) {
		for _, n := range names {
			out = append(out, filepath.Join(logs, n))
		}
		return out
	}
	p := v.tab()
	farm := v.begin(p, "Auf der Höhe")
	p.Open(v.site + farm + "/logs")
	p.Upload("#files", at("yard-2025-12.csv", "yard-2026-01.csv", "bed.csv", "milkings.csv")...)
	p.Drop("#give", at("meters.csv", "controller.xlsx")...)
	read(p, 6)
	// A quantity is taken away and given back: both are kept without a button.
	choose := func(header, quantity string) {
		p.Eval(fmt.Sprintf(`(() => { const c = [...document.querySelectorAll("#cards .column")].find(c => c.querySelector(".column-name").textContent.startsWith(%q)), s = c.querySelector("select");
			window.chosen = s; s.value = %q; s.dispatchEvent(new Event("change", {bubbles: true})); return s.value })()`, header, quantity), nil)
		p.WaitFor(`!window.chosen.isConnected`)
		read(p, 6)
		var now string
		p.Eval(fmt.Sprintf(`[...document.querySelectorAll("#cards .column")].find(c => c.querySelector(".column-name").textContent.startsWith(%q)).querySelector("select").value`, header), &now)
		require.Equal(t, quantity, now)
	}
	choose("House air", "ignore")
	choose("House air", "air_temp")
	t.Logf("%d questions were asked", settle(p, 6))
	v.takeIn(p, "Europe/Bucharest")
	v.figures(p, farm)
	first := v.watch(p, farm)
	v.readReport(p, first)

	// The next month: a column renamed, and days missing since.
	march, err := os.ReadFile(at("yard-2026-03.csv")[0])
	require.NoError(t, err)
	next := v.some(t, "yard-2026-03.csv", strings.Replace(string(march), "Loop out", "Outlet new", 1))
	p.Open(v.site + farm + "/logs")
	p.Upload("#files", next)
	read(p, 1)
	said := p.Text("#cards .new-findings")
	require.Contains(t, said, "Outlet new")
	require.Contains(t, said, "gap")
	t.Logf("next month: %d questions", settle(p, 1))
	v.takeIn(p, "")
	second := v.work(p, farm)
	require.NotEqual(t, first, second)
	p.Open(v.site + farm + "/reports")
	for _, r := range []string{first, second} {
		p.WaitFor(fmt.Sprintf(`[...document.querySelectorAll("main a")].some(a => decodeURI(a.pathname) === decodeURI(%q))`, r))
	}
	p.Follow("main form[action$='/compare'] button")
	require.Contains(t, p.Text("main h1"), "side by side")
	for _, r := range []string{first, second} {
		require.Contains(t, p.Address(), filepath.Base(r))
	}
	require.True(t, v.has(p, "main table tbody td"))
	require.Empty(t, p.Faults())
}

// figures fills in the form: one is refused beside its field, a comma is taken.
func (v *tour) figures(p *browser.Page, farm string) {
	t := v.t
	p.Open(v.site + farm + "/figures")
	p.Fill("#f-loop-length_m", "-5")
	p.Fill("#f-loop-bore_mm", "26,5")
	p.Follow("#figures-form button[type=submit]")
	p.Wait("#f-loop-length_m-error")
	p.Forgive() // a refused form is told by a status too
	p.Fill("#f-loop-length_m", "460")
	p.Follow("#figures-form button[type=submit]")
	p.Wait("#saved")
	b, err := os.ReadFile(filepath.Join(v.dir, filepath.Base(pathOf(t, farm)), "farm.toml"))
	require.NoError(t, err)
	require.Regexp(t, `(?m)^length_m = 460`, string(b))
	require.Regexp(t, `(?m)^bore_mm = 26\.5`, string(b))
}

func pathOf(t *testing.T, path string) string {
	out, err := url.PathUnescape(path)
	require.NoError(t, err)
	return out
}

// watch starts the work, sees it going in two tabs and over a reload, and gives the
// report's path.
func (v *tour) watch(p *browser.Page, farm string) string {
	release := v.hold()
	p.Open(v.site + farm + "/work")
	p.Follow("main form button[type=submit]")
	p.Wait("#job-steps li")
	at := p.Address()
	p.Reload()
	p.Wait("#job")
	require.Equal(v.t, at, p.Address())
	other := v.tab()
	other.Open(v.site + farm + "/work")
	other.Wait("#job")
	require.Equal(v.t, at, other.Address(), "a second tab shows the same work")
	release()
	var out string
	for _, tab := range []*browser.Page{other, p} {
		tab.Front()
		tab.WaitFor(`location.pathname.includes("/reports/") && document.readyState === "complete"`)
		u, err := url.Parse(tab.Address())
		require.NoError(v.t, err)
		require.True(v.t, out == "" || out == u.EscapedPath())
		out = u.EscapedPath()
		require.Empty(v.t, tab.Faults())
	}
	return out
}

// readReport reads the report's chart by button, key and mouse, and fetches what
// it offers.
func (v *tour) readReport(p *browser.Page, report string) {
	t := v.t
	p.WaitFor(`document.querySelector("figure[data-chart=temperatures] .uplot")`)
	require.NotEmpty(t, p.Text(".sentences"))
	const chart = `figure[data-chart=temperatures]`
	rows := func() (text string) {
		p.Settle()
		p.Eval(`document.querySelector("`+chart+` .chart-table caption").textContent`, &text)
		return text
	}
	p.Click(chart + " .chart-table summary")
	p.WaitFor(`document.querySelector("` + chart + ` .chart-table tbody tr")`)
	first := func() (text string) {
		p.Eval(`document.querySelector("`+chart+` .chart-table tbody th").textContent`, &text)
		return text
	}
	before, began := rows(), first()
	p.Click(chart + " .chart-tools button")
	p.WaitFor(fmt.Sprintf(`document.querySelector("%s .chart-table tbody th").textContent !== %q`, chart, began))
	t.Logf("the table: %s, then %s", before, rows())
	readout := p.Text(chart + " .readout")
	p.Eval(`document.querySelector("`+chart+` .plot").focus()`, nil)
	zoomed := first()
	p.Press("+")
	p.WaitFor(fmt.Sprintf(`document.querySelector("%s .chart-table tbody th").textContent !== %q`, chart, zoomed))
	p.Press(kb.ArrowRight)
	p.WaitFor(fmt.Sprintf(`document.querySelector("%s .readout").textContent !== %q`, chart, readout))
	require.Contains(t, p.Text(chart+" .readout"), "°C")
	v.fetches(p, report)
}

// fetches asks for the files of the report as the browser does, with its bundle.
func (v *tour) fetches(p *browser.Page, report string) {
	t := v.t
	var hrefs []string
	p.Eval(`[...document.querySelectorAll("#files .files a")].map(a => a.getAttribute("href"))`, &hrefs)
	for _, end := range []string{".xlsx", "report.html"} {
		require.True(t, slices.ContainsFunc(hrefs, func(h string) bool { return strings.HasSuffix(h, end) }), "%s of %v", end, hrefs)
	}
	p.Follow("form[action$='/bundle'] button")
	p.WaitFor(`document.querySelector("a[href$='/bundle.zip']")`)
	hrefs = append(hrefs, report+"/bundle.zip")
	for _, h := range hrefs {
		var size int
		p.Eval(fmt.Sprintf(`fetch(%q).then(r => r.ok ? r.arrayBuffer() : new ArrayBuffer(0)).then(b => b.byteLength)`, h), &size)
		assert.Greater(t, size, 100, h)
	}
}

// TestCancelInABrowser: what is cancelled leaves nothing, and can be begun again.
func TestCancelInABrowser(t *testing.T) {
	v := newTour(t)
	p := v.tab()
	farm, first := v.sample(p)
	reports := filepath.Join(v.dir, filepath.Base(pathOf(t, farm)), "reports")
	names := func() (out []string) {
		list, err := os.ReadDir(reports)
		require.NoError(t, err)
		for _, e := range list {
			out = append(out, e.Name())
		}
		return out
	}
	before := names()
	release := v.hold()
	p.Open(v.site + farm + "/work")
	p.Follow("main form button[type=submit]")
	p.Wait("#job")
	p.Follow("main form[action$='/cancel'] button")
	p.WaitFor(`!document.getElementById("job") && document.readyState === "complete"`)
	release()
	require.Equal(t, before, names())
	require.NotEqual(t, first, v.work(p, farm))
	require.Len(t, names(), len(before)+1)
	require.Empty(t, p.Faults())
}

// TestFortyFilesAndABrokenOneInABrowser gives 40 files at once, one of them no log.
func TestFortyFilesAndABrokenOneInABrowser(t *testing.T) {
	v := newTour(t)
	p := v.tab()
	farm := v.begin(p, "Forty")
	p.Open(v.site + farm + "/logs")
	dir := t.TempDir()
	var files []string
	for n := range 40 {
		var b strings.Builder
		b.WriteString("Time;Cold feed [°C];Loop out [°C];Loop flow [L/min]\n")
		for i := range 48 {
			fmt.Fprintf(&b, "2026-%02d-%02d %02d:00;%d,5;%d,25;%d,0\n", 1+n/20, 1+n%20, i/2, 8+i%3, 20+(i+n)%17, i%7)
		}
		text := strings.ReplaceAll(b.String(), "\n", "\r\n")
		if n == 17 {
			text = "<!doctype html><html>log in</html>"
		}
		files = append(files, filepath.Join(dir, fmt.Sprintf("yard-%02d.csv", n)))
		require.NoError(t, os.WriteFile(files[n], []byte(text), 0o600))
	}
	p.Upload("#files", files...)
	read(p, 40)
	var broken []string
	p.Eval(`[...document.querySelectorAll("#cards article[data-state=broken] h3")].map(h => h.textContent)`, &broken)
	require.Len(t, broken, 1)
	require.Contains(t, broken[0], "yard-17.csv")
	require.Contains(t, p.Text("#cards article[data-state=broken] .wrong"), "web page")
	settle(p, 40)
	v.takeIn(p, "Europe/Berlin")
	read(p, 1)
	require.Contains(t, p.Text("#taken-in"), "39")
	require.Empty(t, p.Faults())
}

// TestFixInABrowser: dates that can be read in two ways are settled by one click,
// and the click is taken back by another.
func TestFixInABrowser(t *testing.T) {
	v := newTour(t)
	p := v.tab()
	farm := v.begin(p, "Fix")
	p.Open(v.site + farm + "/logs")
	var b strings.Builder
	b.WriteString("Time;Cold feed [°C];Loop out [°C];Loop flow [L/min]\r\n")
	for i := range 4 {
		fmt.Fprintf(&b, "05/%02d/2026 10:00;8,5;2%d,25;3,0\r\n", 1+i, i)
	}
	p.Upload("#files", v.some(t, "yard.csv", b.String()))
	read(p, 1)
	p.Wait("#cards .doubt-box button[name=fix]")
	require.False(t, v.has(p, "#cards .settled"))
	p.Click("#cards .doubt-box button[name=fix]:not(.now)")
	p.Wait("#cards .settled")
	read(p, 1)
	require.False(t, v.has(p, "#take-in-button[disabled]"))
	p.Click("#cards .settled button[name=fix]")
	p.Wait("#cards .doubt-box button[name=fix]")
	require.Empty(t, p.Faults())
}

func (v *tour) has(p *browser.Page, selector string) (there bool) {
	p.Eval(fmt.Sprintf(`document.querySelector(%q) !== null`, selector), &there)
	return there
}

// TestByKeyboardInABrowser: the first visit's path is walked with Tab and Enter
// alone, and where the focus is can be seen.
func TestByKeyboardInABrowser(t *testing.T) {
	v := newTour(t)
	p := v.tab()
	to := func(what, selector string) {
		t.Helper()
		for range 80 {
			var there, seen bool
			p.Eval(fmt.Sprintf(`document.activeElement.matches(%q)`, selector), &there)
			if there {
				p.Eval(`(() => { const s = getComputedStyle(document.activeElement); return (s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2) || s.boxShadow !== "none" })()`, &seen)
				require.True(t, seen, "the focus on %s is seen", what)
				return
			}
			p.Press(kb.Tab)
		}
		t.Fatalf("%s is not reached by Tab", what)
	}
	enter := func() {
		p.Eval("void (window.beforeFollow = true)", nil)
		p.Press(kb.Enter)
		p.WaitFor("!window.beforeFollow && document.readyState === 'complete'")
	}
	p.Open(v.site + "/")
	p.Press(kb.Tab)
	to("the skip link", ".skip")
	p.Press(kb.Enter)
	p.WaitFor(`location.hash === "#content"`)
	to("the name", "#name")
	p.Press("By hand")
	to("the button", "#new-farm button")
	enter()
	farm := p.Address()
	to("the first step", ".step a")
	enter()
	to("the files", "#files")
	p.Upload("#files", v.some(t, "yard.csv", "Time;Cold feed [°C];Loop out [°C];Loop flow [L/min]\n2026-01-13 00:00;8,5;20,25;0,0\n2026-01-13 01:00;8,4;21,25;3,0\n2026-01-13 02:00;8,4;21,50;3,0\n"))
	read(p, 1)
	to("a quantity", "#cards select")
	to("the zone", "#zone")
	p.Eval(`document.activeElement.select()`, nil)
	p.Press("Europe/Berlin")
	to("taking in", "#take-in-button")
	enter()
	to("the figures", "#taken-in a")
	enter()
	to("the length", "#f-loop-length_m")
	to("saving", "#figures-form button")
	p.Open(strings.TrimSuffix(farm, "/") + "/work")
	to("working it out", "main form button")
	require.Empty(t, p.Faults())
}
