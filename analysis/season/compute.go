package season

import (
	"fmt"
	"math"
	"slices"

	"yardheat/analysis/account"
	"yardheat/analysis/caution"
	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/series"
	"yardheat/ingest/work"
)

// Compute makes the season of a record: grid, account, loop, plant, one Monte
// Carlo run over all figures, and the rows behind them. The same record and
// options give the same season, on any number of cores.
func Compute(rec *ingest.Record, opt Options) (s *Season, err error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	opt = opt.stoppable()
	b := emptyBuilder(rec, opt)
	defer work.Catch(&err)
	defer b.end()
	from, to, err := b.build()
	if err != nil {
		return nil, err
	}
	excluded := b.exclusions(from, to)
	b.s.Problems = slices.Concat(b.s.Problems, rec.Problems, b.acc.Problems, b.compared.problems)
	b.s.Settings = append(flagSettings(rec), opt.settings()...)
	full := b.rec
	beside := b.beside(from, to)
	if err := b.figures(); err != nil {
		return nil, err
	}
	b.opt.say(work.StageGather)
	b.s.Channels = beside.channels()
	b.rows()
	if err := b.bedLook(); err != nil {
		return nil, err
	}
	b.geometry()
	raised, err := beside.cautions()
	if err != nil {
		return nil, fmt.Errorf("cautions: %w", err)
	}
	b.s.Cautions, b.s.Standing = cautions(raised), caution.Standing()
	b.s.Audit.Meters = beside.meters()
	b.audit()
	b.s.Record = b.recorded()
	b.s.Exclusions = excluded()
	work.Check(opt.Context)
	if opt.Trace {
		b.s.behind = &behind{given: rec, rec: full, grid: b.grid, acc: b.acc, opt: opt, saved: b.saved, used: b.used, gainKW: b.gainKW}
	}
	return b.s, nil
}

// beside is what is made while the figures are: it needs the grid and the
// account alone. Each waits for its own.
type beside struct {
	channels func() []Channel
	meters   func() []Meter
	cautions func() ([]caution.Caution, error)
}

// beside starts on it, and lets go of the readings themselves: from here on they
// are asked for through the grid.
func (b *builder) beside(from, to int64) beside {
	rec, slim := b.rec, *b.rec
	slim.Series = nil
	b.rec = &slim
	type raised struct {
		list []caution.Caution
		err  error
	}
	cautions := work.Later(&b.meanwhile, func() raised {
		list, err := caution.Raise(caution.Input{Grid: b.grid, Farm: slim.Farm, Zone: b.acc.Zone, FromMS: from, ToMS: to, Account: b.acc}, b.opt.Caution)
		return raised{list, err}
	})
	return beside{
		channels: work.Later(&b.meanwhile, func() []Channel { return b.channels(rec) }),
		meters:   work.Later(&b.meanwhile, func() []Meter { return b.meters(rec) }),
		cautions: func() ([]caution.Caution, error) {
			x := cautions()
			return x.list, x.err
		},
	}
}

// newBuilder is a builder whose figures can be asked for.
func newBuilder(rec *ingest.Record, opt Options) (b *builder, fromMS, toMS int64, err error) {
	b = emptyBuilder(rec, opt)
	fromMS, toMS, err = b.build()
	return b, fromMS, toMS, err
}

func emptyBuilder(rec *ingest.Record, opt Options) *builder {
	return &builder{rec: rec, opt: opt, s: &Season{Farm: rec.Farm.Name, ZoneName: rec.Farm.ZoneName, Files: rec.Files, Own: rec.Own, Originals: rec.Originals, Seed: opt.Doubt.Seed}}
}

// end waits for all that was started beside, which a run that failed or was
// stopped no longer asks for, and has what stays forget the context.
func (b *builder) end() {
	b.meanwhile.Settle()
	b.grid.Free()
	b.s.Record.Free()
	if b.s.behind != nil {
		b.s.behind.forget()
	}
}

// build lays the logs on one grid, keeps the account and compares the probes:
// all that figures are asked from.
func (b *builder) build() (from, to int64, err error) {
	rec, opt := b.rec, b.opt
	if from, to, err = period(rec, opt); err != nil {
		return 0, 0, err
	}
	opt.say(work.StageGrid)
	if b.grid, err = grid.Build(rec, from, to, opt.Account.Grid); err != nil {
		return 0, 0, fmt.Errorf("grid: %w", err)
	}
	alone := len(rec.Farm.Matched) == 0 && len(rec.Farm.Logs) == 1
	if alone { // nothing will be moved or taken off
		b.recorded = b.record(from, to)
	}
	opt.say(work.StageAccount)
	if b.acc, err = account.Make(account.Input{Rec: rec, Grid: b.grid, FromMS: from, ToMS: to}, opt.Account); err != nil {
		return 0, 0, fmt.Errorf("account: %w", err)
	}
	if err := b.together(from, to); err != nil {
		return 0, 0, err
	}
	if len(rec.Farm.Matched) == 0 && !alone { // else errors may be taken off first
		b.recorded = b.record(from, to)
	}
	opt.say(work.StageMatch)
	b.reg = newRegistry(rec.Farm, b.grid)
	if err := b.compare(from, to); err != nil {
		return 0, 0, err
	}
	if b.recorded == nil {
		b.recorded = b.record(from, to)
	}
	b.clockDoubts(from, to)
	b.probeDoubts(from, to)
	b.pipeDoubts(from, to)
	return from, to, nil
}

// compare holds probes against each other; where that shows errors to take off,
// grid and account are made again without them.
func (b *builder) compare(from, to int64) error {
	if err := b.match(); err != nil {
		return err
	}
	list := b.corrected()
	if list == nil {
		return nil
	}
	rec := *b.rec
	rec.Series = list
	b.rec = &rec
	var err error
	if b.grid, err = grid.Build(b.rec, from, to, b.opt.Account.Grid); err != nil {
		return fmt.Errorf("grid: %w", err)
	}
	b.reg.grid = b.grid
	if b.acc, err = account.Make(account.Input{Rec: b.rec, Grid: b.grid, FromMS: from, ToMS: to}, b.opt.Account); err != nil {
		return fmt.Errorf("account: %w", err)
	}
	return nil
}

// period is the span reported on: what was asked for, within the record.
func period(rec *ingest.Record, opt Options) (from, to int64, err error) {
	from, to = rec.First, rec.Last
	if !opt.From.IsZero() {
		from = max(from, opt.From.UnixMilli())
	}
	if !opt.To.IsZero() {
		to = min(to, opt.To.UnixMilli())
	}
	if from >= to {
		return 0, 0, fmt.Errorf("%w: the record runs from %s to %s", ErrPeriod, clockTime(rec.First, rec), clockTime(rec.Last, rec))
	}
	return from, to, nil
}

// figures asks for every figure, makes the trials and fills them in.
func (b *builder) figures() error {
	b.ask()
	b.opt.say(work.StageTrials)
	if err := b.run(); err != nil {
		return fmt.Errorf("trials: %w", err)
	}
	b.s.Trials = b.result.Trials
	b.headline()
	b.budgetRows()
	b.doubts()
	b.sensorRows()
	b.improve()
	b.before()
	b.claims()
	return nil
}

// ask asks for every figure.
func (b *builder) ask() {
	b.opt.say(work.StageFit)
	all := b.stretchOf(func(int) bool { return true })
	fit := b.fitLoop()
	x := b.terms()
	s := b.saver(x)
	b.saved = s.rows
	b.heat(x, all)
	b.saving(s, x, all)
	b.electricityFigures(x, all)
	b.loopFigures(fit)
	b.opt.say(work.StagePlant)
	r := b.recovery(x)
	b.gainKW = r.gain.KW
	b.plant(r, x)
	b.opt.say(work.StageChanges)
	b.changes(fit, r)
	b.ladder()
	b.bed(x, all)
	b.months(x, s, r, fit)
	b.stretches(x, s, r, fit)
	b.kept = kept{x, s, r}
	b.ledger(x, s, r)
}

// headlineKeys in the order of the first screen.
var headlineKeys = []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh", "saved_kwh", "ua_w_per_k", "recovery_fraction"}

// headline gathers the seven figures of the first screen.
func (b *builder) headline() {
	found := map[string]Named{}
	for _, list := range [][]Named{b.s.Heat.Seen, b.s.Saving.Figures, b.s.Loop.Figures, b.s.Plant.Figures} {
		for _, n := range list {
			found[n.Key] = n
		}
	}
	for _, key := range headlineKeys {
		n := found[key]
		b.s.Headline = append(b.s.Headline, n)
		if n.Figure.High < 0 && n.Figure.Unit == "kWh" && key != "saved_kwh" {
			b.s.Problems = append(b.s.Problems, series.Problem{Code: CodeHeatNegative, Severity: series.Doubt, Where: key,
				Text: fmt.Sprintf("%s is negative (%s): look whether its two probes are swapped", n.Label, n.Figure.Shown)})
		}
	}
}

// CodeHeatNegative: a step that should warm the water cooled it.
const CodeHeatNegative = "heat-negative"

// budgetRows says whose error makes how much of each headline figure's spread.
func (b *builder) budgetRows() {
	for _, o := range b.budget {
		for _, r := range b.result.Budget(o.output) {
			if r.Share < 0.0005 {
				continue
			}
			src := b.reg.sources[r.Source]
			b.s.Budget = append(b.s.Budget, BudgetRow{Figure: o.key, Source: src.Name, Kind: string(src.Kind), Share: r.Share,
				Error: src.Error(), Assumed: src.Assumed, Dist: src.Dist.String(), Slope: b.result.Slope(r.Source, o.output),
				SlopeUnit: perUnit(src), U: math.Sqrt(b.result.Variance(r.Source, o.output))})
		}
	}
}

// perUnit is what a slope is per: the unit of the error ("" = a plain number), or
// "1" where it is relative.
func perUnit(s doubt.Source) string {
	if s.Relative {
		return "1"
	}
	return s.Unit
}

func cautions(list []caution.Caution) []Caution {
	out := make([]Caution, len(list))
	for i, c := range list {
		out[i] = Caution{ID: c.ID, Text: c.Text, Because: c.Because, First: c.First, Last: c.Last}
	}
	return out
}

// nan is "not known".
var nan = math.NaN()
