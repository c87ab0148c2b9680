// Package season computes everything once: from a Record to one immutable
// Season, which every report renders and none computes on. It stands on
// account, loop, plant, cycle, grid, doubt and water.
//
//	rec, err := ingest.Load("my-farm", ingest.DefaultLoadOptions())
//	s, err := season.Compute(rec, season.DefaultOptions())
//
// Flow: grid (the record on one time grid) → account (heat by cycle) → loop and
// plant (the fits), baseline, changes → one Monte Carlo run over all figures
// together (doubt), so that errors which figures share cancel or add as they do
// on the farm → Season.
//
// A Season is its figures and the rows behind them: Headline and the lists under
// Heat, Loop, Plant, Saving (a Named is a key, a label and a Figure: value, low,
// high, unit, confidence, count, coverage, the string to print, and why it is
// missing when it is); Cycles, Draws, Washes.List, Months; Problems and Cautions;
// the Record on its grid; the settings in force. The keys, with unit, meaning
// and making, stand in reports/results/README.md.
//
// Options.Validate names the field that is out of bounds; ErrPeriod is a period
// that holds nothing of the record. A stage that the farm does not have, or that
// its logs can't tell, is no error: its figures say why they are missing.
//
// Sign conventions: heat into the water is positive; electricity used is
// positive; a saving is positive when less final energy was bought. Times are
// Unix ms UTC. NaN is "not known" throughout and never reaches an output.
package season

import (
	"yardheat/analysis/bed"
	"yardheat/analysis/doubt"
	"yardheat/analysis/grid"
	"yardheat/ingest"
	"yardheat/ingest/series"
)

// Figure is one number with interval, count, coverage and reason.
type Figure = doubt.Figure

// Named is a figure under its results.json key, with the words that pages and
// sheets print for it.
type Named struct {
	Key    string // "loop_kwh"
	Label  string // "Heat from the yard"
	Figure Figure
}

// Season is all that a report says.
type Season struct {
	Farm     string
	ZoneName string
	Period   Period
	Files    []ingest.File
	Own      []ingest.Own // farm.toml and the milkings list
	// Originals are all files that were read, also those of which nothing was used.
	Originals []ingest.Own
	Channels  []Channel

	Loop        Loop
	Plant       Plant
	Heat        Heat
	Electricity []Named // element_kwh, element_solar_kwh, element_movable_kwh, pump_kwh, compressor_kwh
	Saving      Saving
	Claims      Claims
	Washes      Washes
	Ladder      []Step
	Bed         []Named // mean_c, heat_w_per_m2 … trend_k_per_week
	BedLook     bed.Bed // the bed by day and since bedding, and the signs of too much taken
	Budget      []BudgetRow
	Sensors     []SensorRow
	Improve     []Improve
	Matched     Matched
	Months      []Month
	Seasons     []Stretch // the farm's [[season]] stretches
	Cautions    []Caution
	Standing    []string // notes that stand beside the cautions in every report
	Problems    []series.Problem
	Settings    []Setting
	// Exclusions: what was left out of the figures, and what it would move.
	Exclusions Exclusions
	Events     []Event

	// Headline figures in the order of the first screen: loop_kwh, plant_kwh,
	// element_kwh, wash_kwh, saved_kwh, ua_w_per_k, recovery_fraction.
	Headline []Named

	// Rows behind the figures.
	Cycles []CycleRow
	Draws  []DrawRow
	// Ledger is what the totals are made of.
	Ledger Ledger
	// Pictures hold the numbers of the charts.
	Pictures Pictures
	// Audit is what an auditor asks for beside the figures.
	Audit Audit
	// Record is the cleaned, aligned record on the farm file's step.
	Record *grid.Grid
	// Seed of the Monte Carlo trials, and their number.
	Seed   uint64
	Trials int

	// doubts are the errors behind figures, by key.
	doubts map[string][]Doubt
	// behind is what Trace follows figures by; nil unless it was asked for.
	behind *behind
}

// Period is the time reported on.
type Period struct {
	Start, End              int64
	Milkings, Washes, Draws int
}

// Channel is one row of data.channels.
type Channel struct {
	Quantity, Place, Column, File, Unit, Probe string
	Samples, Kept                              int
	Flags                                      [7]int // by bit, series.FlagNames
	GapS                                       float64
	// ByDay: share of each local day covered, 0 to 1, for the coverage chart.
	ByDay []float64
}

// Loop is the buried loop. Figures holds ua_w_per_k … effectiveness in the
// order of interfaces.md section 5.
type Loop struct {
	Figures       []Named
	Model         string // "uniform", "store" or "" (no loop)
	ModelWhy      string // what speaks for it, in words
	Identified    bool
	Why           string // why not identified, in words, with what would settle it
	RMSEK         float64
	DrawsUsed     int
	LitresLeftOut float64
	Changes       []Change
	Geometry      Geometry
}

// Plant is the milk-cooling plant. Figures as in interfaces.md section 5.
type Plant struct {
	Figures    []Named
	CyclesUsed int
	Changes    []Change
	// Slope, InterceptKWh of the straight line caught against rejected (York).
	Slope, InterceptKWh Figure
	// Weeks of the plate, in order of time.
	Weeks []PlantWeek
	// InletFromC, InletToC: the water behind recovery_per_k and
	// effectiveness_per_k, in the coolest and warmest stretch of days.
	InletFromC, InletToC float64
	// LeftCycles: cycles in which the plate's water stopped before the
	// compressor; LeftS how long it stood then (NaN: not known).
	LeftCycles int
	LeftS      float64
	MilkCold   MilkCold
}

// Change is one entry of changes[]: a step in a quantity.
type Change struct {
	At int64
	// AtLow, AtHigh: the 95 % interval of the date.
	AtLow, AtHigh int64
	Of, Label     string
	// Before, After are the means of both sides, to the next changes. Size is
	// the step at the date, in the unit or in %; of the sensors' errors it holds
	// what they do to one side more than to the other.
	Before, After, Size Figure
	// Events of the farm file near that date.
	Events []Event
	// Text is the sentence of what to look at; it names no cause.
	Text string
}

// Heat holds the figures over the period as seen, and estimated for the whole.
type Heat struct {
	Seen  []Named // loop_kwh, plant_kwh, element_kwh, wash_kwh, other_use_kwh, store_change_kwh, loss_kwh, unexplained_kwh
	Whole []Named
	// LowFlowShare: share of the loop's litres below the draw threshold.
	LowFlowShare float64
}

// Saving is the season's account against the alternative.
type Saving struct {
	// baseline_kwh, used_kwh, saved_kwh, money, co2_kg, heat_per_kwh, avoided_kwh,
	// normalised_kwh, compressor_extra_kwh, unused_kwh.
	Figures  []Named
	Whole    []Named // saved_kwh, money, co2_kg, estimated for the whole period
	Carrier  string
	Currency string
	Basis    string
	// FuelMoney, PowerMoney: the two lines of money (not bought, bought).
	FuelMoney, PowerMoney Figure
	// Kind of the baseline chosen; Baselines are all that there could be: the
	// alternative, recovery_off, before.
	Kind      string
	Baselines []Baseline
	// ExtraText says what compressor_extra_kwh rests on; "" where it is not known.
	ExtraText string
	// ExtraCharged: avoided_kwh is less by it.
	ExtraCharged bool
	Cost         SavingCost
}

// Washes is the washes judged.
type Washes struct {
	Count, Rinses, TooCool, Unknown int
	CoolestC                        float64 // NaN: none
	TargetC                         float64 // NaN: none
	RinseC                          float64 // water that never passed it counts as a rinse
	List                            []Wash
}

// Wash is one wash or rinse.
type Wash struct {
	At, End        int64
	TempC, EndC    float64
	Litres         float64
	HeatKWh        float64
	Rinse, TooCool bool
	Reason         string
	Cycle          int
}

// Step is one rung of the ladder.
type Step struct {
	Step      string // feed, loop, plate, element, wash
	TempC     Figure
	GainedKWh Figure
}

// BudgetRow is whose error makes how much of a figure's spread.
type BudgetRow struct {
	Figure, Source, Kind string // Kind: "shared" or "random"
	Share                float64
	// HalfWidth and Unit of the source's own error, as printed.
	Error   string
	Assumed bool
	// Dist is its distribution in words; Slope what the figure moves by per unit
	// of the error of SlopeUnit ("1": a relative error; "": a plain number); NaN
	// for a choice of days. U is the standard uncertainty that it makes alone, in the figure's
	// unit.
	Dist      string
	Slope, U  float64
	SlopeUnit string
}

// Month is one month (or part): figures loop_kwh, plant_kwh, element_kwh,
// wash_kwh, saved_kwh, ua_w_per_k, approach_k, recovery_fraction.
type Month struct {
	Month string // "2026-02"
	// Cycles that start in it, and the litres seen in them.
	Cycles                      int
	MilkL, LoopL, PlateL, WashL float64
	Figures                     []Named
}

// Stretch is one [[season]] of the farm file.
type Stretch struct {
	Name, Kind string
	From, To   int64
	Figures    []Named
}

// Caution is one of domain-notes C3.
type Caution struct {
	ID, Text, Because string
	First, Last       int64
}

// Setting is one option or threshold in force.
type Setting struct{ Key, Value, Source string } // Source: "default", "farm.toml"

// Event of the farm file.
type Event struct {
	At   int64
	What string
}

// CycleRow is one cycle: a row of milkings.csv and of the sheet Cycles. NaN =
// not covered.
type CycleRow struct {
	N                       int
	Start, End              int64
	Month                   string
	MilkingEnd              int64
	MilkL                   float64
	MilkInC, MilkOutC       float64
	MilkKWh                 float64
	LoopL, LoopKWh          float64
	PlateL, PlantKWh        float64
	ElementKWh              float64
	WashL, WashKWh          float64
	OtherUseKWh             float64
	PumpKWh, CompressorKWh  float64
	StoreChangeKWh, LossKWh float64
	UnexplainedKWh          float64
	FeedC, WashC            float64
	BaselineKWh, SavedKWh   float64
	MilkColdAfter2hC        float64
	Coverage                float64
	UsedInRecovery          bool
	// Whole: both ends lie inside the period. NotCovered names what is logged on
	// this farm but not covered in this cycle, and so is blank.
	Whole      bool
	NotCovered string
}

// DrawRow is one refill through the loop.
type DrawRow struct {
	N                   int
	Start, End          int64
	Litres, LoopVolumes float64
	InC, OutC, BedC     float64
	HeatKWh             float64
	Effectiveness       float64
	ApproachK           float64
	RMSEK               float64
	Used                bool
	Why                 string // why not used in the fit
}

// Pictures are the numbers behind the charts.
type Pictures struct {
	TypicalDraws []DrawTrace
	// UA by window of days.
	UA []UAPoint
	// Caught against rejected heat by cycle (kWh).
	Rejected, Caught []float64
}

// DrawTrace is one draw read closely, one value a cell.
type DrawTrace struct {
	Title                         string
	At                            int64
	StepS                         float64
	StartS                        float64   // of the draw, s after At
	InC, OutC, BedC, ModelC, LMin []float64 // NaN = none
}

// UAPoint is UA fitted over one stretch of days.
type UAPoint struct {
	From, To int64
	UA       Figure
}
