package ingest

import (
	"cmp"
	"slices"

	"yardheat/ingest/clock"
	"yardheat/ingest/clockfind"
	"yardheat/ingest/logs"
	"yardheat/ingest/work"
)

// findClocks finds the clocks of the logs that ask for it and reads the logs
// again with them; of the other clocks it lists those that look off.
func (l *loader) findClocks() {
	before := len(l.rec.Problems)
	l.listedMilkings()
	ofMilkings := slices.Clone(l.rec.Problems[before:])
	if len(l.faults) > 0 {
		return
	}
	l.told.Tell(work.Progress{Stage: work.StageAlign})
	found := clockfind.Find(l.clockInput())
	if l.clocks = found.Clocks; len(l.clocks) > 0 {
		l.rec.Series, l.probes, l.rec.Problems = nil, nil, nil
		l.readLogs()
		l.makeSeries()
		l.rec.Problems = append(l.rec.Problems, ofMilkings...)
	}
	l.rec.Problems = append(l.rec.Problems, found.Problems...)
	for i, c := range l.clocks {
		for _, t := range l.logs[i].Tables {
			t.Corrections = append(t.Corrections, "clock found: "+c.Evidence)
		}
	}
}

// clockInput is what clocks are found from.
func (l *loader) clockInput() clockfind.Input {
	in := clockfind.Input{Series: l.rec.Series, Zone: l.rec.Zone}
	in.Milkings, in.Stated = l.milkingsForClocks()
	for _, g := range l.logs {
		log := clockfind.Log{Farm: g.Farm}
		if len(g.Tables) > 0 {
			log.File, log.ZoneName = g.Tables[0].Name, g.Tables[0].Zone
		}
		in.Logs = append(in.Logs, log)
	}
	return in
}

// readLogs reads the logs, clocks that were found taken off. Row order tells
// apart stamps that a jump shows twice, so the stamps are read anew.
func (l *loader) readLogs() {
	shifts := map[int]clock.Shift{}
	for i, c := range l.clocks {
		shifts[i] = c.Shift
	}
	stage := work.StageRead
	if len(shifts) > 0 {
		stage = work.StageReread
	}
	read, found := logs.Read(l.root, l.farm, logs.Options{Now: l.opt.Now, Workers: l.opt.Workers, StreamBytes: l.opt.StreamBytes, Flags: l.opt.Flags, Clocks: shifts,
		Context: l.opt.Context, Told: l.told, Stage: stage})
	l.logs = read
	l.faults = append(l.faults, found.Faults...)
	l.rec.Problems = append(l.rec.Problems, found.Problems...)
}

// milkingsForClocks are the farm's milkings; stated times are laid on the days
// of the readings, unflagged as yet, and forgotten. Days and collections are no
// times that a log could show.
func (l *loader) milkingsForClocks() (list []clockfind.Milking, stated bool) {
	if is := l.farm.Milkings.MilkIs; is == "day" || is == "collection" {
		return nil, false
	}
	stated = l.rec.MilkingsFrom == "" && len(l.farm.Milkings.Times) > 0
	if stated {
		l.span()
		l.statedTimes(l.farm.Milkings.Times)
	}
	for _, m := range l.rec.Milkings {
		list = append(list, clockfind.Milking{StartMS: m.Start, EndMS: m.End})
	}
	slices.SortFunc(list, func(a, b clockfind.Milking) int { return cmp.Compare(a.StartMS, b.StartMS) })
	if stated {
		l.rec.Milkings, l.rec.First, l.rec.Last = nil, 0, 0
	}
	return list, stated
}

// ownClock completes a file's clock where it was found.
func (l *loader) ownClock(log int, c *Clock) {
	if f := l.clocks[log]; f != nil {
		c.From, c.Low, c.High = "found", c.AheadS-f.BelowS, c.AheadS+f.AboveS
	}
}
