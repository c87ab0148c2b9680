package web

import (
	"crypto/sha256"
	"encoding/base64"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/reports/results"
)

func TestReportFiles(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	dir := filepath.Join(g.dir, "Hof", "reports", "2026-11-28-091500")
	put := func(name, text string) {
		place := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(place), 0o700))
		require.NoError(t, os.WriteFile(place, []byte(text), 0o600))
	}
	style := "\nbody{margin:0}\n"
	put("report.html", `<!DOCTYPE html><style>`+style+`</style><p style="color:red&#59;">x</p><script>alert(1)</script>`)
	put("results.json", "{\n  \"schema\": \""+results.Schema+"\"}")
	put("sources.json", "{}")
	put("season.xlsx", "PK")
	put("charts/heat.svg", "<svg/>")
	mux := http.NewServeMux()
	mux.HandleFunc("GET /get/{id}/{name...}", func(w http.ResponseWriter, r *http.Request) {
		f, err := g.s.opt.Store.Find("Hof")
		require.NoError(t, err)
		g.s.serveReportFile(w, r, f, farms.Report{ID: r.PathValue("id")}, r.PathValue("name"))
	})
	g.s.handler = g.s.guard(mux)
	srv := &http.Server{Handler: g.s}
	l := listenHere(t, g.s)
	go func() { _ = srv.Serve(l) }()
	defer func() { _ = srv.Close() }()
	type reply struct {
		StatusCode int
		Header     http.Header
	}
	get := func(path string) (reply, string) {
		r := g.request(http.MethodGet, path, nil)
		r.URL.Host, r.Host = l.Addr().String(), l.Addr().String()
		r.AddCookie(&http.Cookie{Name: cookieName(r), Value: g.s.sessions.begin()})
		res, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		defer func() { _ = res.Body.Close() }()
		b, err := io.ReadAll(res.Body)
		require.NoError(t, err)
		return reply{res.StatusCode, res.Header}, string(b)
	}
	hash := func(text string) string {
		sum := sha256.Sum256([]byte(text))
		return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	res, _ := get("/get/2026-11-28-091500/report.html")
	require.Equal(t, http.StatusOK, res.StatusCode)
	csp := res.Header.Get("Content-Security-Policy")
	require.Contains(t, csp, "default-src 'none'; style-src "+hash(style)+" "+hash("color:red;")+" 'unsafe-hashes';")
	require.Contains(t, csp, "sandbox allow-same-origin")
	require.NotContains(t, csp, "script")
	require.NotContains(t, csp, "unsafe-inline")
	require.Equal(t, "text/html; charset=utf-8", res.Header.Get("Content-Type"))
	require.Equal(t, `inline; filename="Hof 2026-11-28-091500 report.html"`, res.Header.Get("Content-Disposition"))
	res, _ = get("/get/2026-11-28-091500/report.html?download")
	require.Contains(t, res.Header.Get("Content-Disposition"), "attachment")
	res, body := get("/get/2026-11-28-091500/season.xlsx")
	require.Equal(t, "PK", body)
	require.Contains(t, res.Header.Get("Content-Disposition"), "attachment")
	res, _ = get("/get/2026-11-28-091500/charts/heat.svg")
	require.Equal(t, "image/svg+xml", res.Header.Get("Content-Type"))
	for _, path := range []string{"none.html", "..%2f..%2ffarm.toml", "../../.yardheat/title", "charts", "charts/", "%2fetc%2fpasswd", "report.html%00"} {
		res, _ = get("/get/2026-11-28-091500/" + path)
		require.Equal(t, http.StatusNotFound, res.StatusCode, path)
	}
	res, _ = get("/get/..%2f.yardheat/title")
	require.Equal(t, http.StatusNotFound, res.StatusCode)
	require.NoError(t, os.Remove(filepath.Join(dir, "sources.json")))
	res, _ = get("/get/2026-11-28-091500/season.xlsx")
	require.Equal(t, http.StatusNotFound, res.StatusCode, "half a report")
}
