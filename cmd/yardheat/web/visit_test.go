package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/ingest/exports"
	"yardheat/ingest/farm"
	"yardheat/ingest/farm/edit"
	"yardheat/ingest/series"
	"yardheat/ingest/simfarm"
)

// give uploads files to the farm's logs page and waits until all are looked at.
func (g *rig) give(farm string, files ...file) []farms.Waiting {
	g.t.Helper()
	status, got := g.upload("/farm/"+farm+"/logs/files", files...)
	require.Equal(g.t, http.StatusOK, status, "%+v", got)
	g.ready(farm)
	f, err := g.s.opt.Store.Find(farm)
	require.NoError(g.t, err)
	w, err := f.Waiting()
	require.NoError(g.t, err)
	return w
}

// ready waits until no file is being read, and gives their states by id.
func (g *rig) ready(farm string) map[string]string {
	g.t.Helper()
	var states map[string]string
	require.Eventually(g.t, func() bool {
		status, body := g.get("/farm/" + farm + "/logs/state")
		require.Equal(g.t, http.StatusOK, status, body)
		var out struct {
			Files []struct{ ID, State string }
		}
		require.NoError(g.t, json.Unmarshal([]byte(body), &out))
		states = map[string]string{}
		reading := false
		for _, f := range out.Files {
			states[f.ID] = f.State
			reading = reading || f.State == stateReading
		}
		return !reading
	}, 60*time.Second, 20*time.Millisecond)
	return states
}

func (g *rig) farmOf(name string) (*farm.Farm, string) {
	g.t.Helper()
	f, err := g.s.opt.Store.Find(name)
	require.NoError(g.t, err)
	b, err := f.TOML()
	require.NoError(g.t, err)
	out, faults := farm.Read(edit.FarmFile, b)
	require.Empty(g.t, faults, string(b))
	return out, string(b)
}

// page gets a page that must be there, and holds what every page must.
func (g *rig) page(path string) string {
	g.t.Helper()
	status, body := g.get(path)
	require.Equal(g.t, http.StatusOK, status, body)
	require.NotContains(g.t, body, "[home.", "a text that is not in the catalogue")
	require.NotRegexp(g.t, `\[(logs|figures|field|quantity|again|problem|fault|stage|choice|event|other)\.[a-z_.-]+\]`, body)
	require.Empty(g.t, inline(body), path)
	checkLabels(g.t, body)
	return body
}

var (
	fieldTag = regexp.MustCompile(`<(?:input|select|textarea)\b[^>]*>`)
	attr     = func(tag, name string) string {
		m := regexp.MustCompile(`\s` + name + `="([^"]*)"`).FindStringSubmatch(tag)
		if m == nil {
			return ""
		}
		return m[1]
	}
)

// checkLabels: every field has a label, every id that is referred to stands once.
func checkLabels(t *testing.T, body string) {
	t.Helper()
	for _, tag := range fieldTag.FindAllString(body, -1) {
		if attr(tag, "type") == "hidden" {
			continue
		}
		id := attr(tag, "id")
		require.NotEmpty(t, id, tag)
		require.Contains(t, body, `for="`+id+`"`, "%s has no label", tag)
		for by := range strings.FieldsSeq(attr(tag, "aria-describedby")) {
			require.Equal(t, 1, strings.Count(body, ` id="`+by+`"`), "%s is described by %s", tag, by)
		}
	}
	seen := map[string]bool{}
	for _, m := range regexp.MustCompile(`\sid="([^"]*)"`).FindAllStringSubmatch(body, -1) {
		require.False(t, seen[m[1]], "id %s stands twice", m[1])
		seen[m[1]] = true
	}
}

func csvOf(header string, rows int, row func(i int) string) string {
	var b strings.Builder
	b.WriteString(header + "\n")
	for i := range rows {
		b.WriteString(row(i) + "\n")
	}
	return b.String()
}

// loop is a month of a yard logger, hourly.
func loopCSV(year, month int) string {
	return csvOf("Time;Cold feed [°C];Loop out [°C];Loop flow [L/min]", 24*20, func(i int) string {
		return fmt.Sprintf("%02d.%02d.%d %02d:00;%d,5;%d,25;%d,0", 1+i/24, month, year, i%24, 8+i%3, 20+i%17, i%7)
	})
}

func TestFirstPageAndNames(t *testing.T) {
	wrote := ""
	g := newRig(t, func(o *Options) {
		o.Sample = func(_ context.Context, dir string) error {
			wrote = dir
			return os.WriteFile(filepath.Join(dir, "farm.toml"), []byte("[farm]\ntimezone = \"UTC\"\n[[log]]\nfiles = \"x.csv\"\n"), 0o600)
		}
	}, farms.DefaultLimits())
	body := g.page("/")
	assert.Contains(t, body, `href="/farm/Hof"`)
	assert.Contains(t, body, `id="sample-farm"`)
	for name, want := range map[string]int{"": 422, "Hof": 409, "../up": 422, "CON": 422} {
		status, body := g.post("/farms", url.Values{"name": {name}})
		if name == "../up" && status == http.StatusSeeOther {
			continue // made plain by the store; its own tests say how
		}
		assert.Equal(t, want, status, name)
		assert.Contains(t, body, `id="name-error"`)
		assert.Contains(t, body, `value="`+html.EscapeString(name)+`"`, "what was typed stands there still")
	}
	status, _ := g.post("/farms/sample", url.Values{})
	assert.Equal(t, http.StatusSeeOther, status)
	assert.Contains(t, wrote, sampleTitle)
	wrote = ""
	status, _ = g.post("/farms/sample", url.Values{})
	assert.Equal(t, http.StatusSeeOther, status)
	assert.Empty(t, wrote, "it is written once")
}

// From nothing to a farm file, as a newcomer goes.
func TestFirstVisit(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	home := g.page("/farm/Hof")
	assert.Contains(t, home, `class="step now"><span class="step-number" aria-hidden="true">1`)
	assert.Contains(t, g.page("/farm/Hof/figures"), `href="/farm/Hof/logs"`)
	files := g.give("Hof", file{"yard-2026-01.csv", loopCSV(2026, 1)}, file{"yard-2026-02.csv", loopCSV(2026, 2)},
		file{"empty.csv", ""}, file{"login.csv", "<!doctype html><html>log in</html>"})
	require.Len(t, files, 4)
	assert.Contains(t, g.page("/farm/Hof"), `class="step now"><span class="step-number" aria-hidden="true">2`)
	body := g.page("/farm/Hof/logs")
	assert.Contains(t, body, "Water leaving the yard pipe")
	assert.Contains(t, body, "The file is empty.")
	assert.Contains(t, body, "This is a web page, not an export.")
	assert.Contains(t, body, "The same layout as yard-2026-01.csv")
	assert.NotContains(t, body, `id="take-in-button" disabled`)
	assert.Equal(t, map[string]string{files[0].ID: stateGood, files[1].ID: stateGood, files[2].ID: stateBroken, files[3].ID: stateBroken}, g.ready("Hof"))

	status, body := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europa/Berlin"}})
	assert.Equal(t, http.StatusUnprocessableEntity, status)
	assert.Contains(t, body, `id="zone-error"`)
	assert.Contains(t, body, `value="Europa/Berlin"`)
	status, body = g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europe/Berlin"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	f, toml := g.farmOf("Hof")
	assert.Equal(t, "Europe/Berlin", f.ZoneName)
	require.Len(t, f.Logs, 1, toml)
	assert.ElementsMatch(t, []string{"yard-2026-01.csv", "yard-2026-02.csv"}, f.Logs[0].Files)
	assert.Equal(t, 3, len(f.Logs[0].Columns))
	body = g.page("/farm/Hof/logs?done=2")
	assert.Contains(t, body, "2 files were taken in.")
	assert.Contains(t, body, "yard-2026-01.csv")
	assert.Contains(t, g.page("/farm/Hof"), `class="step now"><span class="step-number" aria-hidden="true">2`, "two broken files still wait")
	for _, w := range files[2:] {
		status, _ = g.post("/farm/Hof/logs/choose/"+w.ID, url.Values{"drop": {"1"}})
		assert.Equal(t, http.StatusSeeOther, status)
	}
	assert.Contains(t, g.page("/farm/Hof"), `class="step now"><span class="step-number" aria-hidden="true">3`)
	kept := g.page("/farm/Hof/logs/kept?name=yard-2026-01.csv")
	assert.Contains(t, kept, "Water leaving the yard pipe")
	status, _ = g.get("/farm/Hof/logs/kept?name=../../secret")
	assert.Equal(t, http.StatusNotFound, status)
}

// choose sends a card's form as it stands, with changes.
func (g *rig) choose(farm, id string, change url.Values) string {
	g.t.Helper()
	_, body := g.get("/farm/" + farm + "/logs/card/" + id)
	form := formOf(body)
	for k, v := range change {
		form[k] = v
	}
	status, body := g.post("/farm/"+farm+"/logs/choose/"+id, form)
	require.Equal(g.t, http.StatusSeeOther, status, body)
	g.ready(farm)
	_, body = g.get("/farm/" + farm + "/logs/card/" + id)
	return body
}

// formOf are a page's fields as a browser would send them.
func formOf(body string) url.Values {
	out := url.Values{}
	for _, m := range regexp.MustCompile(`(?s)<select\b[^>]*\sname="([^"]*)"[^>]*>(.*?)</select>`).FindAllStringSubmatch(body, -1) {
		options := regexp.MustCompile(`<option value="([^"]*)"( selected)?>`).FindAllStringSubmatch(m[2], -1)
		value := options[0][1]
		for _, o := range options {
			if o[2] != "" {
				value = o[1]
			}
		}
		out.Set(m[1], html.UnescapeString(value))
	}
	for _, tag := range regexp.MustCompile(`<input\b[^>]*>`).FindAllString(body, -1) {
		if kind := attr(tag, "type"); attr(tag, "name") != "" && kind != "checkbox" && kind != "file" {
			out.Set(html.UnescapeString(attr(tag, "name")), html.UnescapeString(attr(tag, "value")))
		}
	}
	out.Del("token")
	return out
}

func TestEveryFix(t *testing.T) {
	rows := func(head string, stamp func(i int) string, cells string) string {
		return csvOf(head, 30, func(i int) string { return stamp(i) + cells })
	}
	// Days up to 9: either number may be the day.
	either := func(i int) string { return fmt.Sprintf("03/04/2026 %02d:%02d", i/2, i%2*30) }
	plain := func(i int) string { return fmt.Sprintf("2026-01-%02d 00:00", 1+i) }
	g := newRig(t, nil, farms.DefaultLimits())
	said := func(name, text, fix string) (before, after string, l farm.Log) {
		t.Helper()
		status, _ := g.post("/farms", url.Values{"name": {name}})
		require.Equal(t, http.StatusSeeOther, status)
		id := g.give(name, file{"log.csv", text})[0].ID
		before = html.UnescapeString(g.page("/farm/" + name + "/logs"))
		require.Contains(t, before, `value="`+fix+`"`)
		after = html.UnescapeString(g.choose(name, id, url.Values{"fix": {fix}}))
		status, body := g.post("/farm/"+name+"/logs/keep", url.Values{"zone": {"Europe/Berlin"}})
		require.Equal(t, http.StatusSeeOther, status, body)
		f, _ := g.farmOf(name)
		require.NotEmpty(t, f.Logs)
		return before, after, f.Logs[0]
	}
	before, after, l := said("dates", rows("Time,Loop out [°C]", either, ",21.5"), "dates=mdy")
	assert.Contains(t, before, "3 April 2026 (day first)")
	assert.Contains(t, before, "4 March 2026 (month first)")
	assert.Contains(t, before, "your answer is needed")
	assert.Contains(t, before, `id="take-in-button" disabled`)
	assert.Contains(t, after, "2026-03-04 00:00")
	assert.Contains(t, after, `value="unsay=dates"`)
	assert.Equal(t, "mdy", l.Dates)

	_, after, l = said("zone", rows("Time,Loop out [°C]", plain, ",21.5"), "zone=UTC")
	assert.Contains(t, after, "World time (UTC)")
	assert.Equal(t, "UTC", l.Zone)

	_, _, l = said("stamp", csvOf("Time,Loop flow [L/min]", 200, func(i int) string {
		return fmt.Sprintf("2026-01-%02d %02d:00,%d.5", 1+i/24, i%24, i%5*7)
	}), "stamp=start")
	assert.Equal(t, "start", l.Stamp)

	_, after, l = said("decimal", csvOf("Time;Loop flow [L/h]", 60, func(i int) string {
		return plain(i % 30)[:8] + fmt.Sprintf("%02d %02d:00;%d,%03d", 1+i/24, i%24, 1+i%7, 100+i)
	}), "decimal=.")
	assert.Contains(t, after, `value="unsay=decimal"`)
	assert.Equal(t, ".", l.Decimal)
}

func TestFixesThatNobodyOffersAreNotTaken(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	id := g.give("Hof", file{"log.csv", loopCSV(2026, 1)})[0].ID
	for _, fix := range []string{"zone=Nowhere/City", "dates=xyz", "decimal=x", "clock=1h", "files=/etc/passwd", "like=0-0|none", "like=9-9|bed_temp", "without=7-7", "header=-1", "encoding=none"} {
		g.choose("Hof", id, url.Values{"fix": {fix}})
	}
	g.choose("Hof", id, url.Values{"q.0-0": {"no_quantity"}, "u.0-0": {"parrots"}, "n.0-0": {"perhaps"}, "f.0-0": {"sky"}})
	f, err := g.s.opt.Store.Find("Hof")
	require.NoError(t, err)
	n, err := readNote(f, id)
	require.NoError(t, err)
	assert.Empty(t, n.Said)
	assert.Empty(t, n.Columns)
	status, _ := g.post("/farm/Hof/logs/choose/0123456789abcdef", url.Values{"fix": {"zone=UTC"}})
	assert.Equal(t, http.StatusNotFound, status)
}

func TestColumnsAreCorrectedForAllOfALayout(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	text := func(month int) string { return strings.ReplaceAll(loopCSV(2026, month), "Loop out", "Probe 7") }
	files := g.give("Hof", file{"yard-01.csv", text(1)}, file{"yard-02.csv", text(2)})
	body := g.choose("Hof", files[0].ID, url.Values{"q.0-1": {"bed_temp"}, "p.0-1": {"north"}})
	assert.Contains(t, body, "Chosen by you.")
	g.choose("Hof", files[0].ID, url.Values{"p.0-1": {"north"}})
	for _, w := range files {
		_, card := g.get("/farm/Hof/logs/card/" + w.ID)
		assert.Equal(t, "bed_temp", formOf(card).Get("q.0-1"), w.Name)
		assert.Equal(t, "north", formOf(card).Get("p.0-1"), w.Name)
	}
	body = g.choose("Hof", files[0].ID, url.Values{"p.0-1": {"a@b"}})
	assert.Contains(t, body, `aria-invalid="true"`)
	assert.Contains(t, g.page("/farm/Hof/logs"), `id="take-in-button" disabled`)
	g.choose("Hof", files[0].ID, url.Values{"p.0-1": {"north"}, "q.0-2": {"ignore"}})
	status, body := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"UTC"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	f, toml := g.farmOf("Hof")
	require.Len(t, f.Logs, 1)
	got := map[string]string{}
	for _, c := range f.Logs[0].Columns {
		got[c.Header] = placed(c.Quantity, c.Place)
	}
	assert.Equal(t, map[string]string{"Cold feed [°C]": "mains_temp", "Probe 7 [°C]": "bed_temp@north", "Loop flow [L/min]": "ignore"}, got, toml)
}

// A trial file whose name stands first must not push out the season's logs.
func TestShortFileDoesNotPushOutTheSeason(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	trial := loopCSV(2026, 2)
	trial = strings.ReplaceAll(trial[:len(trial)/2], "Loop out", "Coil out")
	trial = trial[:strings.LastIndex(trial, "\n")+1]
	trialText := trial
	files := g.give("Hof", file{"a-trial.csv", trial}, file{"yard-01.csv", loopCSV(2026, 1)}, file{"yard-02.csv", loopCSV(2026, 2)})
	for _, w := range files {
		_, card := g.get("/farm/Hof/logs/card/" + w.ID)
		want := "loop_out_temp"
		if w.Name == "a-trial.csv" {
			want = "ignore"
			assert.Contains(t, card, "Left out, because Loop out")
		}
		got := formOf(card).Get("q.0-1")
		if got == "" {
			got = "ignore"
		}
		assert.Equal(t, want, got, w.Name)
		if w.Name == "a-trial.csv" {
			trial = w.ID
		}
	}
	assert.Contains(t, g.page("/farm/Hof/logs"), "In 1 file a column is left out")
	again := newRig(t, nil, farms.DefaultLimits())
	again.give("Hof", file{"a-trial.csv", trialText}, file{"yard-01.csv", loopCSV(2026, 1)}, file{"yard-02.csv", loopCSV(2026, 2)})
	status, body := again.post("/farm/Hof/logs/keep", url.Values{"zone": {"UTC"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	_, toml := again.farmOf("Hof")
	assert.Equal(t, 1, strings.Count(toml, `"loop_out_temp"`), toml) // the farm file is what the page said
	g.choose("Hof", trial, url.Values{"q.0-1": {"loop_out_temp"}})   // the farmer's word goes before length
	_, card := g.get("/farm/Hof/logs/card/" + trial)
	assert.Equal(t, "loop_out_temp", formOf(card).Get("q.0-1"))
	assert.NotContains(t, card, "Left out, because Loop out")
}

func TestMilkingsListIsNotToldOffAsALog(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	list := "Date,Start,End,Milk [L]\n"
	for day := 1; day <= 28; day++ {
		list += fmt.Sprintf("2026-01-%02d,05:%02d,06:%02d,%d\n2026-01-%02d,16:%02d,17:%02d,%d\n", day, day, day+20, 460+day, day, day, day+20, 440+day)
	}
	files := g.give("Hof", file{"milkings.csv", list})
	_, card := g.get("/farm/Hof/logs/card/" + files[0].ID)
	assert.Contains(t, card, "This is a list of milkings")
	assert.NotContains(t, card, "Some cells are no number")
	assert.NotContains(t, card, "stamp=start")
}

func TestUnitsPulsesAndCurrentsAreAsked(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	id := g.give("Hof", file{"log.csv", csvOf("Time,Wash water [gal],Loop water meter [pulses],Compressor [A],Tank", 200, func(i int) string {
		return fmt.Sprintf("2026-01-%02d %02d:00,%d.5,%d,%d.2,%d.5", 1+i/24, i%24, i%5*7, 1000+i*3, i%9, 40+i%20)
	})})[0].ID
	require.Equal(t, stateOpen, g.ready("Hof")[id])
	page := g.page("/farm/Hof/logs")
	assert.Contains(t, page, "Which gallon?")
	_, card := g.get("/farm/Hof/logs/card/" + id)
	f := formOf(card)
	require.Equal(t, "tank_temp", f.Get("q.0-3"))
	g.choose("Hof", id, url.Values{"u.0-0": {"gal_imp"}, "s.0-1": {"2,5"}, "v.0-2": {"400"}, "h.0-2": {"3"}, "w.0-2": {"0.85"}, "u.0-3": {"C"}, "save": {"1"}})
	require.Equal(t, stateGood, g.ready("Hof")[id], g.page("/farm/Hof/logs"))
	status, body := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"UTC"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	got, toml := g.farmOf("Hof")
	by := map[string]farm.Column{}
	for _, c := range got.Logs[0].Columns {
		by[c.Quantity] = c
	}
	assert.Equal(t, "gal_imp", by["wash_volume"].Unit, toml)
	assert.Equal(t, 2.5, by["loop_volume"].Scale, toml)
	assert.True(t, by["loop_volume"].Counter, toml)
	assert.Equal(t, 400.0, by["compressor_power"].Volts, toml)
	assert.Equal(t, 3, by["compressor_power"].Phases, toml)
	assert.Equal(t, "C", by["tank_temp"].Unit, toml)
}

// The next month: what differs is said before anything is taken in.
func TestNextMonth(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	g.give("Hof", file{"yard-2026-01.csv", loopCSV(2026, 1)})
	status, body := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europe/Berlin"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	march := strings.Replace(loopCSV(2026, 3), "Loop out [°C]", "Vorlauf neu [°C]", 1)
	again := file{"copy.csv", loopCSV(2026, 1)}
	files := g.give("Hof", file{"yard-2026-03.csv", march}, again)
	states := g.ready("Hof")
	assert.Equal(t, stateTwice, states[files[1].ID])
	page := html.UnescapeString(g.page("/farm/Hof/logs"))
	assert.Contains(t, page, "the logs of before going on")
	assert.Contains(t, page, "Vorlauf neu")
	assert.Contains(t, page, "a gap of")
	assert.Contains(t, page, "The same file is already here under the name yard-2026-01.csv")
	if strings.Contains(page, "Does another column take its place?") {
		fix := regexp.MustCompile(`value="(like=[^"]*)"`).FindStringSubmatch(page)
		require.NotNil(t, fix, page)
		g.choose("Hof", files[0].ID, url.Values{"fix": {fix[1]}})
	} else {
		assert.Contains(t, page, "is taken for it")
	}
	_, before := g.farmOf("Hof")
	status, body = g.post("/farm/Hof/logs/keep", url.Values{})
	require.Equal(t, http.StatusSeeOther, status, body)
	f, toml := g.farmOf("Hof")
	require.Len(t, f.Logs, 1, toml)
	assert.Contains(t, toml, `"yard-2026-03.csv"`)
	assert.Contains(t, toml, `"Vorlauf neu [°C]" = `)
	assert.Contains(t, toml, "loop_out_temp")
	earlier := g.page("/farm/Hof/file")
	id := regexp.MustCompile(`name="id" value="([^"]+)"`).FindStringSubmatch(earlier)
	require.NotNil(t, id)
	status, _ = g.post("/farm/Hof/file/back", url.Values{"id": {id[1]}})
	assert.Equal(t, http.StatusSeeOther, status)
	_, now := g.farmOf("Hof")
	assert.Equal(t, before, now, "back to the form before")
	for _, bad := range []string{"../../farm", "farm-20260101-000000-01", ""} {
		status, _ = g.post("/farm/Hof/file/back", url.Values{"id": {bad}})
		assert.Equal(t, http.StatusNotFound, status, bad)
	}
}

func (g *rig) figures(change url.Values) (int, string) {
	g.t.Helper()
	body := g.page("/farm/Hof/figures")
	part := body[strings.Index(body, `id="figures-form"`):]
	form := formOf(part[:strings.Index(part, "</form>")])
	for k, v := range change {
		form[k] = v
	}
	return g.post("/farm/Hof/figures", form)
}

func TestFigures(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	g.give("Hof", file{"yard-2026-01.csv", loopCSV(2026, 1)})
	status, body := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europe/Berlin"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	page := g.page("/farm/Hof/figures")
	assert.Contains(t, page, `class="probe have"`)
	assert.Contains(t, page, "for qualified people")
	assert.Contains(t, page, `id="f-loop-length_m-guess"`)
	assert.Contains(t, page, "We also have: The hot-water tank")
	_, before := g.farmOf("Hof")

	status, _ = g.figures(nil)
	require.Equal(t, http.StatusSeeOther, status)
	_, after := g.farmOf("Hof")
	assert.Equal(t, before, after, "a form sent as it stands changes nothing")

	status, body = g.figures(url.Values{"loop.length_m": {"long"}, "loop.bore_mm": {"900"}, "electricity.price_per_kwh": {"0,31"}})
	assert.Equal(t, http.StatusUnprocessableEntity, status)
	assert.Contains(t, body, `id="f-loop-length_m-error"`)
	assert.Contains(t, body, `value="long"`)
	assert.Contains(t, body, `id="f-loop-bore_mm-error"`)
	assert.Contains(t, body, `value="0,31"`, "what is right stays typed too")
	_, after = g.farmOf("Hof")
	assert.Equal(t, before, after, "nothing is saved where something is refused")

	status, body = g.figures(url.Values{"loop.length_m": {"460,5"}, "right.loop.bore_mm": {"1"}, "electricity.price_per_kwh": {"0,31 "}, "wash.target_c": {"84.5"}, "loop.wall_mm": {"12"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	f, toml := g.farmOf("Hof")
	assert.Equal(t, 460.5, f.Loop.LengthM)
	assert.Equal(t, 0.31, f.Electricity.PricePerKWh)
	assert.NotContains(t, toml, "check: placeholder", "both were looked at")
	assert.Contains(t, toml, "# bed_area_m2 = 200", "comments stay: "+toml)
	page = g.page("/farm/Hof/figures?saved=1")
	assert.Contains(t, page, `id="f-loop-wall_mm-ask"`, "unusual is asked about")
	assert.Contains(t, page, `id="saved"`)

	status, body = g.post("/farm/Hof/figures", url.Values{"base": {"another"}, "loop.length_m": {"77"}})
	assert.Equal(t, http.StatusConflict, status)
	assert.Contains(t, body, `id="conflict"`)
	assert.Contains(t, body, `value="77"`)
}

func TestFiguresThatNeedEachOther(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	g.give("Hof", file{"bed.csv", csvOf("Time,Bed north [°C]", 100, func(i int) string { return fmt.Sprintf("2026-01-%02d %02d:00,4%d.5", 1+i/24, i%24, i%7) })})
	status, body := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europe/Berlin"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	status, body = g.figures(url.Values{"instead.carrier": {"oil"}})
	assert.Equal(t, http.StatusUnprocessableEntity, status)
	assert.Contains(t, body, `id="f-instead-efficiency-error"`, body)
}

func TestFiguresInTheReadersUnits(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	g.give("Hof", file{"wash.csv", csvOf("Time,Wash temp [°C],Tank [°C]", 100, func(i int) string {
		return fmt.Sprintf("2026-01-%02d %02d:00,5%d.5,6%d.0", 1+i/24, i%24, i%7, i%5)
	})})
	status, body := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"America/Chicago"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	status, _ = g.post("/display", url.Values{"lang": {"en"}, "temp": {"F"}, "volume": {"gal_us"}, "decimal": {"point"}})
	require.Equal(t, http.StatusSeeOther, status)
	status, body = g.figures(url.Values{"wash.target_c": {"160"}, "tank[0].volume_l": {"120 gal"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	f, _ := g.farmOf("Hof")
	assert.InDelta(t, 71.1111, f.Wash.TargetC, 1e-3) // (160 − 32)·5/9
	assert.InDelta(t, 454.2494, f.Tanks[0].VolumeL, 1e-3)
	page := g.page("/farm/Hof/figures")
	assert.Contains(t, page, `value="160"`)
	assert.Contains(t, page, `value="120"`)
	_, before := g.farmOf("Hof")
	status, _ = g.figures(nil)
	require.Equal(t, http.StatusSeeOther, status)
	_, after := g.farmOf("Hof")
	assert.Equal(t, before, after, "showing and sending it again moves nothing")
}

func TestEvents(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	g.give("Hof", file{"yard-2026-01.csv", loopCSV(2026, 1)})
	status, _ := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europe/Berlin"}})
	require.Equal(t, http.StatusSeeOther, status)
	status, body := g.post("/farm/Hof/figures/event", url.Values{"at": {"soon"}, "what": {"bedded"}, "tonnes": {"-3"}})
	assert.Equal(t, http.StatusUnprocessableEntity, status)
	assert.Contains(t, body, `id="event-at-error"`)
	assert.Contains(t, body, `id="event-tonnes-error"`)
	status, body = g.post("/farm/Hof/figures/event", url.Values{"at": {"2026-01-05T09:30"}, "what": {"bedded"}, "tonnes": {"11,5"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	status, _ = g.post("/farm/Hof/figures/event", url.Values{"at": {"2026-01-09T10:00"}, "what": {"bedded"}, "own": {`Pumpe "neu" <b>`}})
	require.Equal(t, http.StatusSeeOther, status)
	f, toml := g.farmOf("Hof")
	require.Len(t, f.Events, 2, toml)
	assert.Equal(t, 11.5, f.Events[0].Tonnes)
	assert.Equal(t, `Pumpe "neu" <b>`, f.Events[1].What)
	page := g.page("/farm/Hof/figures")
	assert.Contains(t, page, "2026-01-05 09:30")
	assert.NotContains(t, page, "<b>")
	base := regexp.MustCompile(`name="base" value="([^"]+)"`).FindStringSubmatch(page)[1]
	status, _ = g.post("/farm/Hof/figures/event/remove", url.Values{"n": {"1"}, "base": {"old"}})
	assert.Equal(t, http.StatusConflict, status)
	status, _ = g.post("/farm/Hof/figures/event/remove", url.Values{"n": {"1"}, "base": {base}})
	assert.Equal(t, http.StatusSeeOther, status)
	f, _ = g.farmOf("Hof")
	require.Len(t, f.Events, 1)
}

// Awkward files: each is either understood or says what is wrong, and nothing of
// it is ever markup.
func TestAwkwardExports(t *testing.T) {
	layouts := exports.Corpus()
	step := 1
	if testing.Short() {
		step = 12
	}
	g := newRig(t, nil, farms.DefaultLimits())
	all := make([]int, layouts[0].Rows())
	for i := range all {
		all[i] = i
	}
	n := 0
	var files []file
	for i := 0; i < len(layouts); i += step {
		files = append(files, file{fmt.Sprintf("log-%03d.csv", i), string(layouts[i].Write(all))})
		n++
	}
	for some := range slices.Chunk(files, 40) {
		g.give("Hof", some...)
	}
	states := g.ready("Hof")
	require.Len(t, states, n)
	g.page("/farm/Hof/logs")
	status, _ := g.post("/display", url.Values{"lang": {"de"}})
	require.Equal(t, http.StatusSeeOther, status)
	page := g.page("/farm/Hof/logs")
	assert.Contains(t, page, "Wasser aus der Rohrschleife")
	good := 0
	for _, s := range states {
		if s == stateGood || s == stateOpen {
			good++
		}
	}
	assert.GreaterOrEqual(t, good, n*8/10)
}

func TestHeadersAreNeverMarkup(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	text := csvOf("Time,<img src=x onerror=alert(1)> [°C],\"Loop \u202eout [°C]\"", 50, func(i int) string {
		return fmt.Sprintf("2026-01-%02d %02d:00,2%d.5,3%d.5", 1+i/24, i%24, i%7, i%5)
	}) + "<script>alert(2)</script>,,\n"
	g.give("Hof", file{"a <b>.csv", text})
	_, page := g.get("/farm/Hof/logs")
	assert.NotContains(t, page, "<img")
	assert.NotContains(t, page, "<script>alert")
	assert.NotContains(t, page, "\u202e")
	assert.Contains(t, page, "&lt;img src=x")
}

func TestEveryQuantityHasItsWords(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	grouped := map[string]bool{}
	for _, group := range quantityGroups {
		for _, q := range group.list {
			require.False(t, grouped[q], q)
			grouped[q] = true
		}
	}
	for _, q := range series.Names() {
		assert.True(t, g.s.texts.Has("quantity."+string(q)), q)
		assert.True(t, g.s.texts.Has("quantity."+string(q)+".help"), q)
		assert.True(t, grouped[string(q)], "%s can't be chosen", q)
	}
	assert.Len(t, grouped, len(series.Names()))
}

func TestBrokenFarmFile(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	g.give("Hof", file{"yard-2026-01.csv", loopCSV(2026, 1)})
	status, _ := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europe/Berlin"}})
	require.Equal(t, http.StatusSeeOther, status)
	path := filepath.Join(g.dir, "Hof", "farm.toml")
	for _, text := range []string{"[farm\nname = 1", "[farm]\ntimezone = \"UTC\"\nlenght = 3\n[[log]]\nfiles = \"x\"\n"} {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		g.give("Hof", file{"yard-2026-02.csv", loopCSV(2026, 2)})
		assert.Contains(t, g.page("/farm/Hof/logs"), `id="farm-faults"`)
		g.page("/farm/Hof/figures")
		g.page("/farm/Hof")
		assert.Contains(t, g.page("/farm/Hof/file"), "[farm")
		status, _ = g.post("/farm/Hof/logs/keep", url.Values{})
		assert.Equal(t, http.StatusUnprocessableEntity, status)
	}
}

func TestSampleThatCannotBeWritten(t *testing.T) {
	g := newRig(t, func(o *Options) {
		o.Sample = func(context.Context, string) error { return errors.New("the disk is full") }
	}, farms.DefaultLimits())
	status, body := g.post("/farms/sample", url.Values{})
	assert.Equal(t, http.StatusInternalServerError, status)
	assert.Contains(t, body, "the disk is full")
}

// The invented farm's logs, given as a newcomer would: what is guessed maps every
// column as its own farm file does.
func TestSampleFarmByHand(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of reading")
	}
	dir := t.TempDir()
	sample, err := simfarm.Run(simfarm.Sample())
	require.NoError(t, err)
	require.NoError(t, sample.Write(dir))
	g := newRig(t, nil, farms.DefaultLimits())
	names, err := filepath.Glob(filepath.Join(dir, "*"))
	require.NoError(t, err)
	for _, n := range names {
		if filepath.Base(n) == "farm.toml" {
			continue
		}
		b, err := os.ReadFile(n)
		require.NoError(t, err)
		g.give("Hof", file{filepath.Base(n), string(b)})
	}
	page := g.page("/farm/Hof/logs")
	assert.Contains(t, page, "This is a list of milkings.")
	status, body := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europe/Bucharest"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	got, toml := g.farmOf("Hof")
	truth, err := os.ReadFile(filepath.Join(dir, "farm.toml"))
	require.NoError(t, err)
	want, faults := farm.Read(edit.FarmFile, truth)
	require.Empty(t, faults)
	of := func(f *farm.Farm) map[string]string {
		out := map[string]string{}
		for _, l := range f.Logs {
			for _, c := range l.Columns {
				out[c.Header] = c.Quantity
			}
		}
		return out
	}
	assert.Equal(t, of(want), of(got), toml)
	assert.Equal(t, "milkings.csv", got.Milkings.File)
	for _, n := range names {
		if filepath.Base(n) == "farm.toml" {
			continue
		}
		a, err := os.ReadFile(n)
		require.NoError(t, err)
		b, err := os.ReadFile(filepath.Join(g.dir, "Hof", filepath.Base(n)))
		require.NoError(t, err)
		assert.Equal(t, a, b, "%s stays as it was", n)
	}
}

func TestTheOffendingCellIsMarked(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	text := csvOf("Time;Loop out [°C];Bed [°C]", 60, func(i int) string {
		cell := fmt.Sprintf("4%d.5", i%7)
		if i == 20 {
			cell = "<i>lost</i>"
		}
		return fmt.Sprintf("2026-01-%02d %02d:00;2%d.5;%s", 1+i/24, i%24, i%7, cell)
	})
	g.give("Hof", file{"log.csv", text})
	page := g.page("/farm/Hof/logs")
	assert.Contains(t, page, "Line 22:")
	assert.Contains(t, page, "<mark>&lt;i&gt;lost&lt;/i&gt;</mark>")
}

// An order of dates that is but assumed is not shown as proved.
func TestAssumedOrderIsNoProof(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	g.give("Hof", file{"log.csv", csvOf("Time,Loop out [°C]", 30, func(i int) string { return fmt.Sprintf("03/04/2026 %02d:%02d,21.5", i/2, i%2*30) })})
	assert.NotContains(t, g.page("/farm/Hof/logs"), "you said so")
}

// A column of another name that is but guessed to be the one of before waits for
// the farmer's word; then it keeps all that stood for the old one.
func TestGuessedSuccessorWaits(t *testing.T) {
	g := newRig(t, nil, farms.DefaultLimits())
	files := g.give("Hof", file{"yard-2026-01.csv", loopCSV(2026, 1)})
	g.choose("Hof", files[0].ID, url.Values{"f.0-1": {"pocket"}})
	status, body := g.post("/farm/Hof/logs/keep", url.Values{"zone": {"Europe/Berlin"}})
	require.Equal(t, http.StatusSeeOther, status, body)
	feb := strings.Replace(loopCSV(2026, 2), "Loop out [°C]", "T7", 1)
	files = g.give("Hof", file{"yard-2026-02.csv", feb})
	page := html.UnescapeString(g.page("/farm/Hof/logs"))
	fix := regexp.MustCompile(`value="(like=0-1\|loop_out_temp)"`).FindStringSubmatch(page)
	require.NotNil(t, fix, page)
	_, card := g.get("/farm/Hof/logs/card/" + files[0].ID)
	require.Equal(t, "ignore", formOf(card).Get("q.0-1"), "not taken unasked")
	card = g.choose("Hof", files[0].ID, url.Values{"fix": {fix[1]}})
	require.Equal(t, "loop_out_temp", formOf(card).Get("q.0-1"))
	status, body = g.post("/farm/Hof/logs/keep", url.Values{})
	require.Equal(t, http.StatusSeeOther, status, body)
	f, toml := g.farmOf("Hof")
	require.Len(t, f.Logs, 1, toml)
	for _, c := range f.Logs[0].Columns {
		if c.Header == "T7" {
			assert.Equal(t, "loop_out_temp", c.Quantity)
			assert.Equal(t, "pocket", c.Fit, toml)
			return
		}
	}
	t.Fatal("T7 is not mapped: " + toml)
}
