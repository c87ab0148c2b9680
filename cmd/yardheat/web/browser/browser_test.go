package browser

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'"

const whole = `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>A page</title>%s</head><body><main><h1>A page</h1>%s</main></body></html>`

// site serves pages by name under the policy of the real ones.
func site(t *testing.T, pages map[string]string) *httptest.Server {
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		text, ok := pages[strings.TrimPrefix(r.URL.Path, "/")]
		switch {
		case r.URL.Path == "/favicon.ico":
			w.WriteHeader(http.StatusNoContent)
			return
		case !ok:
			http.NotFound(w, r)
			return
		case strings.HasSuffix(r.URL.Path, ".js"):
			w.Header().Set("Content-Type", "text/javascript")
		case strings.HasSuffix(r.URL.Path, ".css"):
			w.Header().Set("Content-Type", "text/css")
		default:
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.Header().Set("Content-Security-Policy", policy)
		}
		fmt.Fprint(w, text)
	}))
	t.Cleanup(s.Close)
	return s
}

func page1(head, body string) string { return fmt.Sprintf(whole, head, body) }

// TestFaultsAreFound: each kind of fault on a page of its own, and a page with
// none of them.
func TestFaultsAreFound(t *testing.T) {
	b := Start(t)
	foreign := httptest.NewServer(http.NotFoundHandler())
	defer foreign.Close()
	script := `<script src="p.js"></script>`
	s := site(t, map[string]string{
		"good":      page1("", `<p>Nothing is wrong here.</p><p><img alt="a dot" src="data:image/gif;base64,R0lGODlhAQABAAAAACwAAAAAAQABAAA="></p>`),
		"console":   page1(script, ""),
		"p.js":      "console.error('the milk is off', 42)",
		"exception": page1(`<script src="e.js"></script>`, ""),
		"e.js":      "setTimeout(function () { nothing.there(); }, 5)",
		"foreign":   page1(`<script src="f.js"></script>`, ""),
		"f.js":      "location.href",
		"inline":    page1(`<script>document.title = 'taken over'</script>`, ""),
		"missing":   page1(`<script src="gone.js"></script>`, ""),
		"wide":      page1(`<link rel="stylesheet" href="w.css">`, `<div id="pipe">wide</div><div id="box"><div id="inner">scrolls by itself</div></div>`),
		"w.css":     "#pipe { width: 500px } #box { overflow-x: auto } #inner { width: 900px }",
		"axe":       page1("", `<img src="data:image/gif;base64,R0lGODlhAQABAAAAACwAAAAAAQABAAA="><form><input type="text"></form>`),
	})
	foreignScript := "fetch('" + foreign.URL + "/x', {mode: 'no-cors'}).catch(function () {})"
	open := func(name string) *Page {
		p := b.Page(t, s.URL)
		p.Open(s.URL + "/" + name)
		return p
	}

	good := open("good")
	require.Empty(t, good.Faults())
	require.Empty(t, good.Violations())
	require.Equal(t, []string{strings.TrimPrefix(s.URL, "http://")}, good.Hosts())
	good.Width(320)
	require.Empty(t, good.Overflow())
	paper := good.Print()
	require.Equal(t, 1, paper.Pages)
	require.True(t, paper.IsA4(), "%v x %v mm", paper.WidthMM, paper.HeightMM)
	picture := filepath.Join(t.TempDir(), "good.png")
	good.Screenshot(picture)
	shot, err := os.ReadFile(picture)
	require.NoError(t, err)
	require.Equal(t, "\x89PNG", string(shot[:4]))

	require.Contains(t, strings.Join(open("console").Faults(), "\n"), "the milk is off")
	p := open("exception")
	require.Contains(t, strings.Join(p.Faults(), "\n"), "nothing is not defined")
	p.Forgive()
	require.Empty(t, p.Faults())
	require.Contains(t, strings.Join(open("inline").Faults(), "\n"), "Content Security Policy")
	require.Contains(t, strings.Join(open("missing").Faults(), "\n"), "404")

	// A request that the policy lets through (this page has none) is found by its host.
	bare := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/f.js" {
			fmt.Fprint(w, foreignScript)
			return
		}
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, page1(`<link rel="icon" href="data:,"><script src="f.js"></script>`, ""))
	}))
	defer bare.Close()
	p = b.Page(t, bare.URL)
	p.Open(bare.URL)
	require.Contains(t, strings.Join(p.Faults(), "\n"), "foreign request: "+foreign.URL)

	p = open("wide")
	p.Width(320)
	found := strings.Join(p.Overflow(), "\n")
	require.Contains(t, found, "div#pipe reaches")
	require.NotContains(t, found, "inner")
	p.Width(1280)
	require.Empty(t, p.Overflow())

	broken := map[string]string{}
	for _, v := range open("axe").Violations() {
		broken[v.Rule] = v.String()
	}
	require.Contains(t, broken, "image-alt")
	require.Contains(t, broken["label"], "<input")
}

// TestSteps: a form is filled, files are chosen and dropped, a link is followed.
func TestSteps(t *testing.T) {
	b := Start(t)
	s := site(t, map[string]string{
		"form": page1(`<script src="form.js" defer></script>`, `<form action="next"><label>Name <input id="name" name="name" value="old"></label>
<label>Logs <input id="logs" type="file" multiple></label><div id="drop">Drop here</div><p id="said">nothing</p><button id="go">Go</button></form>`),
		"form.js": `function say(list) { var names = Array.from(list, function (f) { return f.name + ' ' + f.size; }); document.getElementById('said').textContent = names.join(', '); }
document.getElementById('logs').addEventListener('change', function () { say(this.files); });
document.getElementById('drop').addEventListener('drop', function (e) { e.preventDefault(); say(e.dataTransfer.files); });`,
		"next": page1("", `<p id="there">There</p>`),
	})
	dir := t.TempDir()
	one, two := filepath.Join(dir, "one.csv"), filepath.Join(dir, "zwölf.csv")
	require.NoError(t, os.WriteFile(one, []byte("a;b\n"), 0o644))
	require.NoError(t, os.WriteFile(two, []byte("\x00\xff12"), 0o644))
	p := b.Page(t, s.URL)
	p.Open(s.URL + "/form")
	p.Upload("#logs", one, two)
	p.WaitFor("document.getElementById('said').textContent !== 'nothing'")
	require.Equal(t, "one.csv 4, zwölf.csv 4", p.Text("#said"))
	p.Drop("#drop", two)
	require.Equal(t, "zwölf.csv 4", p.Text("#said"))
	p.Fill("#name", "new")
	p.Follow("#go")
	p.Wait("#there")
	require.Equal(t, s.URL+"/next?name=new", p.Address())
	require.Empty(t, p.Faults())
}

// TestChartsUnderThePolicy: the chart library draws where inline scripts and
// styles are forbidden.
func TestChartsUnderThePolicy(t *testing.T) {
	b := Start(t)
	assets := filepath.Join("..", "assets", "uplot")
	js, err := os.ReadFile(filepath.Join(assets, "uPlot.iife.min.js"))
	require.NoError(t, err)
	css, err := os.ReadFile(filepath.Join(assets, "uPlot.min.css"))
	require.NoError(t, err)
	s := site(t, map[string]string{
		"chart": page1(`<link rel="stylesheet" href="u.css"><script src="u.js" defer></script><script src="c.js" defer></script>`, `<div id="c"></div>`),
		"u.js":  string(js), "u.css": string(css),
		"c.js": `new uPlot({width: 300, height: 200, series: [{}, {label: 'Bed', stroke: 'black'}]}, [[1, 2, 3], [40, 45, 43]], document.getElementById('c'))`,
	})
	p := b.Page(t, s.URL)
	p.Open(s.URL + "/chart")
	p.Wait(".uplot canvas")
	require.Empty(t, p.Faults())
	var inked int
	p.Settle()
	p.Eval(`(function () { var c = document.querySelector('canvas'), d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data, n = 0; for (var i = 3; i < d.length; i += 4) if (d[i]) n++; return n; })()`, &inked)
	require.Greater(t, inked, 300, "the chart is drawn")
}

// TestAxeIsAsTaken holds the tests' own foreign files to the hashes beside them.
func TestAxeIsAsTaken(t *testing.T) {
	about, err := os.ReadFile(filepath.Join("testdata", "axe", "ABOUT.txt"))
	require.NoError(t, err)
	for _, name := range []string{"axe.min.js", "LICENSE", "LICENSE-3RD-PARTY.txt"} {
		b, err := os.ReadFile(filepath.Join("testdata", "axe", name))
		require.NoError(t, err)
		sum := sha256.Sum256(b)
		require.Contains(t, string(about), hex.EncodeToString(sum[:])+"  "+name+"\n")
	}
}
