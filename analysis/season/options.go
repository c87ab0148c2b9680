package season

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"time"

	"yardheat/analysis/account"
	"yardheat/analysis/apart"
	"yardheat/analysis/bed"
	"yardheat/analysis/caution"
	"yardheat/analysis/doubt"
	"yardheat/analysis/loop"
	"yardheat/analysis/loop/store"
	"yardheat/analysis/match"
	"yardheat/analysis/plant"
	"yardheat/ingest"
	"yardheat/ingest/work"
)

// ErrPeriod: the period asked for holds nothing of the record.
var ErrPeriod = errors.New("the period asked for holds nothing of the record")

// Options of a season.
type Options struct {
	// From, To: the period, zero = the whole record.
	From, To time.Time
	Account  account.Options
	Loop     loop.Options
	Store    store.Options
	Plant    plant.Options
	Caution  caution.Options
	// Apart: how the clocks of a pipe's flow and temperatures are put together.
	Apart apart.Options
	Doubt doubt.Options
	// Change: which changes of loop and plant are named.
	Change ChangeOptions
	// Match: how probes are held against each other in still water.
	Match match.Options
	// Improve: what measures at the farm can reach.
	Improve ImproveOptions
	// Baseline: what a baseline by days without recovery is made of. Cost: when a
	// season stands for a year.
	Baseline BaselineOptions
	Cost     CostOptions
	// Bed: how the bed is looked at over the season.
	Bed bed.Options
	// LagError: half-width at 95 % of a probe's time constant, as a share of it
	// (assumed; common practice, no source). HeldK: of a reading held back to the
	// start of a run, K.
	LagError, HeldK float64
	// Without a flow meter: EndError is the half-width of when draws end, as a
	// share of the log's interval, at least EndLeastS; TaperError how far
	// the share of the flow that is left as the float valve closes
	// (account.Cycle.Probes.TaperTo) may be off either way, as limits
	// (our choices, no source).
	EndError, EndLeastS, TaperError float64
	// LeadMostL: where neither loop.lead_l nor the outlet probe's fit is stated, the
	// pipe between bed and probe may hold anything up to this (assumed).
	LeadMostL float64
	// ExclusionCells is how many cells of the grid are laid again, at most, to
	// find what readings left out would move.
	ExclusionCells int
	// TypicalDraws is how many draws are shown closely.
	TypicalDraws int
	// Version of the tool, for the report's id.
	Version string
	// Trace keeps what Season.Trace follows figures by: record, grid and account.
	Trace bool
	// Progress is told what is being done: the stages StageGrid to StageGather of
	// package work, in this order; nil = nobody asks. It is never called twice at
	// once.
	Progress func(work.Progress)
	// Context ends the work: Compute then gives its error. nil = it never ends.
	// It is no setting, and the Season does not keep it.
	Context context.Context

	told *work.Teller
}

// DefaultOptions are the project's.
func DefaultOptions() Options {
	return Options{
		Account: account.DefaultOptions(), Loop: loop.DefaultOptions(), Store: store.DefaultOptions(), Plant: plant.DefaultOptions(),
		Caution: caution.DefaultOptions(), Apart: apart.DefaultOptions(), Doubt: trials(), Change: changeOptions(),
		Match: match.DefaultOptions(), Improve: defaultImprove(), Baseline: baselineOptions(), Cost: costOptions(), Bed: bed.DefaultOptions(),
		LagError: 0.6, HeldK: 1, LeadMostL: 10,
		EndError: 0.5, EndLeastS: 90, TaperError: 0.3, ExclusionCells: 1_000_000, TypicalDraws: 3,
	}
}

// trials are those of a report: 20,000 at least, more until the printed digits
// stand, but no more than a report has time for.
func trials() doubt.Options {
	o := doubt.DefaultOptions()
	o.MaxTrials = 60_000
	return o
}

// Validate names the first option that cannot be used.
func (o Options) Validate() error {
	for _, err := range []error{o.Account.Validate(), o.Loop.Validate(), o.Store.Validate(), o.Plant.Validate(), o.Caution.Validate(), o.Apart.Validate(), o.Doubt.Validate(), o.Change.validate(), o.Match.Validate(), o.Improve.validate(), o.Baseline.validate(), o.Cost.validate(), o.Bed.Validate()} {
		if err != nil {
			return err
		}
	}
	switch {
	case !(o.LagError >= 0 && o.LagError <= 3):
		return fmt.Errorf("season: option LagError is %g; want 0 to 3", o.LagError)
	case !(o.HeldK >= 0 && o.HeldK <= 20):
		return fmt.Errorf("season: option HeldK is %g; want 0 to 20", o.HeldK)
	case !(o.EndError >= 0 && o.EndError <= 2):
		return fmt.Errorf("season: option EndError is %g; want 0 to 2", o.EndError)
	case !(o.EndLeastS >= 0 && o.EndLeastS <= 3600):
		return fmt.Errorf("season: option EndLeastS is %g; want 0 to 3600", o.EndLeastS)
	case !(o.TaperError >= 0 && o.TaperError <= 1):
		return fmt.Errorf("season: option TaperError is %g; want 0 to 1", o.TaperError)
	case !(o.LeadMostL >= 0 && o.LeadMostL <= 1000):
		return fmt.Errorf("season: option LeadMostL is %g; want 0 to 1000", o.LeadMostL)
	case o.ExclusionCells < 0 || o.ExclusionCells > 1e9:
		return fmt.Errorf("season: option ExclusionCells is %d; want 0 to 1e9", o.ExclusionCells)
	case o.TypicalDraws < 0 || o.TypicalDraws > 12:
		return fmt.Errorf("season: option TypicalDraws is %d; want 0 to 12", o.TypicalDraws)
	}
	return nil
}

// say tells the stage that begins, and leaves where the work has ended.
func (o Options) say(stage work.Stage) {
	work.Check(o.Context)
	o.told.Tell(work.Progress{Stage: stage})
}

// stoppable has every stage ask for the options' context.
func (o Options) stoppable() Options {
	o.told = work.NewTeller(o.Progress)
	for _, ctx := range [...]*context.Context{&o.Account.Context, &o.Account.Grid.Context, &o.Loop.Context, &o.Store.Context, &o.Caution.Context,
		&o.Apart.Context, &o.Doubt.Context, &o.Change.Find.Context, &o.Match.Context} {
		*ctx = o.Context
	}
	return o
}

// settings lists every option in force, by stage and name.
func (o Options) settings() []Setting {
	base := DefaultOptions()
	var out []Setting
	for _, part := range []struct {
		name      string
		now, then any
	}{
		{"account", o.Account, base.Account}, {"loop", o.Loop, base.Loop}, {"store", o.Store, base.Store}, {"plant", o.Plant, base.Plant},
		{"caution", o.Caution, base.Caution}, {"apart", o.Apart, base.Apart}, {"trials", o.Doubt, base.Doubt}, {"change", o.Change, base.Change},
		{"match", o.Match, base.Match}, {"improve", o.Improve, base.Improve}, {"baseline", o.Baseline, base.Baseline}, {"cost", o.Cost, base.Cost}, {"bed", o.Bed, base.Bed},
	} {
		out = flatten(out, part.name, reflect.ValueOf(part.now), reflect.ValueOf(part.then))
	}
	out = append(out,
		Setting{"season.LagError", number(o.LagError), origin(o.LagError == base.LagError)},
		Setting{"season.HeldK", number(o.HeldK), origin(o.HeldK == base.HeldK)},
		Setting{"season.EndError", number(o.EndError), origin(o.EndError == base.EndError)},
		Setting{"season.EndLeastS", number(o.EndLeastS), origin(o.EndLeastS == base.EndLeastS)},
		Setting{"season.TaperError", number(o.TaperError), origin(o.TaperError == base.TaperError)},
		Setting{"season.LeadMostL", number(o.LeadMostL), origin(o.LeadMostL == base.LeadMostL)},
		Setting{"season.ExclusionCells", fmt.Sprint(o.ExclusionCells), origin(o.ExclusionCells == base.ExclusionCells)})
	return out
}

// flagSettings lists the thresholds by which readings were flagged: those for
// all quantities, then the farm file's own by quantity.
func flagSettings(rec *ingest.Record) []Setting {
	var out []Setting
	now, base := rec.Options.Flags, ingest.DefaultLoadOptions().Flags
	then := base.Thresholds()
	for i, t := range now.Thresholds() {
		out = append(out, Setting{"flags." + t.Key, number(*t.Value), origin(*t.Value == *then[i].Value)})
	}
	for _, q := range slices.Sorted(maps.Keys(rec.Farm.Flags)) {
		t := rec.Farm.Flags[q]
		for _, f := range [...]struct {
			name string
			v    float64
		}{{"range low", t.RangeLow}, {"range high", t.RangeHigh}, {"spike", t.Spike}, {"rate", t.RatePerH}, {"stuck_h", t.StuckH}} {
			if !math.IsNaN(f.v) {
				out = append(out, Setting{"flags." + q + " " + f.name, number(f.v), "farm.toml"})
			}
		}
	}
	return out
}

func flatten(out []Setting, name string, now, then reflect.Value) []Setting {
	for i := range now.NumField() {
		key, v := name+"."+now.Type().Field(i).Name, now.Field(i)
		switch v.Kind() {
		case reflect.Struct:
			out = flatten(out, key, v, then.Field(i))
		case reflect.Float64:
			out = append(out, Setting{key, number(v.Float()), origin(v.Float() == then.Field(i).Float())})
		case reflect.Int, reflect.Bool, reflect.Uint64:
			out = append(out, Setting{key, fmt.Sprint(v.Interface()), origin(v.Equal(then.Field(i)))})
		}
	}
	return out
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func origin(same bool) string {
	if same {
		return "default"
	}
	return "set"
}
