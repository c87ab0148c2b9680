package again

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"yardheat/ingest/farm"
	"yardheat/ingest/farm/edit"
	"yardheat/ingest/look/draft"
	"yardheat/ingest/series"
)

// Answer is what the farmer says of one new table; the zero Answer takes what was
// found.
type Answer struct {
	// Skip leaves the table out: the file may still be read by a pattern.
	Skip bool
	// Own puts it on a [[log]] of its own; else On, where not nil, on that log.
	Own bool
	On  *int
	// Same are the keys of columns that were taken for renamed ones by a guess, and
	// are: without it only what is likely is mapped.
	Same []string
	// Columns stand in place of what was found or guessed of them.
	Columns []draft.Choice
	// Settings of its [[log]]: dates, decimal, zone and so on. On a log that stands
	// they hold for all its files.
	Settings []edit.Pair
}

// Do is what a step of a plan does.
type Do string

// The steps.
const (
	// AddFile adds File to the files of Log.
	AddFile Do = "add-file"
	// MapColumn maps Column of Log as Value; Like is the column that it was known
	// as, "" where the farmer chose it anew.
	MapColumn Do = "map-column"
	// SetKey sets Key of Log to Value.
	SetKey Do = "set-key"
	// AppendLog puts Block behind the last [[log]].
	AppendLog Do = "append-log"
)

// Step is one edit of farm.toml.
type Step struct {
	Do     Do
	Log    int
	File   string
	Column string
	Like   string
	Key    string
	Value  edit.Value
	// Block is TOML; Files are what it reads.
	Block []byte
	Files []string
}

// Plan is the edits that new files ask for, in order. None: everything is read as
// it stands.
type Plan struct{ Steps []Step }

// Plan makes the edits for what was found; answers are by index of Matches. d is
// the farm file as it stands.
func (r *Result) Plan(d *edit.Doc, answers map[int]Answer) (Plan, error) {
	p := &planner{r: r, d: d}
	for i := range r.Matches {
		m, a := &r.Matches[i], answers[i]
		log := m.Log
		if a.On != nil {
			if *a.On < 0 || *a.On >= len(r.logs) {
				return Plan{}, fmt.Errorf("plan for %s: there is no log %d", m.File, *a.On)
			}
			log = *a.On
		}
		switch {
		case a.Skip || m.Has(GivenAlready) || m.Has(MilkingsList) && a.On == nil && !a.Own:
		case a.Own || log < 0 || m.Apart && a.On == nil:
			p.own(m, a, log)
		default:
			if err := p.join(m, a, log); err != nil {
				return Plan{}, fmt.Errorf("plan for %s: %w", m.File, err)
			}
		}
	}
	p.append()
	return p.plan, nil
}

// planner gathers steps.
type planner struct {
	r     *Result
	d     *edit.Doc
	plan  Plan
	files []draft.File // of logs of their own
	opt   draft.Options
}

func (p *planner) step(s Step) {
	same := func(o Step) bool {
		return o.Do == s.Do && o.Log == s.Log && o.File == s.File && o.Column == s.Column && o.Key == s.Key && s.Do != AppendLog
	}
	if !slices.ContainsFunc(p.plan.Steps, same) {
		p.plan.Steps = append(p.plan.Steps, s)
	}
}

// join puts a table on a log that stands.
func (p *planner) join(m *Match, a Answer, log int) error {
	l := p.r.logs[log]
	if !covers(l.log, m.File) {
		p.step(Step{Do: AddFile, Log: log, File: m.File})
	}
	columns := m.Columns
	if log != m.Log {
		other := Match{File: m.File, Table: m.Table}
		other.columns(l)
		columns = other.Columns
	}
	for _, c := range a.Columns {
		if now := p.d.Column(log, c.Column); now != nil && fmt.Sprint(now) == fmt.Sprint(decoded(c.Value())) {
			continue
		}
		p.step(Step{Do: MapColumn, Log: log, Column: c.Column, Value: c.Value()})
	}
	for _, c := range columns {
		chosen := slices.ContainsFunc(a.Columns, func(o draft.Choice) bool { return o.Column == c.Key })
		if c.State != Renamed || chosen || c.Sure != Likely && !slices.Contains(a.Same, c.Key) {
			continue
		}
		v, err := p.likeValue(log, &c)
		if err != nil {
			return err
		}
		p.step(Step{Do: MapColumn, Log: log, Column: c.Key, Like: c.Like, Value: v})
	}
	for _, s := range a.Settings {
		p.step(Step{Do: SetKey, Log: log, Key: s.Key, Value: s.Value})
	}
	return nil
}

func decoded(v edit.Value) any {
	d, err := edit.New([]byte("v = " + v.String()))
	if err != nil {
		return nil
	}
	out, _ := d.Get("", "v")
	return out
}

// likeValue is what stands for a column under its old name; a unit stated there
// gives way to the one that the new header says.
func (p *planner) likeValue(log int, c *Column) (edit.Value, error) {
	now := p.d.Column(log, c.Like)
	if now == nil {
		q := c.Quantity
		if c.Place != "" {
			q += "@" + c.Place
		}
		return edit.Text(q), nil
	}
	if keys, ok := now.(map[string]any); ok {
		keys = maps.Clone(keys)
		if _, stated := keys["unit"]; stated && c.Look.Unit != "" {
			if u, known := series.ParseUnit(c.Look.Unit); known && !u.Gallon && !u.Pulses && !u.Ampere {
				keys["unit"] = c.Look.Unit
			}
		}
		return edit.Of(keys)
	}
	return edit.Of(now)
}

// own puts a table on a [[log]] of its own: like the log that it belongs to where
// it only cannot be read with that one's settings.
func (p *planner) own(m *Match, a Answer, log int) {
	t := *m.Table
	t.File = m.File
	at := draft.At{File: m.File, Sheet: t.Sheet, Number: t.Number}
	for _, c := range a.Columns {
		c.At = at
		p.opt.Choices = append(p.opt.Choices, c)
	}
	if log >= 0 && !a.Own {
		for _, c := range m.Columns {
			if c.State == Mapped || c.State == Ignored || c.State == Renamed && (c.Sure == Likely || slices.Contains(a.Same, c.Key)) {
				p.opt.Choices = append(p.opt.Choices, p.copied(log, &c, at))
			}
		}
		p.kept(m, log, at, a)
	}
	for _, s := range a.Settings {
		p.opt.Settings = append(p.opt.Settings, draft.Setting{At: at, Key: s.Key, Value: s.Value})
	}
	k := slices.IndexFunc(p.files, func(f draft.File) bool { return f.Name == m.File })
	if k < 0 {
		p.files = append(p.files, draft.File{Name: m.File})
		k = len(p.files) - 1
	}
	p.files[k].Tables = append(p.files[k].Tables, t)
}

// copied is a column of a log as a choice for another.
func (p *planner) copied(log int, c *Column, at draft.At) draft.Choice {
	out := draft.Choice{At: at, Column: c.Key, Quantity: c.Quantity, Place: c.Place}
	columns := p.r.logs[log].log.Columns
	k := slices.IndexFunc(columns, func(f farm.Column) bool { return f.Header == c.Like })
	if k < 0 {
		return out
	}
	f := columns[k]
	out.Unit, out.Counter, out.Fit, out.Volts, out.Phases, out.PowerFactor, out.Offset = f.Unit, f.Counter, f.Fit, f.Volts, f.Phases, f.PowerFactor, f.Offset
	if f.Scale != 1 {
		out.Scale = f.Scale
	}
	if u, known := series.ParseUnit(c.Look.Unit); out.Unit != "" && known && !u.Gallon && !u.Pulses && !u.Ampere {
		out.Unit = c.Look.Unit
	}
	return out
}

// kept carries the settings of a log over that the new file does not contradict.
func (p *planner) kept(m *Match, log int, at draft.At, a Answer) {
	changed := map[string]bool{"decimal": m.Has(DecimalChanged), "dates": m.Has(DatesChanged), "stamp_layout": m.Has(StampsChanged) || m.Has(DatesChanged),
		"zone": m.Has(ZoneChanged) && m.Table.Stamp.Zone != "", "stamp_columns": m.Has(StampColumnsChanged)}
	for _, key := range [...]string{"decimal", "dates", "stamp_layout", "stamp_columns", "zone", "stamp", "clock"} {
		v, ok := p.d.Get(edit.LogTable(log), key)
		if !ok || changed[key] || slices.ContainsFunc(a.Settings, func(s edit.Pair) bool { return s.Key == key }) {
			continue
		}
		if value, err := edit.Of(v); err == nil {
			p.opt.Settings = append(p.opt.Settings, draft.Setting{At: at, Key: key, Value: value})
		}
	}
}

// append drafts the logs of their own.
func (p *planner) append() {
	if len(p.files) == 0 {
		return
	}
	p.opt.Used = map[string]string{}
	for i := range p.r.known.Farm.Logs {
		for _, c := range p.r.known.Farm.Logs[i].Columns {
			if q := mapping(&c); c.Quantity != "ignore" {
				p.opt.Used[q] = c.Header
			}
		}
	}
	var names []string
	for _, f := range p.files {
		names = append(names, f.Name)
	}
	p.step(Step{Do: AppendLog, Log: p.d.Len("log"), Block: draft.Logs(p.files, p.opt).TOML, Files: names})
}

// Apply makes the edits; on an error the document is as it was.
func (p Plan) Apply(d *edit.Doc) error {
	c := d.Copy()
	for _, s := range p.Steps {
		var err error
		switch s.Do {
		case AddFile:
			err = c.AddFile(s.Log, s.File)
		case MapColumn:
			err = c.SetColumn(s.Log, s.Column, s.Value)
		case SetKey:
			err = c.Set(edit.LogTable(s.Log), s.Key, s.Value)
		case AppendLog:
			_, err = c.AppendLog(s.Block)
		default:
			err = errors.New("an unknown step")
		}
		if err != nil {
			return fmt.Errorf("%s: %w", s.Do, err)
		}
	}
	*d = *c
	return nil
}

// MappedOn lists the logs on which a quantity at a place is mapped already: a page
// warns where a new column is given the same.
func (r *Result) MappedOn(quantity, place string) []int {
	var out []int
	for i := range r.known.Farm.Logs {
		if slices.ContainsFunc(r.known.Farm.Logs[i].Columns, func(c farm.Column) bool { return c.Quantity == quantity && c.Place == place }) {
			out = append(out, i)
		}
	}
	return out
}
