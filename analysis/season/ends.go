package season

import (
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
)

// endDoubt makes the account twice more where draws are told by the probes
// alone, with every draw ended later and earlier: how far the readings hold the
// ends depends on how often they are made.
func (b *builder) endDoubt(from, to int64) {
	if b.acc.LoopFlow == nil || b.acc.LoopFlow.From != "draws" {
		return
	}
	everyS := 0.0
	for _, s := range b.acc.Loop.Hot {
		everyS = math.Max(everyS, b.grid.Channels[s.Channel].UsualS)
	}
	halfS := math.Max(b.opt.EndLeastS, b.opt.EndError*everyS)
	if halfS <= 0 {
		return
	}
	ended := func(laterS float64) *account.Account {
		opt := b.opt.Account
		opt.Cycle.Probes.EndLaterS = laterS
		acc, err := account.Make(account.Input{Rec: b.rec, Grid: b.grid, FromMS: from, ToMS: to}, opt)
		if err != nil || len(acc.Cycles) != len(b.acc.Cycles) {
			return nil
		}
		return acc
	}
	d := clockDoubt{halfS: halfS, later: ended(halfS), earlier: ended(-halfS)}
	if d.later == nil || d.earlier == nil {
		return
	}
	d.source = b.reg.add(doubt.Source{Name: "when draws ended, as the probes show it", Kind: doubt.Shared, HalfWidth: halfS, Unit: "s", Assumed: true})
	b.reg.clocks = append(b.reg.clocks, d)
}
