package season

import (
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/cycle"
	"yardheat/analysis/doubt"
)

// probeDoubts makes the account anew where draws are told by the probes alone:
// with every draw ended later and earlier (how far the readings hold the ends
// depends on how often they are made), and with a float valve that does not
// throttle and one that throttles twice as much as is taken.
func (b *builder) probeDoubts(from, to int64) {
	if b.acc.LoopFlow == nil || b.acc.LoopFlow.From != "draws" {
		return
	}
	everyS := 0.0
	for _, s := range b.acc.Loop.Hot {
		everyS = math.Max(everyS, b.grid.Channels[s.Channel].UsualS)
	}
	b.probeDoubt(from, to, doubt.Source{Name: "when draws ended, as the probes show it", HalfWidth: math.Max(b.opt.EndLeastS, b.opt.EndError*everyS), Unit: "s"},
		func(o *cycle.ProbeOptions, by float64) { o.EndLaterS = by })
	b.probeDoubt(from, to, doubt.Source{Name: "how far the float valve throttles a refill's end", Dist: doubt.Rectangular, HalfWidth: min(b.opt.TaperError, 1-b.opt.Account.Cycle.Probes.TaperTo)},
		func(o *cycle.ProbeOptions, by float64) { o.TaperTo += by })
}

// probeDoubt registers one source by which the account answers to set: half
// the difference between both ends of its interval.
func (b *builder) probeDoubt(from, to int64, s doubt.Source, set func(*cycle.ProbeOptions, float64)) {
	if s.HalfWidth <= 0 {
		return
	}
	anew := func(by float64) *account.Account {
		opt := b.opt.Account
		set(&opt.Cycle.Probes, by)
		acc, err := account.Make(account.Input{Rec: b.rec, Grid: b.grid, FromMS: from, ToMS: to}, opt)
		if err != nil || len(acc.Cycles) != len(b.acc.Cycles) {
			return nil
		}
		return acc
	}
	d := clockDoubt{halfS: s.HalfWidth, later: anew(s.HalfWidth), earlier: anew(-s.HalfWidth)}
	if d.later == nil || d.earlier == nil {
		return
	}
	s.Kind, s.Assumed = doubt.Shared, true
	d.source = b.reg.add(s)
	b.reg.draws = append(b.reg.draws, d)
}
