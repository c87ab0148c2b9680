package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"html"
	"io"
	"math"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/today"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/job"
	"yardheat/ingest"
	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

const hostile = "<b>\u202ered</b> =cmd|' /C calc'!A0 ../../etc \x07"

// pageUnderTest is a server over one farm folder, and a browser that was let in.
type pageUnderTest struct {
	t     *testing.T
	dir   string
	srv   *httptest.Server
	page  *Server
	http  *http.Client
	token string
}

func openPage(t *testing.T, change func(*Options)) *pageUnderTest {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "farm")
	require.NoError(t, os.MkdirAll(dir, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "farm.toml"), []byte("[farm]\nname = \"Test\"\ntimezone = \"Europe/Berlin\"\n"), 0o600))
	store, err := farms.Open(dir, farms.DefaultLimits(), time.Now)
	require.NoError(t, err)
	srv := httptest.NewUnstartedServer(nil)
	opt := Options{Store: store, Key: strings.Repeat("k", 32), Version: "test", Now: time.Now, Hosts: []string{srv.Listener.Addr().String()},
		Report: func(context.Context, string, string, Period, func(job.Progress)) error {
			return errors.New("no report in this test")
		}}
	if change != nil {
		change(&opt)
	}
	page, err := New(opt)
	require.NoError(t, err)
	srv.Config.Handler = page
	srv.Start()
	t.Cleanup(srv.Close)
	t.Cleanup(func() { require.NoError(t, page.Close(context.Background())) })
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	p := &pageUnderTest{t: t, dir: dir, srv: srv, page: page, http: &http.Client{Jar: jar}}
	code, body := p.get("/enter?key=" + opt.Key)
	require.Equal(t, http.StatusOK, code, body)
	got := regexp.MustCompile(`name="yardheat-token" content="([^"]+)"`).FindStringSubmatch(body)
	require.NotNil(t, got, body)
	p.token = got[1]
	return p
}

func (p *pageUnderTest) get(path string) (int, string) {
	p.t.Helper()
	resp, err := p.http.Get(p.srv.URL + path)
	require.NoError(p.t, err)
	defer func() { require.NoError(p.t, resp.Body.Close()) }()
	return read(p.t, resp)
}

func (p *pageUnderTest) post(path string, v url.Values) (int, string) {
	p.t.Helper()
	if v == nil {
		v = url.Values{}
	}
	v.Set("token", p.token)
	resp, err := p.http.PostForm(p.srv.URL+path, v)
	require.NoError(p.t, err)
	defer func() { require.NoError(p.t, resp.Body.Close()) }()
	return read(p.t, resp)
}

// has and hasNot look for a text in a page and, unlike the library's, do not print
// the whole page; has takes it as a reader sees it.
func has(t *testing.T, body, want string, why ...any) {
	t.Helper()
	if !strings.Contains(body, want) && !strings.Contains(html.UnescapeString(body), want) {
		t.Errorf("the page lacks %q %v", want, why)
	}
}

func hasNot(t *testing.T, body, no string, why ...any) {
	t.Helper()
	if at := strings.Index(body, no); at >= 0 {
		t.Errorf("the page holds %q: …%q %v", no, body[max(0, at-80):at+len(no)], why)
	}
}

func read(t *testing.T, resp *http.Response) (int, string) {
	t.Helper()
	b, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return resp.StatusCode, string(b)
}

// show sets the browser's language and units.
func (p *pageUnderTest) show(v url.Values) {
	p.t.Helper()
	code, _ := p.post("/display", v)
	require.Equal(p.t, http.StatusOK, code)
}

// putReport puts a finished report into the farm: what the fixtures of a
// results.json, a record and a table of cycles hold, with hostile names.
func (p *pageUnderTest) putReport(id string, change func(m map[string]any)) {
	p.t.Helper()
	dir := filepath.Join(p.dir, "reports", id)
	require.NoError(p.t, os.MkdirAll(filepath.Join(dir, "charts"), 0o755))
	b, err := os.ReadFile(top("reports", "results", "saved", "testdata", "report.json"))
	require.NoError(p.t, err)
	var m map[string]any
	require.NoError(p.t, json.Unmarshal(b, &m))
	if change != nil {
		change(m)
		b, err = json.Marshal(m)
		require.NoError(p.t, err)
	}
	put := func(name string, b []byte) {
		require.NoError(p.t, os.WriteFile(filepath.Join(dir, filepath.FromSlash(name)), b, 0o600))
	}
	put("results.json", b)
	put("report.html", []byte("<!DOCTYPE html><html lang=\"en\"><head><title>r</title><style>p{}</style></head><body><p>r</p></body></html>"))
	put("season.xlsx", []byte("xlsx"))
	put("milkings.csv", []byte("cycle,start_utc,loop_kwh,plant_kwh,element_kwh,wash_kwh\n1,2026-03-28T04:00:00Z,5,2,1,\n2,2026-03-28T15:00:00Z,6,2,1,9\n3,2026-03-29T03:00:00Z,7,,1,9\n"))
	put("record.csv", testRecord(3000))
	put("sources.json", []byte("{}"))
	put("charts/washes.svg", []byte(`<svg xmlns="http://www.w3.org/2000/svg"/>`))
}

// testRecord is a record of n minutes around the spring change of clocks, with one
// sharp peak.
func testRecord(n int) []byte {
	var b bytes.Buffer
	b.WriteString("time_utc,time_local,loop_out_temp_degC,bed_temp@<i>north_degC,loop_flow_L/min,flags\n")
	at := time.Date(2026, 3, 28, 12, 0, 0, 0, time.UTC)
	for i := range n {
		out := "20"
		if i == 1234 {
			out = "63.5"
		}
		stamp := at.Add(time.Duration(i) * time.Minute).Format(time.RFC3339)
		b.WriteString(stamp + "," + stamp + "," + out + ",45,,\n")
	}
	return b.Bytes()
}

func TestReportPageInBothLanguages(t *testing.T) {
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", nil)
	code, body := p.get("/farm/farm/reports/2026-04-01-080000")
	require.Equal(t, http.StatusOK, code, body)
	for _, want := range []string{"What to look at", "kWh from the yard", "/assets/report.js", "Take it with you"} {
		has(t, body, want)
	}
	assert.Empty(t, missing.FindAllString(visible(body), -1), "texts that are missing")
	hasNot(t, visible(body), "NaN")
	p.show(url.Values{"lang": {"de"}, "decimal": {"comma"}, "temp": {"F"}, "volume": {"gal_us"}})
	_, german := p.get("/farm/farm/reports/2026-04-01-080000")
	has(t, german, "Worauf zu achten ist")
	assert.Empty(t, missing.FindAllString(visible(german), -1), "texts that are missing")
	has(t, german, "°F")
	has(t, german, "gal")
	assert.NotEmpty(t, regexp.MustCompile(`\d,\d`).FindString(visible(german)))
}

var missing = regexp.MustCompile(`\[[a-z]+\.[a-z_.]+\]`)

var tag = regexp.MustCompile(`(?s)<script.*?</script>|<[^>]*>`)

// visible is a page without its markup.
func visible(body string) string { return tag.ReplaceAllString(body, " ") }

func TestHostileTextsAreOnlyText(t *testing.T) {
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", func(m map[string]any) {
		m["farm"].(map[string]any)["name"] = hostile
		m["saving"].(map[string]any)["carrier"] = hostile
		m["problems"] = []any{map[string]any{"code": hostile, "severity": "doubt", "file": hostile, "where": hostile, "text": hostile}}
		m["cautions"] = []any{map[string]any{"id": hostile, "text": hostile, "because": hostile, "first": "2026-03-01T00:00:00Z", "last": "2026-03-01T00:00:00Z"}}
		m["loop"].(map[string]any)["changes"] = []any{map[string]any{"at": "2026-03-01T00:00:00Z", "of": hostile, "text": hostile, "events": []any{map[string]any{"at": "2026-03-01T00:00:00Z", "what": hostile}}}}
		for _, c := range m["data"].(map[string]any)["channels"].([]any) {
			one := c.(map[string]any)
			one["column"], one["file"], one["kept"], one["samples"] = hostile, hostile, 1, 2
		}
	})
	p.putReport("2026-04-02-080000", func(m map[string]any) {
		m["data"].(map[string]any)["files"].([]any)[0].(map[string]any)["name"] = hostile
		m["settings"].(map[string]any)[hostile] = map[string]any{"value": hostile, "source": "set"}
	})
	for _, path := range []string{"/farm/farm/reports/2026-04-01-080000", "/farm/farm/reports", "/farm/farm/compare?a=2026-04-01-080000&b=2026-04-02-080000", "/farm/farm/reports/2026-04-01-080000/delete"} {
		code, body := p.get(path)
		require.Equal(t, http.StatusOK, code, path)
		hasNot(t, body, "<b>", path)
		hasNot(t, body, "\u202e", path)
		hasNot(t, body, "\x07", path)
	}
	_, body := p.get("/farm/farm/reports/2026-04-01-080000/chart/temperatures")
	hasNot(t, body, "<i>", "JSON escapes angle brackets")
}

func TestReportThatIsNotThere(t *testing.T) {
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", nil)
	for _, path := range []string{"/farm/farm/reports/2026-04-01-080001", "/farm/other/reports", "/farm/farm/reports/..%2f..", "/farm/farm/reports/2026-04-01-080000/chart/none",
		"/farm/farm/reports/2026-04-01-080000/file/..%2f..%2ffarm.toml", "/farm/farm/reports/2026-04-01-080000/file/charts/..%2f..%2f..%2ffarm.toml", "/farm/farm/reports/2026-04-01-080000/file/other.csv",
		"/farm/farm/reports/2026-04-01-080000/bundle.zip", "/farm/farm/compare?a=2026-04-01-080000&b=x", "/farm/farm/work/99", "/farm/farm/work/abc"} {
		code, _ := p.get(path)
		assert.Equal(t, http.StatusNotFound, code, path)
	}
}

func TestDamagedReportSaysSo(t *testing.T) {
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", nil)
	require.NoError(t, os.WriteFile(filepath.Join(p.dir, "reports", "2026-04-01-080000", "results.json"), []byte("{"), 0o600))
	code, _ := p.get("/farm/farm/reports/2026-04-01-080000")
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	code, body := p.get("/farm/farm/reports")
	assert.Equal(t, http.StatusOK, code)
	has(t, body, "cannot be read here")
}

func TestFilesOfAReport(t *testing.T) {
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", nil)
	resp, err := p.http.Get(p.srv.URL + "/farm/farm/reports/2026-04-01-080000/file/season.xlsx")
	require.NoError(t, err)
	defer func() { require.NoError(t, resp.Body.Close()) }()
	disposition := resp.Header.Get("Content-Disposition")
	_, body := read(t, resp)
	assert.Contains(t, disposition, "attachment")
	assert.Equal(t, "xlsx", body)
}

func TestDeletingAReportAsksAndLeavesTheLogs(t *testing.T) {
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", nil)
	p.putReport("2026-04-02-080000", nil)
	code, body := p.get("/farm/farm/reports/2026-04-01-080000/delete")
	require.Equal(t, http.StatusOK, code)
	has(t, body, "method=\"post\"")
	assert.DirExists(t, filepath.Join(p.dir, "reports", "2026-04-01-080000"), "asking deletes nothing")
	code, _ = p.post("/farm/farm/reports/2026-04-01-080000/delete", nil)
	assert.Equal(t, http.StatusOK, code)
	assert.NoDirExists(t, filepath.Join(p.dir, "reports", "2026-04-01-080000"))
	assert.DirExists(t, filepath.Join(p.dir, "reports", "2026-04-02-080000"))
	assert.FileExists(t, filepath.Join(p.dir, "farm.toml"))
}

func (p *pageUnderTest) chart(path string) chartData {
	p.t.Helper()
	code, body := p.get("/farm/farm/reports/2026-04-01-080000/chart/" + path)
	require.Equal(p.t, http.StatusOK, code)
	var got struct {
		chartData
		Series []struct {
			chartSeries
			Y []*float64 `json:"y"`
		} `json:"series"`
	}
	require.NoError(p.t, json.Unmarshal([]byte(body), &got), body)
	d := got.chartData
	for _, s := range got.Series {
		one := s.chartSeries
		for _, y := range s.Y {
			if y == nil {
				one.Y = append(one.Y, math.NaN())
			} else {
				one.Y = append(one.Y, *y)
			}
		}
		require.Len(p.t, one.Y, len(d.X), "%s: a value for each stamp", path)
		d.Series = append(d.Series, one)
	}
	return d
}

func TestThinnedChartKeepsThePeak(t *testing.T) {
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", nil)
	d := p.chart("temperatures?points=60")
	require.LessOrEqual(t, len(d.X), 60)
	require.Len(t, d.Series, 2)
	peak := 0.0
	for _, y := range d.Series[0].Y {
		peak = max(peak, y)
	}
	assert.Equal(t, 63.5, peak, "one minute among 3000")
	assert.IsIncreasing(t, d.X)
	// The stretch asked for, cell by cell: 63.5 stands at its own minute.
	from := time.Date(2026, 3, 28, 12, 0, 0, 0, time.UTC).Unix() + 1230*60
	d = p.chart("temperatures?from=" + itoa64(from) + "&to=" + itoa64(from+600))
	require.Len(t, d.X, 10)
	assert.Equal(t, from+240, d.X[4])
	assert.Equal(t, 63.5, d.Series[0].Y[4])
	assert.Equal(t, "Europe/Rome", d.Zone)
	p.show(url.Values{"lang": {"en"}, "temp": {"F"}})
	assert.Equal(t, 146.3, p.chart("temperatures?from=" + itoa64(from) + "&to=" + itoa64(from+600)).Series[0].Y[4], "63.5 °C are 146.3 °F")
	for _, odd := range []string{"from=x&to=-5", "from=99999999999999999999", "points=1000000", "points=-1", "from=2000000000&to=1000000000", "days=-1", "days=999999999999"} {
		d := p.chart("temperatures?" + odd)
		assert.LessOrEqual(t, len(d.X), mostPoints+2, odd)
	}
}

func TestHeatByLocalDay(t *testing.T) {
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", nil)
	d := p.chart("heat?by=day")
	require.Len(t, d.X, 2)
	rome, err := time.LoadLocation("Europe/Rome")
	require.NoError(t, err)
	assert.Equal(t, time.Date(2026, 3, 29, 0, 0, 0, 0, rome).Unix(), d.X[1], "the day on which the clocks change begins at its own midnight")
	assert.Equal(t, values{11, 7}, d.Series[0].Y)
	assert.True(t, d.Series[1].Y[1] != d.Series[1].Y[1], "what is not known is no zero")
	assert.Equal(t, values{9, 9}, d.Series[3].Y)
	week := p.chart("heat?by=week")
	require.Len(t, week.X, 1)
	assert.Equal(t, time.Date(2026, 3, 23, 0, 0, 0, 0, rome).Unix(), week.X[0], "a Monday")
	for _, name := range []string{"heat", "washes", "loop", "plate", "draw", "flows"} {
		p.chart(name)
	}
}

func TestRecordThatIsMissingSaysWhy(t *testing.T) {
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", nil)
	name := filepath.Join(p.dir, "reports", "2026-04-01-080000", "record.csv")
	require.NoError(t, os.WriteFile(name, []byte("not ours"), 0o600))
	assert.NotEmpty(t, p.chart("temperatures").Why)
	require.NoError(t, os.Remove(name))
	assert.NotEmpty(t, p.chart("temperatures").Why)
}

func TestComparedDifferences(t *testing.T) {
	figure := func(value, half float64) map[string]any {
		return map[string]any{"value": value, "low": value - half, "high": value + half, "unit": "W/K", "confidence": 0.95, "basis": "fitted", "n": 3, "coverage": 1, "shown": "x"}
	}
	p := openPage(t, nil)
	p.putReport("2026-04-01-080000", func(m map[string]any) { m["loop"].(map[string]any)["ua_w_per_k"] = figure(600, 30) })
	p.putReport("2026-04-02-080000", func(m map[string]any) {
		m["loop"].(map[string]any)["ua_w_per_k"] = figure(650, 40)
	})
	p.putReport("2026-05-02-080000", func(m map[string]any) {
		m["loop"].(map[string]any)["ua_w_per_k"] = figure(650, 40)
		m["period"].(map[string]any)["start"], m["period"].(map[string]any)["end"] = "2027-01-01T00:00:00Z", "2027-02-01T00:00:00Z"
		delete(m["data"].(map[string]any), "files")
	})
	_, same := p.get("/farm/farm/compare?a=2026-04-01-080000&b=2026-04-02-080000")
	has(t, same, "+50")
	hasNot(t, same, "50\u00a0±", "the same readings: no interval")
	has(t, same, "no interval here")
	_, apart := p.get("/farm/farm/compare?a=2026-04-01-080000&b=2026-05-02-080000")
	has(t, apart, "+50\u00a0±\u00a050\u00a0W/K", "30 and 40 put together are 50")
	has(t, apart, "File only in the first")
}

// waitFor asks until a page holds what is wanted.
func (p *pageUnderTest) waitFor(path, want string) string {
	p.t.Helper()
	var body string
	require.Eventually(p.t, func() bool {
		_, body = p.get(path)
		return strings.Contains(body, want)
	}, 5*time.Second, 10*time.Millisecond, "%s never held %q", path, want)
	return body
}

func TestWorkIsSharedCancelledAndLeavesNothing(t *testing.T) {
	began, asked := make(chan struct{}), Period{}
	p := openPage(t, func(o *Options) {
		o.Report = func(ctx context.Context, _, out string, period Period, tell func(job.Progress)) error {
			asked = period
			tell(job.Progress{Stage: work.StageRead, Done: 1, Total: 4, File: hostile})
			close(began)
			<-ctx.Done()
			return ctx.Err()
		}
	})
	code, body := p.post("/farm/farm/work", url.Values{"period": {"days"}, "from": {"2026-01-01"}, "to": {"2026-01-31"}})
	require.Equal(t, http.StatusOK, code)
	<-began
	assert.Equal(t, Period{"2026-01-01", "2026-01-31"}, asked)
	has(t, body, "being worked out")
	body = p.waitFor("/farm/farm/work/1", "(2 of 4)")
	hasNot(t, body, "<b>")
	has(t, body, `http-equiv="refresh"`, "without script the page asks by itself")
	_, second := p.get("/farm/farm/work")
	has(t, second, "/farm/farm/work/1/cancel", "a second tab sees the same job")
	_, again := p.post("/farm/farm/work", url.Values{"period": {"all"}})
	has(t, again, "/farm/farm/work/1/cancel", "asking twice joins the first")
	_, state := p.get("/farm/farm/work/1/state")
	has(t, state, `"state":"running"`)
	p.post("/farm/farm/work/1/cancel", nil)
	p.waitFor("/farm/farm/work/1", "Cancelled")
	entries, err := os.ReadDir(filepath.Join(p.dir, "reports"))
	if err == nil {
		assert.Empty(t, entries)
	}
}

func TestPeriodOfTheForm(t *testing.T) {
	p := openPage(t, nil)
	for _, bad := range []url.Values{{"period": {"days"}, "from": {"2026-13-01"}}, {"period": {"days"}, "from": {"2026-02-02"}, "to": {"2026-02-01"}}, {"period": {"days"}, "to": {hostile}}} {
		code, body := p.post("/farm/farm/work", bad)
		assert.Equal(t, http.StatusBadRequest, code)
		has(t, body, `role="alert"`)
		hasNot(t, body, "<b>")
	}
	got, wrong := asked(url.Values{"period": {"month"}}, time.Date(2026, 3, 31, 9, 0, 0, 0, time.UTC))
	assert.Equal(t, Period{"2026-02-01", "2026-02-28"}, got)
	assert.Empty(t, wrong)
}

func TestFaultsOfTheInputAreShownWithTheirPlace(t *testing.T) {
	p := openPage(t, func(o *Options) {
		o.Report = func(context.Context, string, string, Period, func(job.Progress)) error {
			return &ingest.InputError{Faults: []series.Fault{{File: "yard<b>.csv", Where: "line 12", Got: `"8,5x"`, Want: "a number", Do: "mend the cell"}, {File: "farm.toml", Where: "line 3", Want: "a length"}}}
		}
	})
	p.post("/farm/farm/work", url.Values{"period": {"all"}})
	body := p.waitFor("/farm/farm/work/1", "mend the cell")
	for _, want := range []string{"yard&lt;b&gt;.csv", "line 12", "8,5x", "a number", `href="/farm/farm/logs"`, `href="/farm/farm/figures"`, "Nothing half-done"} {
		has(t, body, want)
	}
}

func TestWorkThatPanicsFailsAloneAndSaysOneLine(t *testing.T) {
	p := openPage(t, func(o *Options) {
		o.Report = func(context.Context, string, string, Period, func(job.Progress)) error { panic("boom") }
	})
	p.post("/farm/farm/work", url.Values{"period": {"all"}})
	body := p.waitFor("/farm/farm/work/1", "boom")
	hasNot(t, body, "goroutine", "where it failed is for the log")
}

func TestTodayIsCachedUntilTheFolderChanges(t *testing.T) {
	looks := 0
	p := openPage(t, func(o *Options) {
		o.Today = func(context.Context, string, func(job.Progress)) (*today.Today, error) {
			looks++
			return &today.Today{ZoneName: "Europe/Berlin", From: 0, To: 48 * 3600e3, Lines: []today.Line{
				{Code: today.CodeLogs, Says: today.LogsSilent, State: today.LookAt, Probes: []today.Probe{{Name: hostile, Column: "c", What: "silent", UsualS: 60}}},
				{Code: today.CodeNext, Says: today.NextLogger, State: today.LookAt}}}, nil
		}
	})
	body := p.waitFor("/farm/farm/today", "silent since")
	hasNot(t, body, "<b>")
	_, _ = p.get("/farm/farm/today")
	assert.Equal(t, 1, looks)
	require.NoError(t, os.WriteFile(filepath.Join(p.dir, "new.csv"), []byte("a"), 0o600))
	p.waitFor("/farm/farm/today", "silent since")
	assert.Equal(t, 2, looks, "a new log is looked at")
	p.post("/farm/farm/today", nil)
	p.waitFor("/farm/farm/today", "silent since")
	assert.Equal(t, 3, looks)
}

func TestLicencesPage(t *testing.T) {
	p := openPage(t, nil)
	code, body := p.get("/licences")
	assert.Equal(t, http.StatusOK, code)
	has(t, body, "uPlot")
	has(t, body, "Permission is hereby granted")
}
