package retrace

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"yardheat/analysis/season"
	"yardheat/reports/record"
	"yardheat/reports/results"
)

// Followed is a figure followed down, and whether the report has it so.
type Followed struct {
	Key     string         `json:"key"`
	Label   string         `json:"label"`
	Shown   string         `json:"shown,omitempty"`
	Value   *float64       `json:"value"`
	Low     *float64       `json:"low"`
	High    *float64       `json:"high"`
	Unit    string         `json:"unit"`
	Basis   string         `json:"basis,omitempty"`
	Why     string         `json:"why,omitempty"`
	Formula []string       `json:"formula"`
	Terms   []followedTerm `json:"terms"`
	// Total is what the formula makes of the terms; null where it is no sum.
	Total    *float64          `json:"total"`
	Channels []followedChannel `json:"channels"`
	LeftOut  []followedLeft    `json:"left_out"`
	// PartsAre "cycles" or "draws".
	PartsAre    string         `json:"parts_are"`
	Parts       []followedPart `json:"parts"`
	Differences []Difference   `json:"differences"`

	zone *time.Location
}

type followedTerm struct {
	Name string   `json:"name"`
	Unit string   `json:"unit"`
	Sum  *float64 `json:"sum"`
	Note string   `json:"note,omitempty"`
}

type followedChannel struct {
	Quantity string   `json:"quantity"`
	Place    string   `json:"place,omitempty"`
	Probe    string   `json:"probe,omitempty"`
	Column   string   `json:"column,omitempty"`
	Unit     string   `json:"unit,omitempty"`
	FarmKey  string   `json:"farm_key,omitempty"`
	Roles    []string `json:"roles"`
}

type followedLeft struct {
	Probe     string         `json:"probe"`
	Quantity  string         `json:"quantity"`
	Test      string         `json:"test"`
	Threshold string         `json:"threshold"`
	Readings  int            `json:"readings"`
	Moves     []followedMove `json:"moves"`
	Why       string         `json:"why,omitempty"`
}

type followedMove struct {
	Figure      string   `json:"figure"`
	ReportedKWh *float64 `json:"reported_kwh"`
	PutBackKWh  *float64 `json:"put_back_kwh"`
}

type followedPart struct {
	N       int            `json:"n"`
	Start   string         `json:"start"`
	End     string         `json:"end"`
	Values  []*float64     `json:"values"` // in the order of terms
	Counted bool           `json:"counted"`
	Why     string         `json:"why,omitempty"`
	Rows    []followedRows `json:"rows"`

	start int64
}

type followedRows struct {
	File      string `json:"file"`
	Sheet     string `json:"sheet,omitempty"`
	Column    string `json:"column"`
	Quantity  string `json:"quantity"`
	FirstLine int    `json:"first_line"`
	LastLine  int    `json:"last_line"`
	Readings  int    `json:"readings"`
	LeftOut   int    `json:"left_out"`
	Clock     string `json:"clock"`
}

// known is nil, and so null, for what is not known.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Follow makes a chain ready to be printed and holds its figure, and the
// originals, against the report.
func Follow(c *season.Chain, s *season.Season, g *Given, src *record.SourcesFile, now record.Program) (*Followed, error) {
	f := &Followed{Key: c.Key, Label: c.Label, Shown: c.Figure.Shown, Value: known(c.Figure.Value), Low: known(c.Figure.Low), High: known(c.Figure.High),
		Unit: c.Unit, Basis: string(c.Figure.Basis), Why: c.Figure.Why, Formula: c.Formula, Total: known(c.Total), PartsAre: "cycles",
		Terms: []followedTerm{}, Channels: []followedChannel{}, LeftOut: []followedLeft{}, Parts: []followedPart{}, zone: time.UTC}
	if c.Draws {
		f.PartsAre = "draws"
	}
	if zone, err := time.LoadLocation(s.ZoneName); err == nil {
		f.zone = zone
	}
	for _, t := range c.Terms {
		f.Terms = append(f.Terms, followedTerm{t.Name, t.Unit, known(t.Sum), t.Note})
	}
	for _, x := range c.Channels {
		f.Channels = append(f.Channels, followedChannel{x.Quantity, x.Place, x.Probe, x.Column, x.Unit, x.Key, x.Roles})
	}
	for _, e := range c.Excluded {
		l := followedLeft{e.Probe, e.Quantity, e.Test, e.Threshold, e.Readings, []followedMove{}, e.Why}
		for _, m := range e.Moves {
			l.Moves = append(l.Moves, followedMove{m.Key, known(m.ReportedKWh), known(m.PutBackKWh)})
		}
		f.LeftOut = append(f.LeftOut, l)
	}
	for _, p := range c.Parts {
		f.Parts = append(f.Parts, partOf(p))
	}
	return f, f.hold(s, g, src, now)
}

func partOf(p season.ChainPart) followedPart {
	out := followedPart{N: p.N, Start: rfc3339(p.Start), End: rfc3339(p.End), Counted: p.Counted, Why: p.Why, Rows: []followedRows{}, start: p.Start}
	for _, v := range p.Values {
		out.Values = append(out.Values, known(v))
	}
	for _, r := range p.Rows {
		out.Rows = append(out.Rows, followedRows{r.File, r.Sheet, r.Column, r.Quantity, r.FirstLine, r.LastLine, r.Readings, r.LeftOut, r.Clock})
	}
	return out
}

func rfc3339(ms int64) string {
	return time.UnixMilli(ms).UTC().Format("2006-01-02T15:04:05.999Z07:00")
}

// hold holds the originals and the figure against the report.
func (f *Followed) hold(s *season.Season, g *Given, src *record.SourcesFile, now record.Program) error {
	v := &Verdict{}
	c := &comparer{v: v, g: g, s: src, mode: modeOf(src, now)}
	if err := c.originals(Remade{Err: fmt.Errorf("not asked")}); err != nil {
		return err
	}
	b, err := results.JSON(s)
	if err != nil {
		return err
	}
	anew, err := flatten(b)
	if err != nil {
		return err
	}
	given, err := os.ReadFile(filepath.Join(g.Report, resultsName))
	if err != nil {
		return fmt.Errorf("the report's %s: %w", resultsName, err)
	}
	was, err := flatten(given)
	if err != nil {
		v.say(KindFileChanged, resultsName, "can't be read: %s", err)
		f.Differences = v.Differences
		return nil
	}
	if at := pathOf(f.Key, anew); anew.at[at+".shown"] != "" {
		for _, part := range []string{"value", "low", "high", "shown"} {
			if !same(at+"."+part, was.at[at+"."+part], anew.at[at+"."+part], c.mode) {
				v.add(figureDifference(at, was, anew))
				break
			}
		}
	}
	f.Differences = append([]Difference{}, v.Differences...)
	return nil
}

// pathOf is where a figure stands in results.json: months are a list there.
func pathOf(key string, in *flat) string {
	rest, ok := strings.CutPrefix(key, "months.")
	if !ok {
		return key
	}
	month, name, _ := strings.Cut(rest, ".")
	for i := 0; ; i++ {
		at := fmt.Sprintf("months[%d]", i)
		switch m, ok := in.at[at+".month"]; {
		case !ok:
			return key
		case unquoted(m) == month:
			return at + "." + name
		}
	}
}

// fewParts is how many cycles or draws the text lists unless all are asked for.
const fewParts = 5

// Text is the chain for people.
func (f *Followed) Text(all bool) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s\n", f.Key, f.Label)
	switch {
	case f.Basis == "": // a cycle is no figure
	case f.Value != nil || f.Shown != "" && f.Why == "":
		fmt.Fprintf(&b, "  %s (%s)\n", f.Shown, f.Basis)
	case f.Why != "":
		fmt.Fprintf(&b, "  not known: %s\n", f.Why)
	}
	for _, d := range f.Differences {
		fmt.Fprintf(&b, "  DIFFERS: %s %s\n", strings.TrimSpace(d.File+" "+d.Where), d.Text)
	}
	if len(f.Formula) > 0 {
		b.WriteString("\nHow it is made\n")
		for _, line := range f.Formula {
			fmt.Fprintf(&b, "  %s\n", line)
		}
	}
	f.writeTerms(&b)
	f.writeChannels(&b)
	f.writeParts(&b, all)
	return b.String()
}

func (f *Followed) writeTerms(b *strings.Builder) {
	if len(f.Terms) == 0 || f.Terms[0].Sum == nil {
		return
	}
	b.WriteString("\nMade of\n")
	for _, t := range f.Terms {
		fmt.Fprintf(b, "  %-34s %14s %s", t.Name, number12(t.Sum), t.Unit)
		if t.Note != "" {
			fmt.Fprintf(b, "   (%s)", t.Note)
		}
		b.WriteByte('\n')
	}
	if f.Total != nil {
		fmt.Fprintf(b, "  %-34s %14s %s   (the figure: %s)\n", "by the formula", number12(f.Total), f.Unit, number12(f.Value))
	}
}

// number12 is a number with up to nine significant digits, or a dash.
func number12(v *float64) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf("%.9g", *v)
}

func (f *Followed) writeChannels(b *strings.Builder) {
	if len(f.Channels) > 0 {
		b.WriteString("\nFrom\n")
	}
	for _, c := range f.Channels {
		if c.FarmKey != "" && c.Column == "" {
			fmt.Fprintf(b, "  farm.toml, %s: %s\n", c.FarmKey, strings.Join(c.Roles, ", "))
			continue
		}
		name := c.Quantity
		if c.Place != "" {
			name += "@" + c.Place
		}
		fmt.Fprintf(b, "  %-20s %s (in %s): %s\n", name, c.Probe, c.Unit, strings.Join(c.Roles, ", "))
	}
	if len(f.LeftOut) > 0 {
		b.WriteString("\nLeft out of it\n")
	}
	for _, l := range f.LeftOut {
		fmt.Fprintf(b, "  %s of %s, test %q (%s)", counted(l.Readings, "reading", "readings"), l.Probe, l.Test, l.Threshold)
		switch {
		case l.Why != "":
			fmt.Fprintf(b, ": %s\n", l.Why)
		case len(l.Moves) == 0:
			b.WriteString(": put back, no sum moves\n")
		default:
			b.WriteString(": put back,")
			for i, m := range l.Moves {
				if i > 0 {
					b.WriteByte(',')
				}
				fmt.Fprintf(b, " %s is %s instead of %s kWh", m.Figure, number12(m.PutBackKWh), number12(m.ReportedKWh))
			}
			b.WriteByte('\n')
		}
	}
}

func (f *Followed) writeParts(b *strings.Builder, all bool) {
	if len(f.Parts) == 0 {
		return
	}
	counts := 0
	for _, p := range f.Parts {
		if p.Counted {
			counts++
		}
	}
	fmt.Fprintf(b, "\n%s (%d, of which %d count)\n", strings.ToUpper(f.PartsAre[:1])+f.PartsAre[1:], len(f.Parts), counts)
	for i, p := range f.Parts {
		if i == fewParts && !all {
			fmt.Fprintf(b, "  … %d more: --all lists them\n", len(f.Parts)-i)
			return
		}
		f.writePart(b, p)
	}
}

func (f *Followed) writePart(b *strings.Builder, p followedPart) {
	fmt.Fprintf(b, "  %d  from %s", p.N, time.UnixMilli(p.start).In(f.zone).Format("2006-01-02 15:04:05 -07:00"))
	for k, v := range p.Values {
		if k < len(f.Terms) && v != nil {
			fmt.Fprintf(b, ", %s %s %s", f.Terms[k].Name, number12(v), f.Terms[k].Unit)
		}
	}
	if !p.Counted {
		b.WriteString(" (does not count")
		if p.Why != "" {
			b.WriteString(": " + p.Why)
		}
		b.WriteByte(')')
	}
	b.WriteByte('\n')
	for _, g := range gathered(p.Rows) {
		fmt.Fprintf(b, "       %s\n", g)
	}
}

// gathered joins the columns that stand in the same rows of a file.
func gathered(rows []followedRows) []string {
	type span struct {
		file, sheet, clock string
		first, last        int
	}
	columns := map[span][]string{}
	var order []span
	for _, r := range rows {
		s := span{r.File, r.Sheet, r.Clock, r.FirstLine, r.LastLine}
		if columns[s] == nil {
			order = append(order, s)
		}
		name := r.Column
		if r.LeftOut > 0 {
			name += fmt.Sprintf(" (%d of %d left out)", r.LeftOut, r.Readings)
		}
		columns[s] = append(columns[s], name)
	}
	var out []string
	for _, s := range order {
		file, what := s.file, "lines"
		if s.sheet != "" {
			file, what = fmt.Sprintf("%s, sheet %q", s.file, s.sheet), "rows"
		}
		out = append(out, fmt.Sprintf("%s, %s %d to %d: %s; %s", file, what, s.first, s.last, strings.Join(columns[s], ", "), s.clock))
	}
	return out
}
