package browser

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

//go:embed testdata/axe/axe.min.js
var axe string

// Standard are the tags of the rules that a page must keep: WCAG 2.2, A and AA.
var Standard = []string{"wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"}

// Violation is one rule that a page breaks.
type Violation struct {
	Rule   string   `json:"id"`
	Impact string   `json:"impact"`
	Help   string   `json:"help"`
	Tags   []string `json:"tags"`
	Nodes  []struct {
		Target []any  `json:"target"`
		HTML   string `json:"html"`
		Why    string `json:"failureSummary"`
	} `json:"nodes"`
}

// String tells where a rule is broken and what would mend it.
func (v Violation) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s (%s): %s, %d places", v.Rule, v.Impact, v.Help, len(v.Nodes))
	for i, n := range v.Nodes {
		if i == 5 {
			fmt.Fprintf(&b, "\n  and %d more", len(v.Nodes)-i)
			break
		}
		fmt.Fprintf(&b, "\n  %v\n    %s\n    %s", n.Target, n.HTML[:min(len(n.HTML), 200)], strings.ReplaceAll(n.Why, "\n", "\n    "))
	}
	return b.String()
}

// Violations are the broken rules of WCAG 2.2 A and AA on the page as it stands.
func (p *Page) Violations() []Violation {
	p.t.Helper()
	return p.rules(Standard...)
}

// BestPractice are broken rules that are good practice and no criterion.
func (p *Page) BestPractice() []Violation {
	p.t.Helper()
	return p.rules("best-practice")
}

func (p *Page) rules(tags ...string) []Violation {
	p.t.Helper()
	var there bool
	if p.Eval("typeof window.axe === 'object'", &there); !there {
		p.Eval(axe+"\n;true", nil)
	}
	var out []Violation
	p.Eval(`axe.run(document, {resultTypes: ['violations'], runOnly: {type: 'tag', values: ["`+strings.Join(tags, `","`)+`"]}}).then(function (r) { return r.violations; })`, &out)
	return out
}

const overflowScript = `(function () {
	var wide = document.documentElement.clientWidth, out = [];
	if (document.documentElement.scrollWidth <= wide) return out;
	document.querySelectorAll('body *').forEach(function (e) {
		var r = e.getBoundingClientRect();
		if (r.right <= wide + 0.5 || r.width === 0) return;
		for (var up = e.parentElement; up && up !== document.body; up = up.parentElement) {
			if (getComputedStyle(up).overflowX !== 'visible') return;
		}
		out.push(e.tagName.toLowerCase() + (e.id ? '#' + e.id : '') + (e.className && e.className.baseVal === undefined ? '.' + e.className : '') +
			' reaches ' + Math.round(r.right) + ' of ' + wide + ' px');
	});
	if (!out.length) out.push('the page is ' + document.documentElement.scrollWidth + ' px wide, of ' + wide);
	return out;
})()`

// Overflow names what reaches beyond the right edge, so that the page would have
// to be moved sideways to read it; what scrolls within itself does not count.
func (p *Page) Overflow() []string {
	p.t.Helper()
	var out []string
	p.Eval(overflowScript, &out)
	return out
}

// Screenshot writes a picture of the whole page as PNG.
func (p *Page) Screenshot(file string) {
	p.t.Helper()
	var b []byte
	p.run("take a picture", chromedp.FullScreenshot(&b, 100))
	if err := os.WriteFile(file, b, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// Paper is a page as it would be printed.
type Paper struct {
	PDF []byte
	// Pages of it, and the size of the first in mm.
	Pages             int
	WidthMM, HeightMM float64
}

// IsA4 says whether the paper is A4, upright or not.
func (p Paper) IsA4() bool {
	near := func(a, b float64) bool { return a > b-1 && a < b+1 }
	return near(p.WidthMM, 210) && near(p.HeightMM, 297) || near(p.WidthMM, 297) && near(p.HeightMM, 210)
}

var (
	pageObject = regexp.MustCompile(`/Type\s*/Page\b`)
	mediaBox   = regexp.MustCompile(`/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]`)
)

// Print prints the page to a PDF, on A4 unless its style says otherwise.
func (p *Page) Print() Paper {
	p.t.Helper()
	var out Paper
	p.run("print", chromedp.ActionFunc(func(ctx context.Context) error {
		b, _, err := page.PrintToPDF().WithPrintBackground(true).WithPreferCSSPageSize(true).WithPaperWidth(210 / 25.4).WithPaperHeight(297 / 25.4).Do(ctx)
		out.PDF = b
		return err
	}))
	if !bytes.HasPrefix(out.PDF, []byte("%PDF-")) {
		p.t.Fatal("print: no PDF came")
	}
	out.Pages = len(pageObject.FindAll(out.PDF, -1))
	if m := mediaBox.FindSubmatch(out.PDF); m != nil {
		points := func(b []byte) float64 { f, _ := strconv.ParseFloat(string(b), 64); return f / 72 * 25.4 }
		out.WidthMM, out.HeightMM = points(m[1]), points(m[2])
	}
	return out
}
