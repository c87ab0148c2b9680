package season

import (
	"yardheat/analysis/account"
	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/work"
)

// builder carries what the parts of a season share while it is made. Every
// figure asks for an output of the one Monte Carlo run; when the trials are
// done, finish fills the figures in.
type builder struct {
	// meanwhile are the goroutines for what is made beside the rest.
	meanwhile work.Group
	rec       *ingest.Record
	grid      *grid.Grid
	acc       *account.Account
	opt       Options
	reg       *registry
	s         *Season
	// compared is what comparing the probes gave.
	compared *matcher
	// recorded waits for the cleaned record.
	recorded func() *grid.Grid

	outputs int
	fillers []filler
	finish  []func()
	result  *doubt.Result
	// index of headline outputs for the budget, by key.
	budget []budgetOf
	// weighed are outputs whose errors Season.Doubts tells beside those of budget.
	weighed []budgetOf
	// claimed are the outputs that a claim can be about.
	claimed []keptOutput
	// used are the cycles behind the recovery fraction, saved those behind the
	// saving; gainKW is the cold store's standing gain as taken.
	used, saved []int
	gainKW      float64
	// heldCycles is what a baseline by days without recovery gives each cycle; nil
	// where none is chosen.
	heldCycles []float64
	// pipes whose flow stands in another log than their temperatures.
	pipes []pipeDoubt
	// kept is what the audit is made of.
	kept kept
}

// filler computes n outputs from index at on.
type filler struct {
	at, n int
	f     func(t *doubt.Trial, out []float64)
}

type budgetOf struct {
	key    string
	output int
}

// block asks for n outputs computed together; it returns the first's index.
func (b *builder) block(n int, f func(t *doubt.Trial, out []float64)) int {
	at := b.outputs
	b.outputs += n
	b.fillers = append(b.fillers, filler{at, n, f})
	return at
}

// output asks for one output.
func (b *builder) output(f func(t *doubt.Trial) float64) int {
	return b.block(1, func(t *doubt.Trial, out []float64) { out[0] = f(t) })
}

// meta is what a figure says beside its numbers.
type meta struct {
	unit     string
	basis    doubt.Basis
	n        int
	coverage float64
	why      string
}

// want puts the figure of one output under key at the end of dst, once the
// trials are done. dst must not move meanwhile.
func (b *builder) want(dst *[]Named, key string, m meta, f func(t *doubt.Trial) float64) int {
	k := b.output(f)
	b.wantAt(dst, key, m, k)
	return k
}

// wantAt is want for an output that is already asked for.
func (b *builder) wantAt(dst *[]Named, key string, m meta, k int) {
	b.keep(dst, key, k)
	if dst == &b.s.Bed || dst == &b.s.Loop.Figures {
		b.weighed = append(b.weighed, budgetOf{key, k})
	}
	if dst == &b.s.Heat.Whole || dst == &b.s.Saving.Whole {
		b.weighed = append(b.weighed, budgetOf{WholeDoubts + key, k})
	}
	b.later(dst, key, func() Figure { return b.result.Figure(k, m.unit, m.basis, m.n, m.coverage, m.why) })
}

// later reserves a place in dst for a figure made after the trials.
func (b *builder) later(dst *[]Named, key string, f func() Figure) {
	i := len(*dst)
	*dst = append(*dst, Named{Key: key, Label: labels[key]})
	b.finish = append(b.finish, func() { (*dst)[i].Figure = f() })
}

// run makes the trials and fills every figure in.
func (b *builder) run() error {
	fillers := b.fillers
	model := func(t *doubt.Trial, out []float64) {
		for _, f := range fillers {
			if t.Wants(f.at, f.n) {
				f.f(t, out[f.at:f.at+f.n])
			}
		}
	}
	if b.outputs == 0 {
		b.output(func(*doubt.Trial) float64 { return 0 })
		fillers = b.fillers
	}
	var err error
	b.result, err = doubt.Run(b.reg.sources, model, b.outputs, b.opt.Doubt)
	if err != nil {
		return err
	}
	for _, f := range b.finish {
		f()
	}
	return nil
}

// rows of a stretch of the period, and their hours.
type stretch struct {
	rows  []int
	hours float64
}

func (b *builder) stretchOf(keep func(i int) bool) stretch {
	var s stretch
	for i, c := range b.acc.Cycles {
		if keep(i) {
			s.rows = append(s.rows, i)
			s.hours += c.Hours()
		}
	}
	return s
}

// share is the part of the stretch's time that was seen, by hours.
func (b *builder) share(s stretch, seen func(i int) float64) float64 {
	if s.hours == 0 {
		return 0
	}
	sum := 0.0
	for _, i := range s.rows {
		sum += b.acc.Cycles[i].Hours() * seen(i)
	}
	return sum / s.hours
}
