package ingest

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/ingest/logs"
	"yardheat/ingest/reading"
	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

var nan = math.NaN()

// makeSeries makes a series of every column that holds a reading.
func (l *loader) makeSeries() {
	type made struct {
		log    *logs.Log
		column *logs.Column
		s      *series.Series
		at     series.Origins
		found  reading.Findings
	}
	var all []made
	for _, g := range l.logs {
		for _, c := range g.Columns {
			if c.Len() == 0 || c.Written == nil {
				continue
			}
			s := &series.Series{Quantity: series.Quantity(c.Farm.Quantity), Place: c.Farm.Place, Probe: g.Farm.Name + ": " + c.HeaderText, Log: g.Index,
				Column: c.HeaderText, Unit: c.UnitText, Fit: c.Farm.Fit, Amps: c.Amps, Missing: c.Missing}
			all = append(all, made{log: g, column: c, s: s})
		}
	}
	var shared reading.Intervals
	l.each(len(all), func(i int) {
		m := &all[i]
		meaning := reading.Meaning{Quantity: m.s.Quantity, Stamp: stampMeaning(m.log), Counter: m.column.Farm.Counter, FactorBase: m.column.FactorBase, Shared: &shared}
		m.found = reading.Series(m.s, &m.column.Column, meaning, l.opt.Flags)
		m.at = m.column.Origins
	})
	for _, g := range l.logs {
		var assumed, held []string
		for _, m := range all {
			if m.log != g {
				continue
			}
			l.tellCounter(g, m.column, m.s, m.found, m.at)
			if m.found.StampAssumed {
				assumed = append(assumed, m.column.HeaderText)
			}
			if m.found.HeldUntilNext {
				held = append(held, m.column.HeaderText)
			}
			l.rec.Series = append(l.rec.Series, m.s)
			l.probes = append(l.probes, probe{log: g, column: m.column, limits: l.limits(m.s)})
		}
		l.tellStamps(g, assumed, held)
	}
}

// stampMeaning is where in its interval a stamp of the log stands: as the farm
// file says, else at its start where the stamps themselves state from and to.
func stampMeaning(g *logs.Log) string {
	if g.Farm.Stamp == "" && len(g.Tables) > 0 && !slices.ContainsFunc(g.Tables, func(t *logs.Table) bool { return !t.Ranged() }) {
		return "start"
	}
	return g.Farm.Stamp
}

// limits are the thresholds for a series: defaults, then the farm file's for
// the quantity, then for quantity@place.
func (l *loader) limits(s *series.Series) reading.Limits {
	lim := l.opt.Flags.LimitsFor(s.Quantity)
	for _, key := range [...]string{string(s.Quantity), string(s.Quantity) + "@" + s.Place} {
		if t, ok := l.farm.Flags[key]; ok {
			lim = lim.With(t.RangeLow, t.RangeHigh, t.Spike, t.RatePerH, t.StuckH)
		}
	}
	return lim
}

// tellStamps lists, once a log, what was assumed of the stamps of amounts and
// means.
func (l *loader) tellStamps(g *logs.Log, assumed, held []string) {
	if len(g.Tables) == 0 {
		return
	}
	file := g.Tables[0].Name
	if len(assumed) > 0 {
		l.problem(series.CodeStampAssumed, series.Note, file, "", "the stamps of %s are taken to be the end of the interval: stamp = \"start\", \"end\" or \"instant\" in [[log]] (farm.toml, line %d) states it",
			series.List(assumed, 6), g.Farm.Line)
	}
	if len(held) > 0 {
		l.problem(series.CodeHeldUntilNext, series.Note, file, "", "%s come at irregular times and are taken to last until the next row: stamp in [[log]] (farm.toml, line %d) states it otherwise", series.List(held, 6), g.Farm.Line)
	}
}

// tellCounter lists what a running counter did beside counting, and notes it
// with the files it stands in.
func (l *loader) tellCounter(g *logs.Log, c *logs.Column, s *series.Series, f reading.Findings, at series.Origins) {
	if !s.Counter {
		return
	}
	k := f.Counter
	name := fmt.Sprintf("%q", c.HeaderText)
	if f.CounterFound {
		l.problem(series.CodeCounterFound, series.Note, g.Tables[0].Name, "", "%s only ever rises and is read as a running counter: counter = true on the column (farm.toml, line %d) states it", name, c.Farm.Line)
	}
	const fallsOften = 0.2
	if !f.CounterFound && k.FallShare > fallsOften {
		l.problem(series.CodeCounterFalls, series.Doubt, g.Tables[0].Name, "", "%s is stated to be a running counter (farm.toml, line %d) but falls about %.0f times for 100 rises: it looks like an amount per reading", name, c.Farm.Line, 100*k.FallShare)
	}
	for _, e := range []struct {
		code  string
		sev   series.Severity
		n     int
		first int
		text  string
	}{
		{series.CodeCounterReset, series.Note, k.Resets, k.FirstReset, "started again %s; what passed before it and after the last reading is not known, the new reading is counted" + lost(k.LostResets)},
		{series.CodeCounterRollOver, series.Note, k.RollOvers, k.FirstRollOver, "passed its full scale %s; the difference is counted across it"},
		{series.CodeCounterBad, series.LeftOut, k.BadReadings, k.FirstBad, "left its course and came back %s (single bad readings); those are not used, the total is not touched"},
		{series.CodeCounterJump, series.LeftOut, k.Jumps, k.FirstJump, "rose faster than anything can have passed %s; that step is not counted (was the meter changed?)"},
	} {
		if e.n == 0 {
			continue
		}
		t := tableOf(g, at.At(e.first))
		where := t.Place(int(at.At(e.first).Line), -1)
		text := fmt.Sprintf(e.text, times(e.n))
		l.problem(e.code, e.sev, t.Name, where, "%s %s", name, text)
		t.Corrections = append(t.Corrections, fmt.Sprintf("counter: %s %s", name, text))
	}
}

func lost(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(" (but for %d, whose reading cannot have passed since)", n)
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

func tableOf(g *logs.Log, o series.Origin) *logs.Table {
	for _, t := range g.Tables {
		if t.File == o.File {
			return t
		}
	}
	return g.Tables[0]
}

// flagAll flags all series, first each by itself, then beside the others.
func (l *loader) flagAll() {
	l.told.Tell(work.Progress{Stage: work.StageFlag})
	all := l.rec.Series
	noise, quiet := make([]int, len(all)), make([]reading.Quiet, len(all))
	l.each(len(all), func(i int) {
		noise[i], quiet[i] = reading.Flag(all[i], l.probes[i].limits, l.probes[i].column.Written, l.opt.Flags)
	})
	for i, n := range noise {
		if n > 0 {
			l.problem(series.CodeZeroNoise, series.Note, l.fileOf(i), "", "%q: %d readings a little below zero are read as 0", all[i].Column, n)
		}
	}
	// Each is judged beside the others as they stand now, whichever is first.
	flagged := make([]series.Flags, len(all))
	l.each(len(all), func(i int) {
		s := *all[i]
		s.Flags = s.Flags.Clone()
		reading.FlagBeside(&s, l.probes[i].limits, quiet[i], l.beside(i), l.opt.Flags)
		flagged[i] = s.Flags
	})
	for i, s := range all {
		s.Flags = flagged[i]
	}
	for i, s := range l.rec.Series {
		if s.Kept() == 0 {
			l.problem(series.CodeAllFlagged, series.LeftOut, l.fileOf(i), "", "%q (%s): none of %d readings is kept: %s", s.Column, s.Quantity, len(s.V), flagCounts(s))
		}
	}
}

// each runs f for 0 … n−1, several at a time, and waits.
func (l *loader) each(n int, f func(i int)) {
	work.Each(l.opt.Workers, n, func(i int) {
		work.Check(l.opt.Context)
		f(i)
	})
}

func (l *loader) fileOf(i int) string {
	if t := l.probes[i].log.Tables; len(t) > 0 {
		return t[0].Name
	}
	return ""
}

func flagCounts(s *series.Series) string {
	var parts []string
	for bit, name := range series.FlagNames {
		n := 0
		for i := range s.V {
			if s.Flags.At(i)&(1<<bit) != 0 {
				n++
			}
		}
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, name))
		}
	}
	return strings.Join(parts, ", ")
}

// flowsOf names the quantities that say whether water (or gas) passes a probe.
func flowsOf(q series.Quantity) []series.Quantity {
	switch stage, _, _ := strings.Cut(string(q), "_"); {
	case stage == "loop":
		return []series.Quantity{"loop_flow", "loop_volume", "loop_valve", "loop_pump"}
	case stage == "plate":
		return []series.Quantity{"plate_flow", "plate_volume", "plate_pump"}
	case stage == "gas":
		return []series.Quantity{"compressor_power", "compressor_energy", "compressor_on"}
	case stage == "wash" || stage == "return" || stage == "tank":
		return []series.Quantity{"wash_flow", "wash_volume"}
	case stage == "hot":
		return []series.Quantity{"hot_use_volume"}
	case q == "mains_temp":
		return []series.Quantity{"loop_flow", "loop_volume", "loop_valve", "loop_pump", "plate_flow", "plate_volume", "wash_flow", "wash_volume"}
	}
	return nil
}

// beside gathers what stands beside the i-th series.
func (l *loader) beside(i int) reading.Beside {
	s := l.rec.Series[i]
	info, _ := series.Lookup(s.Quantity)
	var b reading.Beside
	if info.Class != series.Temperature {
		return b
	}
	for _, q := range flowsOf(s.Quantity) {
		for _, o := range l.rec.Series {
			if o.Quantity == q && o.Kept() > 0 {
				b.Flow = append(b.Flow, o)
			}
		}
	}
	for k, o := range l.rec.Series {
		if k != i && o.Quantity == s.Quantity {
			b.Like = append(b.Like, o)
		}
	}
	if s.Quantity == "bed_temp" {
		b.Quiet = l.disturbed
	}
	return b
}

// disturbed tells whether the farm file has an event of the bed about a time.
func (l *loader) disturbed(tMS int64) bool {
	quietMS := int64(l.opt.Flags.EventQuietH * 3.6e6)
	for _, e := range l.farm.Events {
		switch e.What {
		case "turned", "bedded", "cleared":
			if d := tMS - e.At.UnixMilli(); d > -quietMS && d < quietMS {
				return true
			}
		}
	}
	return false
}
