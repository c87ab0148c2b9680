package season

import (
	"math"

	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
	"yardheat/ingest/series"
)

// clockDoubt is how the heats answer to what is left unknown of one log's
// clock: the account made again with the log put later and earlier by the half
// of its interval.
type clockDoubt struct {
	source         int
	halfS          float64
	later, earlier *account.Account
}

// leastClockS: an offset known closer than this moves no heat worth showing.
const leastClockS = 1

// clockDoubts makes the account twice more for every log whose clock was found
// within an interval.
func (b *builder) clockDoubts(from, to int64) {
	for log := range b.rec.Farm.Logs {
		halfS := 0.0
		for _, f := range b.rec.Files {
			if f.Log == log && f.Clock.From == "found" && !math.IsNaN(f.Clock.High-f.Clock.Low) {
				halfS = max(halfS, (f.Clock.High-f.Clock.Low)/2)
			}
		}
		if halfS < leastClockS {
			continue
		}
		d := clockDoubt{halfS: halfS, later: b.shifted(log, halfS, from, to), earlier: b.shifted(log, -halfS, from, to)}
		if d.later == nil || d.earlier == nil {
			continue
		}
		d.source = b.reg.add(doubt.Source{Name: "clock of the log " + b.rec.Farm.Logs[log].Name, Kind: doubt.Shared, HalfWidth: halfS, Unit: "s"})
		b.reg.clocks = append(b.reg.clocks, d)
	}
}

// shifted is the account with one log moved by some seconds; nil where it
// cannot be made or its cycles are other ones.
func (b *builder) shifted(log int, byS float64, from, to int64) *account.Account {
	rec := *b.rec
	rec.Series = make([]*series.Series, len(b.rec.Series))
	for i, s := range b.rec.Series {
		if s.Log == log {
			s = moved(s, int64(math.Round(byS*1000)))
		}
		rec.Series[i] = s
	}
	return b.accountOf(&rec, from, to)
}

// moved is a series with its stamps put later.
func moved(s *series.Series, byMS int64) *series.Series {
	return movedBy(s, func(int64) float64 { return float64(byMS) / 1000 })
}

// clockEffects are the responses of a heat, row by row, to each clock in doubt,
// per second: half the difference between the log put later and earlier.
func (r *registry) clockEffects(h *account.Heat, column func(*account.Heat) []float64) []doubt.Effect {
	if p, ok := r.pipes[h.Name]; ok { // flow against temperatures: no other clock moves this heat
		return append([]doubt.Effect(nil), clockEffect(h, column, clockDoubt{p.source, p.halfS, r.later, r.earlier})...)
	}
	var out []doubt.Effect
	for _, d := range r.clocks {
		out = append(out, clockEffect(h, column, d)...)
	}
	return out
}

// clockEffect is one of them; none where the accounts do not compare.
func clockEffect(h *account.Heat, column func(*account.Heat) []float64, d clockDoubt) []doubt.Effect {
	later, earlier := heatOf(d.later, h.Name), heatOf(d.earlier, h.Name)
	if later == nil || len(later.Rows) != len(h.Rows) || len(earlier.Rows) != len(h.Rows) {
		return nil
	}
	per, high := column(earlier), column(later)
	for i := range per {
		per[i] = (high[i] - per[i]) / (2 * d.halfS)
		if math.IsNaN(per[i]) {
			per[i] = 0
		}
	}
	return []doubt.Effect{{Source: d.source, Per: per}}
}

func heatOf(a *account.Account, name string) *account.Heat {
	for _, h := range [...]*account.Heat{&a.Loop, &a.Plate, &a.Wash, &a.OtherUse} {
		if h.Name == name {
			return h
		}
	}
	return nil
}
