package season

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"yardheat/analysis/account"
	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/analysis/solve"
	"yardheat/ingest"
	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

func clockTime(ms int64, rec *ingest.Record) string {
	return time.UnixMilli(ms).In(rec.Zone).Format("2006-01-02 15:04")
}

// rows fills in what stands behind the figures: cycles, washes, channels.
func (b *builder) rows() {
	s, a := b.s, b.acc
	s.Period = Period{Start: a.FromMS, End: a.ToMS, Draws: len(a.Draws)}
	for _, w := range a.Washes {
		if !w.Rinse {
			s.Period.Washes++
		}
	}
	for _, c := range a.Cycles {
		if c.Milking >= 0 {
			s.Period.Milkings++
		}
	}
	for i := range a.Cycles {
		s.Cycles = append(s.Cycles, b.cycleRow(i))
	}
	b.washes()
	b.longGaps()
	for _, e := range b.rec.Farm.Events {
		if at := e.At.UnixMilli(); at >= a.FromMS && at < a.ToMS {
			s.Events = append(s.Events, Event{At: at, What: e.What})
		}
	}
	for i := range s.Cycles {
		c := &s.Cycles[i]
		if c.UsedInRecovery {
			s.Pictures.Rejected = append(s.Pictures.Rejected, c.MilkKWh+c.CompressorKWh)
			s.Pictures.Caught = append(s.Pictures.Caught, c.PlantKWh)
		}
	}
}

func (b *builder) cycleRow(i int) CycleRow {
	a, share := b.acc, b.opt.Account.Cycle.CoveredShare
	c := a.Cycles[i]
	t := a.Row(i, share)
	r := CycleRow{N: i + 1, Start: c.Start, End: c.End, Month: c.Month(a.Zone),
		LoopKWh: t.LoopKWh, PlantKWh: t.PlateKWh, ElementKWh: t.ElementKWh, WashKWh: t.WashKWh, OtherUseKWh: t.OtherUseKWh,
		PumpKWh: t.PumpKWh, CompressorKWh: t.CompressorKWh, StoreChangeKWh: t.StoreChangeKWh, LossKWh: t.LossKWh,
		UnexplainedKWh: t.UnexplainedKWh, MilkKWh: t.MilkKWh, Coverage: t.Coverage,
		MilkL: nan, MilkInC: nan, MilkOutC: nan, MilkColdAfter2hC: nan, FeedC: nan, WashC: nan,
		LoopL: litres(&a.Loop, i), PlateL: litres(&a.Plate, i), WashL: litres(&a.Wash, i), BaselineKWh: nan, SavedKWh: nan}
	if c.Milking >= 0 {
		r.MilkingEnd = a.Milkings[c.Milking].End
	}
	if a.Milk.Rows != nil {
		m := a.Milk.Rows[i]
		r.MilkL, r.MilkInC, r.MilkOutC, r.MilkColdAfter2hC = m.Litres, m.InC, m.OutC, m.After2hC
	}
	if a.Feed != nil {
		r.FeedC = a.Feed[i].TempC
	}
	if a.Wash.Rows != nil {
		r.WashC = a.Wash.Rows[i].HotC()
	}
	if in := b.rec.Farm.Instead; in != nil && in.Efficiency > 0 {
		r.BaselineKWh = t.BaselineHeatKWh/in.Efficiency + in.StandingLossKWhPerDay*c.Hours()/24
		r.SavedKWh = r.BaselineKWh - t.UsedKWh
	}
	if b.heldCycles != nil {
		r.BaselineKWh = b.heldCycles[i]
		r.SavedKWh = r.BaselineKWh - t.UsedKWh
	}
	r.UsedInRecovery = slices.Contains(b.used, i)
	r.Whole, r.NotCovered = c.Whole, strings.Join(a.NotCovered(i, share), ", ")
	return r
}

func litres(h *account.Heat, i int) float64 {
	if h.Rows == nil {
		return nan
	}
	return h.Rows[i].Litres
}

// washes lists and counts the washes.
func (b *builder) washes() {
	w, a := &b.s.Washes, b.acc
	w.CoolestC, w.TargetC, w.RinseC = nan, nan, b.opt.Account.Cycle.JudgedC
	if f := b.rec.Farm.Wash; f != nil && f.HasTarget {
		w.TargetC = f.TargetC
	}
	at := 0
	for i, x := range a.Washes {
		for at < len(a.Cycles) && a.Cycles[at].End <= x.Start {
			at++
		}
		w.List = append(w.List, b.wash(x, i, at))
		switch {
		case x.Rinse:
			w.Rinses++
			continue
		case x.Unknown:
			w.Unknown++
			continue
		}
		w.Count++
		if x.TooCool {
			w.TooCool++
		}
		if !(w.CoolestC <= x.TempC) {
			w.CoolestC = x.TempC
		}
	}
}

func (b *builder) wash(x cycle.Wash, i, at int) Wash {
	w := Wash{At: x.Start, End: x.End, TempC: x.TempC, EndC: x.EndC, Litres: x.Litres, HeatKWh: nan,
		Rinse: x.Rinse, TooCool: x.TooCool, Reason: x.Reason, Cycle: min(at+1, len(b.acc.Cycles))}
	if i < len(b.acc.WashRows) {
		w.HeatKWh = b.acc.WashRows[i].KWh
	}
	return w
}

// CodeGapLong: a probe is missing for days.
const CodeGapLong = "gap-long"

// longGapDays: shorter gaps show in the coverage alone (our choice).
const longGapDays = 2

// channels counts readings, flags and gaps by probe, and what of each day the
// grid covers.
func (b *builder) channels(rec *ingest.Record) []Channel {
	days := grid.Days(b.acc.FromMS, b.acc.ToMS, b.acc.Zone)
	byProbe := map[string]*grid.Channel{}
	for i := range b.grid.Channels {
		c := &b.grid.Channels[i]
		byProbe[string(c.Quantity)+"\x00"+c.Probe] = c
	}
	out := make([]Channel, len(rec.Series))
	solve.Each(len(rec.Series), func(k int) {
		x := rec.Series[k]
		c := Channel{Quantity: string(x.Quantity), Place: x.Place, Column: x.Column, File: b.fileOf(x), Unit: x.Unit, Probe: x.Probe,
			Samples: x.Samples(), Kept: x.Kept(), GapS: nan}
		for _, f := range x.Flags.All() {
			for bit := range c.Flags {
				if f&(1<<bit) != 0 {
					c.Flags[bit]++
				}
			}
		}
		if g := byProbe[string(x.Quantity)+"\x00"+x.Probe]; g != nil {
			c.GapS = b.grid.GapS(g.Values)
			c.ByDay = b.grid.Coverage(g.Values, days)
		}
		out[k] = c
	})
	return out
}

// longGaps names the columns that are missing for days: those of one file that
// are missing for as long together, since a logger that is out takes all of its
// columns with it.
func (b *builder) longGaps() {
	type gap struct {
		file string
		days float64
	}
	var order []gap
	columns, quantities := map[gap][]string{}, map[gap][]string{}
	for _, c := range b.s.Channels {
		g := gap{c.File, math.Round(c.GapS / 86400)}
		if !(c.GapS/86400 > longGapDays) {
			continue
		}
		if columns[g] == nil {
			order = append(order, g)
		}
		columns[g], quantities[g] = append(columns[g], c.Column), append(quantities[g], c.Quantity)
	}
	for _, g := range order {
		p := series.Problem{Code: CodeGapLong, Severity: series.Doubt, File: g.file, Where: columns[g][0],
			Text: fmt.Sprintf("%s (%q) is not covered for %.0f days of the period: totals that rest on it alone leave that time out", quantities[g][0], columns[g][0], g.days)}
		if n := len(columns[g]); n > 1 {
			p.Where = fmt.Sprintf("%d columns", n)
			p.Text = fmt.Sprintf("not covered for %.0f days of the period: %s. Totals that rest on them alone leave that time out", g.days, strings.Join(columns[g], ", "))
		}
		b.s.Problems = append(b.s.Problems, p)
	}
}

// fileOf names the files of the log behind a series.
func (b *builder) fileOf(x *series.Series) string {
	first, more := "", 0
	for _, f := range b.rec.Files {
		if f.Log != x.Log {
			continue
		}
		if first == "" {
			first = f.Name
		} else {
			more++
		}
	}
	if more > 0 {
		return first + " and " + itoa(more) + " more"
	}
	return first
}

// record gives the cleaned record on the farm file's step. It is laid while the
// account is made; the function given waits for it.
func (b *builder) record(fromMS, toMS int64) (wait func() *grid.Grid) {
	step := b.rec.Farm.StepS
	if step <= 0 || step == b.grid.StepS {
		return func() *grid.Grid { return b.grid }
	}
	opt := b.opt.Account.Grid
	opt.StepS = step
	rec, ours := b.rec, b.grid
	return work.Later(&b.meanwhile, func() *grid.Grid {
		g, err := grid.BuildValues(rec, fromMS, toMS, opt)
		if err != nil {
			g = ours
		}
		return g
	})
}
