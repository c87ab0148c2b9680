package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"yardheat/analysis/today"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/job"
)

// todayRoutes are the addresses of the last two days.
func (s *Server) todayRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /farm/{farm}/today", s.todayPage)
	mux.HandleFunc("POST /farm/{farm}/today", s.todayAgain)
}

// days keeps the last look at each farm, with what its folder held then.
type days struct {
	mu   sync.Mutex
	kept map[string]day
}

type day struct {
	state string
	at    time.Time
	today *today.Today
}

// keptDays are so many farms' looks.
const keptDays = 20

func newDays() *days { return &days{kept: map[string]day{}} }

func (d *days) get(farm string) (day, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	got, ok := d.kept[farm]
	return got, ok
}

func (d *days) put(farm string, got day) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if _, ok := d.kept[farm]; !ok && len(d.kept) >= keptDays {
		clear(d.kept)
	}
	d.kept[farm] = got
}

// stateOf tells one state of a farm's folder from another: farm.toml and the
// logs' names, sizes and times.
func stateOf(f farms.Farm) (string, error) {
	toml, err := f.TOML()
	if err != nil {
		return "", err
	}
	logs, err := f.Logs()
	if err != nil {
		return "", err
	}
	var b strings.Builder
	b.Write(toml)
	for _, l := range logs {
		fmt.Fprintf(&b, "\x00%s\x00%d\x00%d", l.Name, l.SizeB, l.At.UnixNano())
	}
	return b.String(), nil
}

// freshFor is how long a look stands although nothing new was given: the lines
// say how long ago the logs ended.
const freshFor = 10 * time.Minute

// todayView is the last two days as the page shows them.
type todayView struct {
	*view
	T     *today.Today
	At    time.Time
	zone  *time.Location
	NoLog bool
}

// todayPage shows the last look; where there is none, or the folder has changed
// since, a look is begun. That reads the farm and changes nothing in it.
func (s *Server) todayPage(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	v := &todayView{view: s.words(r)}
	page := &view{Title: v.Say("farm.today"), Farm: f, Section: "today", Page: v}
	state, err := stateOf(f)
	if err != nil || s.opt.Today == nil {
		v.NoLog = true
		s.show(w, r, http.StatusOK, "today", page)
		return
	}
	got, ok := s.days.get(f.Name())
	if !ok || got.state != state || s.opt.Now().Sub(got.at) > freshFor {
		s.look(w, r, f, state)
		return
	}
	v.T, v.At, v.zone = got.today, got.at, time.UTC
	if zone, err := time.LoadLocation(got.today.ZoneName); err == nil {
		v.zone = zone
	}
	s.show(w, r, http.StatusOK, "today", page)
}

// todayAgain looks anew.
func (s *Server) todayAgain(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	state, err := stateOf(f)
	if err != nil || s.opt.Today == nil {
		http.Redirect(w, r, farmURL(f.Name())+"/today", http.StatusSeeOther)
		return
	}
	s.look(w, r, f, state)
}

func (s *Server) look(w http.ResponseWriter, r *http.Request, f farms.Farm, state string) {
	name := f.Name()
	j, err := s.start(name, jobToday, toURL(farmURL(name)+"/today"), func(ctx context.Context, tell func(job.Progress)) error {
		t, err := s.opt.Today(ctx, f.Dir(), tell)
		if err != nil {
			return err
		}
		s.days.put(name, day{state: state, at: s.opt.Now(), today: t})
		return nil
	})
	if err != nil {
		s.fail(w, r, http.StatusServiceUnavailable, err)
		return
	}
	http.Redirect(w, r, jobURL(name, j.ID), http.StatusSeeOther)
}

// todayLine is one line in the reader's language.
type todayLine struct {
	Code, Label, State, StateText string
	Text                          string
	More                          []string // sentences of their own below
}

// Lines are those of the look, in their order.
func (v *todayView) Lines() []todayLine {
	var out []todayLine
	for i := range v.T.Lines {
		l := &v.T.Lines[i]
		state := strings.ReplaceAll(string(l.State), " ", "")
		out = append(out, todayLine{Code: string(l.Code), Label: v.Say("today.label." + string(l.Code)), State: state, StateText: v.Say("today.state." + state), Text: v.sentence(l), More: v.more(l)})
	}
	return out
}

// When is a time of the farm: the day of the week tells more than a date.
func (v *todayView) When(ms int64) string {
	at := time.UnixMilli(ms).In(v.zone)
	text := v.Say(fmt.Sprintf("today.day.%d", at.Weekday())) + " " + at.Format("15:04")
	if ms < v.T.To-6*86400e3 {
		return v.Choice.Moment(at)
	}
	return text
}

// Stretch says which time the lines are about.
func (v *todayView) Stretch() string {
	at := func(ms int64) string { return v.Choice.Moment(time.UnixMilli(ms).In(v.zone)) }
	return v.Say("today.stretch", "hours", v.Int(int(math.Round(float64(v.T.To-v.T.From)/3600e3))), "end", at(v.T.To))
}

// Looked says when the look was taken.
func (v *todayView) Looked() string { return v.Say("today.looked", "at", v.Choice.Moment(v.At)) }

var hole = regexp.MustCompile(`\{[a-z0-9_]+\}`)

// sentence fills the line's text with its numbers, times and words; what is not
// known says so.
func (v *todayView) sentence(l *today.Line) string {
	pairs := []any{"usual", v.usual(l), "what", v.subject(l), "beds", v.beds(l), "heats", v.heats(l), "ago", v.ago(l)}
	for _, n := range l.Numbers {
		if n.Of == "" {
			pairs = append(pairs, n.Key, v.number(n.Value, n.Key, n.Unit))
		}
	}
	for _, m := range l.Times {
		pairs = append(pairs, "at_"+m.Key, v.When(m.MS))
	}
	for _, w := range l.Words {
		if key := "today.word." + strings.ReplaceAll(w.Is, " ", ""); v.c.Has(key) {
			pairs = append(pairs, "word_"+w.Key, v.Say(key))
		}
	}
	text := v.Say("today." + string(l.Says))
	for _, h := range hole.FindAllString(text, -1) {
		name := strings.Trim(h, "{}")
		if !slices.Contains(pairs, any(name)) {
			pairs = append(pairs, name, v.Say("shown.none"))
		}
	}
	return strings.TrimSpace(v.Say("today."+string(l.Says), pairs...))
}

// number is a number in the reader's units, as coarse as the lines need it.
func (v *todayView) number(x float64, key, unit string) string {
	x, shown := v.Choice.Convert(x, unit)
	decimals := 0
	switch {
	case key == "effectiveness" || key == "plate_effectiveness" || key == "rise_share":
		return v.Choice.Number(100*x, 1) + "\u00a0%"
	case key == "caught_per_kwh":
		return v.Choice.Number(x, 2)
	case unit == "degC" || unit == "K":
		decimals = 1
	case unit == "1":
		if x != math.Trunc(x) {
			decimals = 1
		}
	case math.Abs(x) < 10:
		decimals = 1
	}
	text := v.Choice.Number(x, decimals)
	if shown == "1" || shown == "" || text == "" {
		return text
	}
	return text + "\u00a0" + shown
}

// usual is the range that the line's number was held against, "" without one.
func (v *todayView) usual(l *today.Line) string {
	for _, n := range l.Numbers {
		if n.Usual != nil && n.Of == "" {
			return v.rangeOf("today.usual", n)
		}
	}
	return ""
}

func (v *todayView) rangeOf(key string, n today.Number) string {
	low, high := v.number(n.Usual.Low, n.Key, n.Unit), v.number(n.Usual.High, n.Key, n.Unit)
	return v.Say(key, "low", low, "high", high, "n", v.Int(n.Usual.N), "of", v.Say("today.of."+strings.ReplaceAll(n.Usual.Of, " ", "")), "share", v.Percent(n.Usual.Share))
}

// subject is what loop or plate are measured by.
func (v *todayView) subject(l *today.Line) string {
	for _, n := range l.Numbers {
		if key := "today.subject." + n.Key; v.c.Has(key) {
			return v.Say(key, "n", v.number(n.Value, n.Key, n.Unit))
		}
	}
	return v.Say("shown.none")
}

func (v *todayView) beds(l *today.Line) string {
	var out []string
	for _, n := range l.Numbers {
		if n.Key != "bed_c" {
			continue
		}
		text := clean(n.Of) + " " + v.number(n.Value, n.Key, n.Unit)
		if n.Usual != nil {
			text += " " + v.rangeOf("today.bracket", n)
		}
		out = append(out, text)
	}
	return v.list(out)
}

func (v *todayView) heats(l *today.Line) string {
	var out []string
	for _, key := range []string{"yard", "milk", "socket"} {
		n, ok := l.Number(key + "_kwh")
		if !ok {
			if l.Word(key) != "" {
				out = append(out, v.Say("today.heat."+key)+" "+v.Say("shown.none"))
			}
			continue
		}
		text := v.Say("today.heat."+key) + " " + v.number(n.Value, n.Key, n.Unit)
		if n.Usual != nil {
			text += " " + v.rangeOf("today.bracket", n)
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}

// ago is how long ago the logs ended.
func (v *todayView) ago(l *today.Line) string {
	n, ok := l.Number("age_h")
	if !ok {
		return v.Say("shown.none")
	}
	return v.long(n.Value)
}

// long is a stretch of hours in words.
func (v *view) long(h float64) string {
	round := func(x float64) int { return int(math.Round(x)) }
	switch {
	case h < 1.5:
		return v.Count("today.minutes", round(60*h))
	case h < 48:
		return v.Count("today.hours", round(h))
	}
	return v.Count("today.days", round(h/24))
}

// more are sentences below the line: the probes, the cautions, what is unknown.
func (v *todayView) more(l *today.Line) []string {
	var out []string
	for _, p := range l.Probes {
		key := "today.probe." + p.What
		if p.What == "silent" && p.Column == "" {
			key = "today.probe.log"
		}
		out = append(out, v.Say(key, "name", clean(p.Name), "last", v.When(p.Last), "every", v.long(p.UsualS/3600), "share", v.Percent(p.Share)))
	}
	for _, c := range l.Cautions {
		out = append(out, v.CautionText(c.ID, c.Text).Text)
	}
	if n, ok := l.Number("small_too_cool"); ok && n.Value > 0 {
		out = append(out, v.Count("today.small", int(n.Value)))
	}
	if n, ok := l.Number("unknown"); ok && n.Value > 0 {
		out = append(out, v.Count("today.unknown."+string(l.Code), int(n.Value)))
	}
	return out
}
