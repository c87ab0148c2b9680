package today

import (
	"fmt"
	"slices"
	"strings"

	"yardheat/analysis/account"
	"yardheat/analysis/caution"
)

// cautions raised in the stretch; small washes raise none (the line of washes
// counts them). C09, less heat per kWh of the compressor than before, is left to
// the line of the plate, which asks the same of the same cycles. Those that need more days than it holds are
// asked for over these, and count if they reach into it.
func (m *maker) cautions() (*Line, error) {
	l := &Line{Code: CodeCautions, Says: CautionsNone, State: InOrder}
	days := hours(24 * m.opt.Season.Caution.NeverHotD)
	for _, x := range []struct {
		from int64
		ids  []string // nil: all
	}{{m.t.From, nil}, {max(m.t.UsualFrom, m.t.To-days), []string{"C01", "C02"}}, {m.t.UsualFrom, []string{"C10"}}} {
		list, err := caution.Raise(caution.Input{Grid: m.g, Farm: m.rec.Farm, Zone: m.zone, FromMS: x.from, ToMS: m.t.To, Account: m.since(x.from)}, m.opt.Season.Caution)
		if err != nil {
			return nil, fmt.Errorf("today: cautions: %w", err)
		}
		for _, c := range list {
			has := slices.ContainsFunc(l.Cautions, func(r Raised) bool { return r.ID == c.ID })
			if has || c.ID == "C09" || (c.ID == "C13" && !m.bedAsked()) || c.Last <= m.t.From || (x.ids != nil && !slices.Contains(x.ids, c.ID)) {
				continue
			}
			l.Cautions = append(l.Cautions, Raised{c.ID, c.Text, c.Because, c.First, c.Last})
		}
	}
	slices.SortFunc(l.Cautions, func(a, b Raised) int { return strings.Compare(a.ID, b.ID) })
	if len(l.Cautions) > 0 {
		l.Says, l.State = CautionsRaised, LookAt
	}
	l.number("raised", float64(len(l.Cautions)), "1", nil)
	return l, nil
}

// bedAsked: somebody will go to the bed, for it was turned or cleared in the
// stretch, or one of its probes looks stuck or faulty; single bad readings send
// nobody there.
func (m *maker) bedAsked() bool {
	for _, e := range m.rec.Farm.Events {
		if at := e.At.UnixMilli(); (e.What == "turned" || e.What == "cleared") && m.inWindow(at) {
			return true
		}
	}
	return slices.ContainsFunc(m.doubtful(), func(p Probe) bool { return p.Quantity == "bed_temp" && p.What != "silent" })
}

// since is the account's rows and washes that end after a time, as far as
// cautions ask for them.
func (m *maker) since(ms int64) *account.Account {
	a, out := m.acc, *m.acc
	at := 0
	for at < len(a.Cycles) && a.Cycles[at].End <= ms {
		at++
	}
	out.Cycles = a.Cycles[at:]
	if a.Feed != nil {
		out.Feed = a.Feed[at:]
	}
	if a.Milk.Rows != nil {
		out.Milk.Rows = a.Milk.Rows[at:]
	}
	if a.Plate.Rows != nil {
		out.Plate.Rows = a.Plate.Rows[at:]
	}
	if a.Compressor.Rows != nil {
		out.Compressor.Rows = a.Compressor.Rows[at:]
	}
	out.Washes = nil
	for _, w := range a.Washes {
		if w.End > ms && w.Litres >= m.small {
			out.Washes = append(out.Washes, w)
		}
	}
	return &out
}
