package season

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"yardheat/analysis/account"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/farm"
	"yardheat/ingest/series"
)

// Chain follows one figure down: to its formula, the sums by cycle (or the draws)
// that it is made of, and the rows of the files behind each.
type Chain struct {
	// Key as on the command line, "heat.loop_kwh" or "months.2026-01.loop_kwh";
	// "cycle 41" for a cycle.
	Key, Label string
	Figure     Figure
	// Formula in words, a line each.
	Formula []string
	Terms   []ChainTerm
	// Total is what Formula makes of the terms' sums; NaN where it is no sum.
	Total float64
	// Unit of Total.
	Unit string
	// Parts are the cycles of the stretch; of a fit, its draws.
	Parts []ChainPart
	// Draws: Parts are draws.
	Draws bool
	// Channels behind the terms, each once.
	Channels []ChainChannel
	// Excluded: readings of these channels that were left out.
	Excluded []Exclusion
}

// ChainTerm is one sum that a figure is made of.
type ChainTerm struct {
	Name, Unit string
	// Sum over the parts that count.
	Sum float64
	// Note on how it is metered.
	Note string

	of      func(i int) float64
	sources []grid.Source
	milk    bool // stands in the milkings list too
}

// ChainPart is one cycle or draw.
type ChainPart struct {
	N          int
	Start, End int64
	// Values by term; NaN = not known.
	Values []float64
	// Counted: it is in the sums; Why not, else.
	Counted bool
	Why     string
	Rows    []ChainRows
}

// ChainChannel is one probe, meter or figure of the farm file.
type ChainChannel struct {
	// Roles are the terms that it enters.
	Roles                                []string
	Quantity, Place, Probe, Column, Unit string
	// Key of a figure of the farm file; Column is then empty.
	Key string
}

// ChainRows are the rows of one file that hold the readings of one column
// within a part.
type ChainRows struct {
	Quantity, Column, File, Sheet string
	// FirstLine to LastLine of the file or sheet; Readings among them, LeftOut of
	// which carry a flag.
	FirstLine, LastLine int
	Readings, LeftOut   int
	// Clock is the correction of the stamps, in words.
	Clock string
}

// behind is what figures are followed by.
type behind struct {
	given, rec  *ingest.Record
	grid        *grid.Grid
	acc         *account.Account
	opt         Options
	saved, used []int
	gainKW      float64
}

// forget the context of the run, which does not outlast it.
func (b *behind) forget() {
	b.grid.Free()
	b.opt.Context, b.opt.Progress = nil, nil
	b.opt = b.opt.stoppable()
}

// Errors of Trace.
var (
	ErrNoTrace  = errors.New("the season was computed without what figures are followed by")
	ErrNoFigure = errors.New("no such figure")
	ErrNoCycle  = errors.New("no such cycle")
)

// figureAt finds a figure by its key: "heat.loop_kwh", "heat.whole.loop_kwh",
// "months.2026-01.saved_kwh", or a headline figure's own key.
func (s *Season) figureAt(key string) (path string, n Named, err error) {
	for _, g := range s.figureLists() {
		for _, n := range g.list {
			if at := g.prefix + n.Key; at == key || !strings.Contains(key, ".") && n.Key == key && s.leads(key) {
				return at, n, nil
			}
		}
	}
	hint := "see the keys of results.json"
	if near := farm.Nearest(key, s.FigureKeys()); near != "" {
		hint = fmt.Sprintf("did you mean %q?", near)
	}
	return "", Named{}, fmt.Errorf("%w: %q; %s", ErrNoFigure, key, hint)
}

// leads tells whether a headline figure has this key.
func (s *Season) leads(key string) bool {
	return slices.ContainsFunc(s.Headline, func(n Named) bool { return n.Key == key })
}

type figureList struct {
	prefix string
	list   []Named
}

// figureLists are the figures that can be followed, by the path before their
// keys.
func (s *Season) figureLists() []figureList {
	out := []figureList{{"heat.", s.Heat.Seen}, {"heat.whole.", s.Heat.Whole}, {"electricity.", s.Electricity}, {"saving.", s.Saving.Figures},
		{"saving.whole.", s.Saving.Whole}, {"loop.", s.Loop.Figures}, {"plant.", s.Plant.Figures}}
	for _, m := range s.Months {
		out = append(out, figureList{"months." + m.Month + ".", m.Figures})
	}
	return out
}

// FigureKeys lists every figure that Trace follows.
func (s *Season) FigureKeys() []string {
	var out []string
	for _, g := range s.figureLists() {
		for _, n := range g.list {
			out = append(out, g.prefix+n.Key)
		}
	}
	return out
}

// FigurePath is the path in results.json of a headline figure that Trace
// follows; "" where it follows none of this key.
func (s *Season) FigurePath(key string) string {
	path, _, err := s.figureAt(key)
	if err != nil {
		return ""
	}
	return path
}

// Trace follows a figure; cycle > 0 shows that cycle (or draw) alone.
func (s *Season) Trace(key string, cycle int) (*Chain, error) {
	if s.behind == nil {
		return nil, ErrNoTrace
	}
	path, n, err := s.figureAt(key)
	if err != nil {
		return nil, err
	}
	c := &Chain{Key: path, Label: n.Label, Figure: n.Figure, Total: nan}
	plan := s.plan(path)
	c.Formula, c.Terms, c.Draws, c.Unit = plan.formula, plan.terms, plan.draws, n.Figure.Unit
	if plan.draws {
		s.drawParts(c, plan)
	} else {
		s.cycleParts(c, plan)
	}
	if plan.total != nil {
		sums := make([]float64, len(c.Terms))
		for k, t := range c.Terms {
			sums[k] = t.Sum
		}
		c.Total = plan.total(sums)
	}
	if cycle > 0 {
		c.Parts = slices.DeleteFunc(c.Parts, func(p ChainPart) bool { return p.N != cycle })
		if len(c.Parts) == 0 {
			return nil, fmt.Errorf("%w: %d is not among those of %s", ErrNoCycle, cycle, path)
		}
	}
	s.channelsOf(c)
	return c, nil
}

// TraceCycle follows everything that is summed over one cycle, by its number in
// milkings.csv.
func (s *Season) TraceCycle(n int) (*Chain, error) {
	if s.behind == nil {
		return nil, ErrNoTrace
	}
	if n < 1 || n > len(s.behind.acc.Cycles) {
		return nil, fmt.Errorf("%w: %d; there are 1 to %d", ErrNoCycle, n, len(s.behind.acc.Cycles))
	}
	c := &Chain{Key: fmt.Sprintf("cycle %d", n), Label: "All that is summed over one cycle", Total: nan}
	b := s.behind
	for _, h := range []*account.Heat{&b.acc.Loop, &b.acc.Plate, &b.acc.Wash, &b.acc.OtherUse} {
		if h.Rows != nil {
			c.Terms = append(c.Terms, b.heatTerm(h))
		}
	}
	for _, p := range []*account.Power{&b.acc.Element, &b.acc.Pumps, &b.acc.Compressor} {
		if p.Rows != nil {
			c.Terms = append(c.Terms, b.powerTerm(p))
		}
	}
	if b.acc.Milk.Why == "" && b.acc.Milk.Rows != nil {
		c.Terms = append(c.Terms, b.milkTerm())
	}
	s.cycleParts(c, plan{rows: func(i int) (bool, string) { return i == n-1, "" }})
	c.Parts = slices.DeleteFunc(c.Parts, func(p ChainPart) bool { return p.N != n })
	s.channelsOf(c)
	return c, nil
}

// cycleParts fills in the cycles of the stretch, and the terms' sums.
func (s *Season) cycleParts(c *Chain, p plan) {
	b := s.behind
	for i, cy := range b.acc.Cycles {
		if p.month != "" && cy.Month(b.acc.Zone) != p.month {
			continue
		}
		part := ChainPart{N: i + 1, Start: cy.Start, End: cy.End, Counted: true}
		if p.rows != nil {
			part.Counted, part.Why = p.rows(i)
		}
		for k := range c.Terms {
			v := c.Terms[k].of(i)
			part.Values = append(part.Values, v)
			if part.Counted && v == v {
				c.Terms[k].Sum += v
			}
		}
		part.Rows = b.rowsOf(c.Terms, cy.Start, cy.End)
		c.Parts = append(c.Parts, part)
	}
}

// drawParts fills in the draws of a fit.
func (s *Season) drawParts(c *Chain, p plan) {
	b := s.behind
	for i, d := range s.Draws {
		if p.month != "" && monthOf(d.Start, b.acc.Zone) != p.month {
			continue
		}
		part := ChainPart{N: d.N, Start: d.Start, End: d.End, Counted: d.Used, Why: d.Why}
		for k := range c.Terms {
			part.Values = append(part.Values, c.Terms[k].of(i))
		}
		part.Rows = b.rowsOf(c.Terms, d.Start, d.End)
		c.Parts = append(c.Parts, part)
	}
	for k := range c.Terms {
		c.Terms[k].Sum = nan
	}
}

func monthOf(ms int64, zone *time.Location) string {
	return time.UnixMilli(ms).In(zone).Format("2006-01")
}

// channelsOf lists the channels behind a chain, and what was left out of them.
func (s *Season) channelsOf(c *Chain) {
	b := s.behind
	at := map[string]int{}
	for _, t := range c.Terms {
		for _, src := range t.sources {
			one := ChainChannel{Quantity: string(src.Quantity), Key: src.Key}
			if src.Channel >= 0 {
				g := &b.grid.Channels[src.Channel]
				one.Quantity, one.Place, one.Probe = string(g.Quantity), g.Place, g.Probe
				if x := b.seriesOf(g); x >= 0 {
					one.Column, one.Unit = b.rec.Series[x].Column, b.rec.Series[x].Unit
				}
			}
			key := one.Quantity + "\x00" + one.Probe + "\x00" + one.Key
			k, ok := at[key]
			if !ok {
				k = len(c.Channels)
				at[key] = k
				c.Channels = append(c.Channels, one)
			}
			if !slices.Contains(c.Channels[k].Roles, t.Name) {
				c.Channels[k].Roles = append(c.Channels[k].Roles, t.Name)
			}
		}
	}
	for _, e := range s.Exclusions.List {
		if _, ok := at[e.Quantity+"\x00"+e.Probe+"\x00"]; ok {
			c.Excluded = append(c.Excluded, e)
		}
	}
}

// seriesOf is the index of the series behind a channel; −1 = none.
func (b *behind) seriesOf(g *grid.Channel) int {
	return slices.IndexFunc(b.rec.Series, func(s *series.Series) bool { return s.Quantity == g.Quantity && s.Probe == g.Probe })
}

// rowsOf are the rows of the files behind the terms within [startMS, endMS).
func (b *behind) rowsOf(terms []ChainTerm, startMS, endMS int64) []ChainRows {
	var out []ChainRows
	seen := map[int]bool{}
	milk := false
	for _, t := range terms {
		milk = milk || t.milk
		for _, src := range t.sources {
			if src.Channel < 0 || seen[src.Channel] {
				continue
			}
			seen[src.Channel] = true
			if x := b.seriesOf(&b.grid.Channels[src.Channel]); x >= 0 {
				out = append(out, b.within(x, startMS, endMS)...)
			}
		}
	}
	if milk {
		out = append(out, b.milkRows(startMS, endMS)...)
	}
	return out
}

// within are the rows of one series: those whose stamp, or any of whose
// interval, lies in [startMS, endMS); of a counter also the reading before,
// from which the first difference is taken.
func (b *behind) within(x int, startMS, endMS int64) []ChainRows {
	s := b.rec.Series[x]
	lo := sort.Search(len(s.T), func(i int) bool { return s.T[i] > startMS || s.From == nil && s.T[i] == startMS })
	hi := sort.Search(len(s.T), func(i int) bool {
		if s.From != nil {
			return s.From[i] >= endMS
		}
		return s.T[i] >= endMS
	})
	if s.Counter && lo > 0 {
		lo--
	}
	by := map[int32]*ChainRows{}
	var order []int32
	for i := lo; i < hi; i++ {
		f := s.Flags.At(i)
		if f&series.Absent != 0 {
			continue
		}
		o := s.Origins.At(i)
		r := by[o.File]
		if r == nil {
			file := b.rec.Files[o.File]
			r = &ChainRows{Quantity: string(s.Quantity), Column: s.Column, File: file.Name, Sheet: file.Sheet, FirstLine: int(o.Line), LastLine: int(o.Line), Clock: b.clockText(x, i, file)}
			by[o.File] = r
			order = append(order, o.File)
		}
		r.FirstLine, r.LastLine = min(r.FirstLine, int(o.Line)), max(r.LastLine, int(o.Line))
		r.Readings++
		if f != 0 {
			r.LeftOut++
		}
	}
	out := make([]ChainRows, len(order))
	for k, f := range order {
		out[k] = *by[f]
	}
	return out
}

// clockText says how the stamps of a file became true time: its zone, its
// clock, and what put it on the clock of the same pipe's other log.
func (b *behind) clockText(x, i int, f ingest.File) string {
	text := "zone " + f.Zone
	c := f.Clock
	if c.AheadS != 0 || c.DriftSPerDay != 0 || len(c.Jumps) > 0 {
		text += fmt.Sprintf(", clock %+.0f s ahead (%s)", c.AheadS, c.From)
		if c.DriftSPerDay != 0 {
			text += fmt.Sprintf(" and gaining %+.2g s a day", c.DriftSPerDay)
		}
		if n := len(c.Jumps); n > 0 {
			text += fmt.Sprintf(", %s", series.Plural(n, "jump"))
		}
	}
	if moved := b.rec.Series[x].T[i] - b.given.Series[x].T[i]; moved != 0 {
		text += fmt.Sprintf(", then %+.0f s onto the clock of its pipe's other log", float64(moved)/1000)
	}
	return text
}

// milkRows are the rows of the milkings list that begin in a part.
func (b *behind) milkRows(startMS, endMS int64) []ChainRows {
	r := ChainRows{Quantity: "milk_volume", Column: "milk", File: b.rec.Farm.Milkings.File, Clock: "farm's zone"}
	for _, m := range b.rec.Milkings {
		if m.Line == 0 || m.Start < startMS || m.Start >= endMS {
			continue
		}
		if r.Readings++; r.FirstLine == 0 || m.Line < r.FirstLine {
			r.FirstLine = m.Line
		}
		r.LastLine = max(r.LastLine, m.Line)
	}
	if r.Readings == 0 {
		return nil
	}
	return []ChainRows{r}
}

// heatTerm, powerTerm and milkTerm are the sums of the account.
func (b *behind) heatTerm(h *account.Heat) ChainTerm {
	note := h.FlowName + ", metered on the " + b.meterSide(h.Name) + " side"
	if h.HotLagS > 0 || h.ColdLagS > 0 {
		note += fmt.Sprintf("; probes corrected for %g s (warm) and %g s (cold) of lag", h.HotLagS, h.ColdLagS)
	}
	if h.Note != "" {
		note += "; " + h.Note
	}
	t := ChainTerm{Name: h.Name + " heat", Unit: "kWh", Note: note, of: func(i int) float64 { return h.Rows[i].KWh }}
	t.sources = slices.Concat(h.Flow, h.Hot, h.Cold)
	return t
}

func (b *behind) powerTerm(p *account.Power) ChainTerm {
	return ChainTerm{Name: p.Name + " electricity", Unit: "kWh", Note: p.WayName, of: func(i int) float64 { return p.Rows[i].KWh }, sources: p.Sources}
}

func (b *behind) milkTerm() ChainTerm {
	m := &b.acc.Milk
	return ChainTerm{Name: "milk heat", Unit: "kWh", Note: "milk by " + m.LitresFrom, of: func(i int) float64 { return m.Rows[i].KWh },
		sources: slices.Concat(m.Flow, m.In, m.Out), milk: m.LitresFrom == "list" || len(m.In) == 0 || len(m.Out) == 0}
}

// meterSide is the side of a stream on which its meter stands, as farm.toml has
// it.
func (b *behind) meterSide(stream string) string {
	f := b.rec.Farm
	switch {
	case stream == "loop" && f.Loop != nil && f.Loop.MeterAt == "out", stream == "plate" && f.Plate != nil && f.Plate.MeterAt == "out":
		return "warm"
	case stream == "loop" || stream == "plate", f.Wash != nil && f.Wash.MeterAt == "cold", b.acc.WashFlow == nil && stream == "wash":
		return "cold"
	}
	return "warm"
}

// finiteOr0 is 0 for what is not known.
func finiteOr0(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}
