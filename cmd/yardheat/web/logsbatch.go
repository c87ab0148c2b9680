package web

import (
	"path"
	"slices"
	"strings"
	"time"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/looking"
	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/farm/edit"
	"yardheat/ingest/look"
	"yardheat/ingest/look/again"
)

// readFarm reads the farm file.
func (b *batch) readFarm() {
	if b.toml == nil {
		return
	}
	f, faults := farm.Read(edit.FarmFile, b.toml)
	for _, fault := range faults {
		b.faults = append(b.faults, strings.Join([]string{fault.Where, "got " + fault.Got, "want " + fault.Want, fault.Do}, "; "))
	}
	if f != nil {
		b.known = &again.Known{Farm: f}
	}
}

// logFor is the [[log]] whose patterns name a file.
func (b *batch) logFor(name string) *farm.Log {
	if b.known == nil {
		return nil
	}
	for i := range b.known.Farm.Logs {
		l := &b.known.Farm.Logs[i]
		for _, glob := range l.Files {
			if ok, err := path.Match(glob, name); glob == name || err == nil && ok {
				return l
			}
		}
	}
	return nil
}

// uses tells whether the farm file names a file.
func (b *batch) uses(name string) bool {
	return b.logFor(name) != nil || b.known != nil && b.known.Farm.Milkings.File == name
}

// zoneName is the farm's zone as far as it can be told; "" = not.
func (b *batch) zoneName() string {
	if b.known != nil {
		return b.known.Farm.ZoneName
	}
	for _, f := range b.found {
		if f == nil {
			continue
		}
		for i := range f.Tables {
			if z := f.Tables[i].Stamp.Zone; strings.Contains(z, "/") {
				return z
			}
		}
	}
	return hereZone()
}

func (b *batch) zone() *time.Location {
	if name := b.zoneName(); name != "" {
		if z, err := clock.ParseZone(name); err == nil {
			return z
		}
	}
	return nil
}

// compare holds the new files against the logs of before, once all are read.
func (s *Server) compare(b *batch) {
	for _, l := range b.logs {
		if !b.uses(l.Name) {
			continue
		}
		found := s.looker.Get(b.keptAsk(l))
		if found == nil {
			b.comparing = true
			continue
		}
		b.known.Files = append(b.known.Files, again.File{Name: l.Name, SHA256: found.SHA256, Tables: found.Tables})
	}
	if b.comparing {
		return
	}
	var files []again.File
	n := 0
	for i, w := range b.waiting {
		b.first = append(b.first, n)
		f := again.File{Name: w.Name, SHA256: w.SHA256}
		if b.found[i] != nil {
			f.Tables = b.found[i].Tables
		}
		n += len(f.Tables)
		files = append(files, f)
	}
	b.result = again.Compare(*b.known, files)
}

// match is what is known of a table of a waiting file; nil on a first visit.
func (b *batch) match(file, table int) *again.Match {
	if b.result == nil {
		return nil
	}
	return &b.result.Matches[b.first[file]+table]
}

// twice is the name of the same file given before, "" = none.
func (b *batch) twice(file int) string {
	for i := range file {
		if b.waiting[i].SHA256 == b.waiting[file].SHA256 {
			return b.waiting[i].Name
		}
	}
	if m := b.matchOf(file); m != nil {
		for _, f := range m.Findings {
			if f.Code == again.GivenAlready {
				return f.File
			}
		}
	}
	return ""
}

func (b *batch) matchOf(file int) *again.Match {
	if b.result == nil || b.found[file] == nil || len(b.found[file].Tables) == 0 {
		return nil
	}
	return b.match(file, 0)
}

// lay is what every column of every new file will be read as, by file and table.
func (b *batch) lay() [][][]effective {
	t := taken{}
	out := make([][][]effective, len(b.waiting))
	for i, f := range b.found {
		if f != nil && b.twice(i) == "" {
			out[i] = make([][]effective, len(f.Tables))
		}
	}
	for _, n := range b.turns() {
		out[n.file][n.table] = t.lay(b.waiting[n.file].Name, n.table, &b.found[n.file].Tables[n.table], b.notes[n.file], b.match(n.file, n.table))
	}
	return out
}

// cards shows every new file.
func (v *view) cards(b *batch) []logCard {
	all := b.lay()
	out := make([]logCard, len(b.waiting))
	for i, w := range b.waiting {
		out[i] = v.card(b, i, w, all[i])
	}
	return out
}

func (v *view) card(b *batch, i int, w farms.Waiting, eff [][]effective) logCard {
	c := logCard{View: v, ID: w.ID, Name: clean(w.Name), State: stateGood, Settled: v.settled(b.notes[i])}
	found := b.found[i]
	switch {
	case found == nil || b.comparing:
		c.State = stateReading
		return c
	case !usable(found):
		c.State, c.Fault = stateBroken, v.fault(found)
		if found.Fault != nil {
			return c
		}
	}
	if c.Twice = clean(b.twice(i)); c.Twice != "" {
		c.State = stateTwice
		return c
	}
	for k := range i {
		if c.Like == "" && alike(b, k, i) && b.twice(k) == "" {
			c.Like = clean(b.waiting[k].Name)
		}
	}
	milk := isMilkings(w.Name, found)
	for k := range found.Tables {
		t := v.table(found, k, b.notes[i], eff[k], b.match(i, k))
		t.Milkings = milk || b.match(i, k) != nil && b.match(i, k).Has(again.MilkingsList)
		if t.Milkings {
			t.asMilkings(&found.Tables[k])
		}
		c.Tables = append(c.Tables, t)
		if c.State == stateGood && !t.Milkings && (openDoubt(t) || lacksAny(&found.Tables[k], eff[k]) || badPlace(eff[k])) {
			c.State = stateOpen
		}
	}
	if c.State == stateOpen || slices.ContainsFunc(c.Tables, logTable.differs) {
		c.Like = "" // something is to be seen in it
	}
	return c
}

// differs: a finding asks for a look.
func (t logTable) differs() bool {
	return slices.ContainsFunc(t.Findings, func(f findingView) bool { return f.Doubt })
}

// leavesOut: a column is left out because another file has the same.
func (t logTable) leavesOut() bool {
	return slices.ContainsFunc(t.Columns, func(c logColumn) bool { return c.Same != "" && c.Quantity == "" })
}

func badPlace(eff []effective) bool {
	for _, e := range eff {
		if e.m.used() && !placeOK(e.m.Place) {
			return true
		}
	}
	return false
}

func openDoubt(t logTable) bool {
	for _, d := range t.Doubts {
		if d.Open {
			return true
		}
	}
	return false
}

func lacksAny(t *look.Table, eff []effective) bool {
	for k := range t.Columns {
		if !eff[k].before && eff[k].m.lacks(&t.Columns[k]) != "" {
			return true
		}
	}
	return false
}

// usable: there is a table with rows.
func usable(f *looking.Found) bool {
	if f.Fault != nil {
		return false
	}
	for i := range f.Tables {
		if f.Tables[i].Rows > 0 {
			return true
		}
	}
	return false
}

// keptCard shows one of the farm's own files. found is nil where it takes long.
func (v *view) keptCard(b *batch, i int, found *looking.Found) logCard {
	l := b.logs[i]
	c := logCard{View: v, ID: "kept-" + itoa(i), Name: clean(l.Name), State: stateGood, Kept: true}
	switch {
	case found == nil:
		c.State = stateReading
		return c
	case !usable(found):
		c.State, c.Fault = stateBroken, v.fault(found)
		return c
	}
	log := b.logFor(l.Name)
	for k := range found.Tables {
		t := &found.Tables[k]
		eff := make([]effective, len(t.Columns))
		for n := range t.Columns {
			eff[n].before = true
			if log != nil {
				eff[n].m = mappedBy(log, t, n)
			}
		}
		shown := v.table(found, k, fileNote{}, eff, nil)
		shown.Doubts = nil // the farm file says
		shown.Milkings = b.known != nil && b.known.Farm.Milkings.File == l.Name
		c.Tables = append(c.Tables, shown)
	}
	return c
}

// mappedBy is what the farm file reads a column as.
func mappedBy(log *farm.Log, t *look.Table, n int) mapped {
	c := &t.Columns[n]
	for _, m := range log.Columns {
		if m.Header == c.Name || m.Header == "#"+itoa(c.Number) || strings.Join(strings.Fields(m.Header), " ") == strings.Join(strings.Fields(c.Name), " ") {
			return mapped{Quantity: m.Quantity, Place: m.Place, Unit: m.Unit, Counter: m.Counter, Fit: m.Fit}
		}
	}
	return mapped{}
}

func (v *view) farmFaults(b *batch) []string { return cleanAll(b.faults) }
