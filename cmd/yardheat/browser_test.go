package main

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web/browser"
)

// TestPagesInABrowser opens the sample farm's report and a statement: nothing
// goes wrong, nothing is fetched from elsewhere, no rule of WCAG 2.2 AA is
// broken, nothing is wider than a phone, and both print on A4.
func TestPagesInABrowser(t *testing.T) {
	b := browser.Start(t)
	dir := filepath.Join(t.TempDir(), "farm")
	var out, errs bytes.Buffer
	require.Equal(t, exitDone, run([]string{"demo", dir}, strings.NewReader(""), &out, &errs), errs.String())
	require.Equal(t, exitDone, run([]string{"claim", dir, "--kwh", "5500", "--out", filepath.Join(dir, "report", "statement.html")}, strings.NewReader(""), &out, &errs), errs.String())
	files := http.FileServer(http.Dir(filepath.Join(dir, "report")))
	site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/favicon.ico" { // the browser asks by itself
			w.WriteHeader(http.StatusNoContent)
			return
		}
		files.ServeHTTP(w, r)
	}))
	defer site.Close()
	for _, c := range []struct {
		name   string
		sheets int // the most that it may print on
	}{{"report.html", 40}, {"statement.html", 3}} {
		t.Run(c.name, func(t *testing.T) {
			p := b.Page(t, site.URL)
			p.Open(site.URL + "/" + c.name)
			p.Width(1280)
			for _, v := range p.Violations() {
				t.Error(v)
			}
			for _, v := range p.BestPractice() {
				t.Log("good practice: ", v)
			}
			for _, px := range []int{320, 390} {
				p.Width(px)
				require.Empty(t, p.Overflow(), "at %d px", px)
			}
			for _, v := range p.Violations() {
				t.Error("at 390 px: ", v)
			}
			paper := p.Print()
			require.True(t, paper.IsA4(), "%.0f x %.0f mm", paper.WidthMM, paper.HeightMM)
			require.LessOrEqual(t, paper.Pages, c.sheets)
			t.Logf("%d sheets", paper.Pages)
			require.Empty(t, p.Faults())
			if keep := os.Getenv("YARDHEAT_PICTURES"); keep != "" {
				p.Screenshot(filepath.Join(keep, c.name+".png"))
			}
		})
	}
}
