package season

import (
	"fmt"
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/apart"
	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/series"
)

// Codes of clocks that stand apart.
const (
	// CodeClocksApart: the clock of a pipe's flow was put on that of its
	// temperatures.
	CodeClocksApart = "clocks-apart"
	// CodeClocksOpen: how far both stand apart can't be told; the budget
	// carries it.
	CodeClocksOpen = "clocks-open"
)

// pipes are the streams whose flow and temperatures may stand in different
// logs, with the quantities of the flow.
var pipes = [...]struct {
	stream string
	flow   []series.Quantity
	cold   bool // the cold side is a probe in the pipe
}{
	{"loop", []series.Quantity{"loop_flow", "loop_volume", "loop_valve", "loop_pump"}, true},
	{"plate", []series.Quantity{"plate_flow", "plate_volume", "plate_pump"}, true},
	{"wash", []series.Quantity{"wash_flow", "wash_volume"}, false},
	{"other use", []series.Quantity{"hot_use_volume"}, false},
}

// pipeClock is how a pipe's heat answers to what is left unknown between the
// clock of its flow and that of its temperatures.
type pipeClock struct {
	source int
	halfS  float64
}

// pipeDoubt is one such doubt before it is in the budget.
type pipeDoubt struct {
	stream  string
	log     int // of the flow
	flow    []series.Quantity
	halfS   float64
	name    string
	assumed bool
}

// together puts each pipe's flow on the clock of its temperatures where both
// stand in different logs, as apart finds it, and makes grid and account again.
// What is left unknown is kept for the budget.
func (b *builder) together(from, to int64) error {
	moves := make([]func(ms int64) float64, len(b.rec.Series)) // s later, by series
	any := false
	for _, p := range pipes {
		h := heatOf(b.acc, p.stream)
		if h == nil || h.Rows == nil || len(h.Hot) == 0 {
			continue
		}
		flowLog, ok := b.logOf(h.Flow)
		hotLog, hotOK := b.logOf(h.Hot)
		if info, _ := series.Lookup(h.Hot[0].Quantity); !ok || !hotOK || !info.Pipe {
			continue // a tank's probe does not answer to the second
		}
		coldLog, coldOK := b.logOf(h.Cold)
		if !p.cold || !coldOK {
			coldLog = hotLog
		}
		if hotLog == flowLog && coldLog == flowLog {
			continue
		}
		o := b.offset(p.stream, flowLog, hotLog)
		cold := o
		if coldLog != hotLog {
			cold = b.offset(p.stream, flowLog, coldLog)
		}
		if b.open(p.stream, p.flow, flowLog, hotLog, coldLog, o, cold) {
			continue
		}
		any = true
		for i, s := range b.rec.Series {
			switch {
			case s.Log == flowLog && has(p.flow, s.Quantity):
				moves[i] = o.At
			case coldLog != hotLog && s.Log == coldLog && b.isOf(h.Cold, s):
				moves[i] = func(ms int64) float64 { return o.At(ms) - cold.At(ms) }
			}
		}
	}
	if !any {
		return nil
	}
	return b.remake(moves, from, to)
}

// remake lays the record on its grid again with series moved.
func (b *builder) remake(moves []func(ms int64) float64, from, to int64) error {
	rec := *b.rec
	rec.Series = make([]*series.Series, len(b.rec.Series))
	for i, s := range b.rec.Series {
		if moves[i] != nil {
			s = movedBy(s, moves[i])
		}
		rec.Series[i] = s
	}
	g, err := grid.Build(&rec, from, to, b.opt.Account.Grid)
	if err != nil {
		return fmt.Errorf("grid: %w", err)
	}
	acc, err := account.Make(account.Input{Rec: &rec, Grid: g, FromMS: from, ToMS: to}, b.opt.Account)
	if err != nil {
		return fmt.Errorf("account: %w", err)
	}
	b.rec, b.grid, b.acc = &rec, g, acc
	return nil
}

// offset is how far the clock of a pipe's probes in one log stands ahead of
// that of its flow in another; 0, and exactly so, where both are one log.
func (b *builder) offset(stream string, flowLog, probeLog int) apart.Offset {
	if flowLog == probeLog {
		return apart.Offset{}
	}
	var pairs []apart.Pair
	for _, p := range b.acc.Pairs[stream] {
		if log, ok := b.logOf(p.Probe.Sources); ok && log == probeLog && p.Probe.One {
			pairs = append(pairs, p)
		}
	}
	if len(pairs) == 0 {
		return apart.Offset{Why: "no probe there answers to the start of flow alone"}
	}
	return apart.Find(pairs, b.opt.Apart)
}

// open says whether a pipe's clocks could not be put together, notes which,
// and what is left unknown.
func (b *builder) open(stream string, flow []series.Quantity, flowLog, hotLog, coldLog int, hot, cold apart.Offset) bool {
	names := b.rec.Farm.Logs
	beside := hotLog
	if beside == flowLog {
		beside = coldLog
	}
	where := fmt.Sprintf("%s: the flow stands in the log %s, temperatures in the log %s", stream, names[flowLog].Name, names[beside].Name)
	note := func(code, text string) {
		b.s.Problems = append(b.s.Problems, series.Problem{Code: code, Severity: series.Note, Where: stream, Text: text})
	}
	d := pipeDoubt{stream: stream, log: flowLog, flow: flow}
	why := hot.Why
	if why == "" {
		why = cold.Why
	}
	if why == "" {
		d.halfS = math.Hypot(hot.HalfS, cold.HalfS)
		if hotLog == coldLog {
			d.halfS = hot.HalfS
		}
		o := hot
		if hotLog == flowLog {
			o = cold
		}
		d.name = fmt.Sprintf("clocks of %s and %s (%s)", names[flowLog].Name, names[beside].Name, stream)
		b.pipes = append(b.pipes, d)
		note(CodeClocksApart, fmt.Sprintf("%s. By %d starts of flow on %d days the clock of the temperatures %s that of the flow at mid-record%s; both were put on one clock",
			where, o.Starts, o.Days, ahead(o.S, o.HalfS), gaining(o.DriftSPerDay)))
		return false
	}
	if b.clockFound(flowLog) || b.clockFound(beside) {
		return true // its interval is in the budget already
	}
	d.halfS, d.assumed = b.opt.Apart.CarryS, true
	d.name = fmt.Sprintf("clocks of %s and %s", names[flowLog].Name, names[beside].Name)
	b.pipes = append(b.pipes, d)
	note(CodeClocksOpen, fmt.Sprintf("%s. How far the two clocks stand apart can't be told (%s): ± %g s is carried in the budget", where, why, d.halfS))
	return true
}

func (b *builder) clockFound(log int) bool {
	for _, f := range b.rec.Files {
		if f.Log == log && f.Clock.From == "found" {
			return true
		}
	}
	return false
}

// pipeDoubts puts what is left unknown into the budget: the account made twice
// more with every such flow put later and earlier by the half of its interval.
func (b *builder) pipeDoubts(from, to int64) {
	if len(b.pipes) == 0 {
		return
	}
	made := func(sign float64) *account.Account {
		rec := *b.rec
		rec.Series = make([]*series.Series, len(b.rec.Series))
		for i, s := range b.rec.Series {
			for _, d := range b.pipes {
				if s.Log == d.log && has(d.flow, s.Quantity) {
					s = moved(s, int64(math.Round(sign*d.halfS*1000)))
				}
			}
			rec.Series[i] = s
		}
		return b.accountOf(&rec, from, to)
	}
	r := b.reg
	if r.later, r.earlier = made(1), made(-1); r.later == nil || r.earlier == nil {
		return
	}
	r.pipes = map[string]pipeClock{}
	for _, d := range b.pipes {
		r.pipes[d.stream] = pipeClock{halfS: d.halfS, source: r.add(doubt.Source{Name: d.name, Kind: doubt.Shared, HalfWidth: d.halfS, Unit: "s", Assumed: d.assumed})}
	}
}

// logOf is the one log behind sources; ok is false where there are several, or
// none.
func (b *builder) logOf(sources []grid.Source) (log int, ok bool) {
	log = -1
	for _, s := range sources {
		if s.Channel < 0 {
			return -1, false
		}
		c := &b.grid.Channels[s.Channel]
		for _, x := range b.rec.Series {
			if x.Quantity == c.Quantity && x.Probe == c.Probe {
				if log >= 0 && log != x.Log {
					return -1, false
				}
				log = x.Log
			}
		}
	}
	return log, log >= 0
}

// isOf: the series is behind one of the sources.
func (b *builder) isOf(sources []grid.Source, x *series.Series) bool {
	for _, s := range sources {
		if s.Channel >= 0 {
			if c := &b.grid.Channels[s.Channel]; x.Quantity == c.Quantity && x.Probe == c.Probe {
				return true
			}
		}
	}
	return false
}

func has(list []series.Quantity, q series.Quantity) bool {
	for _, x := range list {
		if x == q {
			return true
		}
	}
	return false
}

// movedBy is a series with each stamp put later by so many seconds.
func movedBy(s *series.Series, byS func(ms int64) float64) *series.Series {
	out := *s
	later := func(t []int64) []int64 {
		if t == nil {
			return nil
		}
		m := make([]int64, len(t))
		for i, x := range t {
			m[i] = x + int64(math.Round(byS(x)*1000))
		}
		return m
	}
	out.T, out.From = later(s.T), later(s.From)
	return &out
}

// accountOf is the account of a record that differs in its clocks alone; nil
// where it cannot be made or its cycles are other ones.
func (b *builder) accountOf(rec *ingest.Record, from, to int64) *account.Account {
	g, err := grid.Build(rec, from, to, b.opt.Account.Grid)
	if err != nil {
		return nil
	}
	acc, err := account.Make(account.Input{Rec: rec, Grid: g, FromMS: from, ToMS: to}, b.opt.Account)
	if err != nil || len(acc.Cycles) != len(b.acc.Cycles) {
		return nil
	}
	return acc
}

// ahead says in words how far one clock is ahead of another or behind it.
func ahead(s, halfS float64) string {
	size := math.Abs(s)
	text := "is " + doubt.Show(size, size-halfS, size+halfS, "s")
	if s < 0 {
		return text + " behind"
	}
	return text + " ahead of"
}

// gaining says in words how it drifts against the other; "" where it hardly does.
func gaining(sPerDay float64) string {
	switch {
	case math.Abs(sPerDay) < 0.05:
		return ""
	case sPerDay < 0:
		return fmt.Sprintf(" and loses %.1f s a day", -sPerDay)
	}
	return fmt.Sprintf(" and gains %.1f s a day", sPerDay)
}
