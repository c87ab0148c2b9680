// Package today says in at most ten lines what the last 48 hours of a record
// show: the logs themselves, washes, milk, loop, plate, heat, bed, tank, cautions
// and what to do next. It answers a farmer who looks once a day, not an auditor:
// no interval, no fit; every comparison is with the farm's own weeks before.
//
// Flow: Record → grid and account of the last weeks (twice: by milkings, and by
// two-day stretches counted back from the end) → lines. It opens no file, asks
// no clock, and holds no sentence: a Line is a code with numbers, times, probes
// and words, of which each view makes its own sentence in its own language.
//
// Conventions: times Unix ms UTC; numbers in the base units of series; a number
// that is not known is left out. Thresholds are our choice, without a source;
// README.md holds what they were found to do on simulated farms. That a line is
// "in order" means that a number stands on this side of its limit, no more.
package today

import (
	"fmt"
	"math"
	"slices"
	"time"

	"yardheat/analysis/account"
	"yardheat/analysis/grid"
	"yardheat/ingest"
)

// State is what a line asks of the reader.
type State string

// The states. InOrder compares a number with its limit and says nothing else.
const (
	LookAt   State = "look at"
	NotKnown State = "not known"
	InOrder  State = "in order"
)

// Today is the answer: at most ten lines, the most urgent first.
type Today struct {
	Farm, ZoneName string
	// From, To: the stretch looked at; To is the last kept reading of the freshest
	// logger. NowMS is when it was asked; 0: nobody said.
	From, To, NowMS int64
	// UsualFrom: the comparison reaches from here to From.
	UsualFrom int64
	Lines     []Line
	Options   Options
}

// Line is one line: what it is about, what it says of it, and what it says it
// with.
type Line struct {
	Code     Code
	Says     Finding
	State    State
	Numbers  []Number
	Times    []Moment
	Words    []Word
	Probes   []Probe
	Cautions []Raised
}

// Number is one number under its key. Of names the place or the probe, where
// several bear the key; else "".
type Number struct {
	Key   string
	Of    string
	Value float64
	Unit  string // "degC", "K", "kWh", "L", "W/K", "h", "1"
	// Usual: the range that it was held against; nil: none.
	Usual *Usual
}

// Usual is the farm's own range: of N earlier values a Share lay from Low to
// High (the quantiles that leave half of the rest on either side), Mid is their
// median.
type Usual struct {
	Low, Mid, High, Share float64
	N                     int
	// Of says what was counted: "draws", "cycles", "two days", "hours", "days".
	Of string
}

// Side says where the value lies to the usual range, "below", "within" or "above";
// "" without one. Outside by a little asks for no look.
func (n Number) Side() string {
	switch u := n.Usual; {
	case u == nil:
		return ""
	case n.Value < u.Low:
		return "below"
	case n.Value > u.High:
		return "above"
	}
	return "within"
}

// Moment is one time under its key, Unix ms UTC.
type Moment struct {
	Key string
	MS  int64
}

// Word is one of a few fixed words under its key.
type Word struct{ Key, Is string }

// Probe is a logger (Column "") or probe that fell silent or looks faulty.
type Probe struct {
	// Name as in the report, "yard: Loop out"; of a whole logger the name of its
	// last file.
	Name, Column, Quantity string
	// What: "silent", "stuck", "fault".
	What string
	// Last kept reading, and the usual time between two.
	Last   int64
	UsualS float64
	// Share of the stretch's readings that are flagged; 0 where it is silent.
	Share float64
}

// Raised is a caution of the stretch. Its text by id is caution's.
type Raised struct {
	ID, Text, Because string
	First, Last       int64
}

// Number gives a number by its key; ok is false where it is not known.
func (l *Line) Number(key string) (n Number, ok bool) {
	for _, n := range l.Numbers {
		if n.Key == key {
			return n, true
		}
	}
	return Number{}, false
}

// Time gives a time by its key.
func (l *Line) Time(key string) (ms int64, ok bool) {
	for _, m := range l.Times {
		if m.Key == key {
			return m.MS, true
		}
	}
	return 0, false
}

// Word gives a word by its key, "" where there is none.
func (l *Line) Word(key string) string {
	for _, w := range l.Words {
		if w.Key == key {
			return w.Is
		}
	}
	return ""
}

func (l *Line) number(key string, v float64, unit string, u *Usual) {
	if v == v {
		l.Numbers = append(l.Numbers, Number{Key: key, Value: v, Unit: unit, Usual: u})
	}
}

func (l *Line) time(key string, ms int64) { l.Times = append(l.Times, Moment{key, ms}) }
func (l *Line) word(key, is string)       { l.Words = append(l.Words, Word{key, is}) }

// Line gives a line by its code; nil where the farm has no such stage.
func (t *Today) Line(c Code) *Line {
	for i := range t.Lines {
		if t.Lines[i].Code == c {
			return &t.Lines[i]
		}
	}
	return nil
}

// maker carries what the lines share.
type maker struct {
	rec *ingest.Record
	opt Options
	t   *Today
	g   *grid.Grid
	// acc by milkings over the whole stretch asked for; two by stretches of
	// WindowH, the last of which is the one looked at.
	acc, two *account.Account
	zone     *time.Location
	// small: see smallL.
	small float64
}

// Make says what the last 48 hours of a record show. now is the moment of
// asking (zero: not known, and then logs that ended long ago are not noticed).
// The same record, moment and options give the same lines.
func Make(rec *ingest.Record, now time.Time, opt Options) (*Today, error) {
	if rec == nil || rec.Farm == nil {
		return nil, fmt.Errorf("today: no record")
	}
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if rec.First >= rec.Last {
		return nil, fmt.Errorf("today: the record holds no stretch of time")
	}
	m := &maker{rec: rec, opt: opt, zone: rec.Zone}
	if m.zone == nil {
		m.zone = time.UTC
	}
	m.t = &Today{Farm: rec.Farm.Name, ZoneName: rec.Farm.ZoneName, To: rec.Last, Options: opt}
	if !now.IsZero() {
		m.t.NowMS = now.UnixMilli()
	}
	m.t.From = max(rec.First, m.t.To-hours(opt.WindowH))
	m.t.UsualFrom = max(rec.First, m.t.From-hours(24*(opt.GapDays+opt.UsualDays)))
	if err := m.accounts(); err != nil {
		return nil, err
	}
	m.small = m.smallL()
	lines := []*Line{m.logs(), m.milk(), m.washes(), m.plate(), m.loop(), m.tank(), m.heat(), m.bed()}
	raised, err := m.cautions()
	if err != nil {
		return nil, err
	}
	m.order(append(lines, raised))
	return m.t, nil
}

func hours(h float64) int64 { return int64(h * 3600e3) }

// accounts lays the last weeks on one grid and keeps the account twice.
func (m *maker) accounts() error {
	var err error
	from, to := m.t.UsualFrom, m.t.To
	if m.g, err = grid.Build(m.rec, from, to, m.opt.Season.Account.Grid); err != nil {
		return fmt.Errorf("today: grid: %w", err)
	}
	in := account.Input{Rec: m.rec, Grid: m.g, FromMS: from, ToMS: to}
	if m.acc, err = account.Make(in, m.opt.Season.Account); err != nil {
		return fmt.Errorf("today: account: %w", err)
	}
	for at := to; at >= from; at -= hours(m.opt.WindowH) {
		in.CutsMS = append(in.CutsMS, at)
	}
	if len(in.CutsMS) < 2 {
		return nil
	}
	slices.Reverse(in.CutsMS)
	if m.two, err = account.Make(in, m.opt.Season.Account); err != nil {
		return fmt.Errorf("today: account of two days: %w", err)
	}
	return nil
}

// order puts the most urgent first and says what to do next.
func (m *maker) order(lines []*Line) {
	for _, l := range lines {
		if l != nil {
			m.t.Lines = append(m.t.Lines, *l)
		}
	}
	slices.SortStableFunc(m.t.Lines, func(a, b Line) int { return urgency(a) - urgency(b) })
	m.t.Lines = append(m.t.Lines, m.next())
}

// urgency: logs that ended long ago before all, then by state.
func urgency(l Line) int {
	switch {
	case l.Says == LogsEnd:
		return 0
	case l.State == LookAt:
		return 1
	case l.State == NotKnown:
		return 2
	}
	return 3
}

// age says whether what ends at a time belongs to the stretch looked at, to the
// days just before it, or to the weeks before these.
func (m *maker) age(endMS int64) age {
	switch {
	case endMS > m.t.From:
		return now
	case endMS > m.t.From-hours(24*m.opt.GapDays):
		return recent
	}
	return old
}

type age int

const (
	old age = iota
	recent
	now
)

// sides are the values of the stretch and those before it.
type sides struct{ now, recent, old []float64 }

func (s *sides) add(a age, v float64) {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
	case a == now:
		s.now = append(s.now, v)
	case a == recent:
		s.recent = append(s.recent, v)
	default:
		s.old = append(s.old, v)
	}
}

// earlier are the values to hold those of the stretch against: the old ones, where
// there are fewest of them.
func (s *sides) earlier(fewest int) []float64 {
	if len(s.old) >= fewest {
		return s.old
	}
	return slices.Concat(s.old, s.recent)
}

// inWindow: a span ends within the stretch looked at.
func (m *maker) inWindow(endMS int64) bool { return endMS > m.t.From && endMS <= m.t.To }

// seen is the share of the stretch's cells in which values are known.
func (m *maker) seen(values []float64) float64 {
	a, b := m.g.Cell(m.t.From), min(m.g.Cell(m.t.To), len(values))
	if a >= b {
		return 0
	}
	n := 0
	for _, v := range values[a:b] {
		if v == v {
			n++
		}
	}
	return float64(n) / float64(b-a)
}

// coveredShare is what a row must be covered by to be compared.
func (m *maker) coveredShare() float64 { return m.opt.Season.Account.Cycle.CoveredShare }
