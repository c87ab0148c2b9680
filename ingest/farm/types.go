// Package farm reads and checks farm.toml: strict, all faults in one run, each
// with key, line and the nearest known key.
//
// Flow: Read (bytes → keyed, a tree of values with lines → this package's types,
// checked against each other) → Farm, or the faults. A key that is absent leaves
// NaN, "" or nil, so that who uses it can tell "not stated" from 0; a key that
// nobody knows is a fault, as is a value out of its bounds. Names carry their
// unit, as the keys do (length_m is LengthM). Errors of probes are half-widths at
// 95 % (StatedError); what farm.toml does not state has a default by kind
// (ProbeError), marked as assumed. Every key, with unit, bounds and default,
// stands in README.md beside this file, which a test holds against the reader.
package farm

import "time"

// Farm is farm.toml, checked and with defaults filled in. Pointers and NaN are
// avoided: where an optional figure is absent the matching Has… or nil slice
// says so. Immutable after Read.
type Farm struct {
	Name     string
	Zone     *time.Location
	ZoneName string

	Loop  *Loop  // nil: no loop
	Plate *Plate // nil: no [plate] table (a plate may still be logged)
	Tanks []Tank
	Wash  *Wash // nil: no [wash] table

	// MainsC: nil, one figure, or twelve by month.
	MainsC []float64

	Milk    Milk
	Plant   *Plant
	Element *Element
	Pumps   *Pumps

	Instead     *Instead
	Electricity *Electricity
	Cost        *Cost
	Baseline    Baseline

	Milkings  Milkings
	Seasons   []Season
	Events    []Event // those of farm.toml; a loaded record has EventList's as well
	EventList EventList
	// Errors as stated, in order of the file; see ErrorFor.
	Errors  []StatedError
	Matched []Matched
	// Flags: thresholds by quantity, as stated.
	Flags map[string]Thresholds
	// FlagKeys: thresholds for all quantities, by their keys in [flags].
	FlagKeys map[string]float64
	// StepS is record.step in seconds (default 60); 0 = "raw".
	StepS float64
	Logs  []Log
}

// Loop is [loop].
type Loop struct {
	LengthM, BoreMM float64
	WallMM          float64 // 0 = not stated
	Pipe            string  // "", PE, PEX, PP, copper, steel
	WallMJPerM3K    float64 // 0 = by Pipe
	ApplyGain       bool
	Branches        int     // default 1
	BedAreaM2       float64 // 0 = not stated
	LeadL           float64
	HasLead         bool
	MeterAt         string  // "in" or "out"
	Circuit         string  // "open" or "closed"
	Fluid           string  // "water" or "propylene glycol"
	GlycolPct       float64 // with propylene glycol
	DrawL           float64 // 0 = not stated
	FlowLMin        float64 // 0 = not stated
}

// Plate is [plate].
type Plate struct {
	MeterAt  string  // "in" or "out"
	FlowLMin float64 // 0 = not stated
}

// Tank is one [tank] or [[tank]].
type Tank struct {
	Name    string
	Role    string // "preheat", "hot" or ""
	VolumeL float64
	// Layers: place name of a tank_temp probe → height, 0 floor to 1.
	Layers map[string]float64
}

// Wash is [wash].
type Wash struct {
	TargetC   float64
	HasTarget bool
	HeatToC   float64
	HasHeatTo bool
	MeterAt   string // "hot" or "cold"
}

// Milk is [milk] with defaults filled in.
type Milk struct {
	SpecificHeatKJPerKgK float64 // default 3.93 (see the constant's source)
	DensityKgPerL        float64 // default 1.030
	Precooled            bool
	LimitC               float64 // default 6
	// SpecificHeatStated, DensityStated: the farm's own figure.
	SpecificHeatStated, DensityStated bool
}

// Plant is [plant].
type Plant struct {
	CompressorKW    float64 // 0 = not stated
	StandingGainKW  float64
	HasStandingGain bool
	Refrigerant     string
}

// Element is [element].
type Element struct{ PowerKW float64 }

// Pumps is [pumps]; 0 = not stated.
type Pumps struct{ LoopKW, PlateKW float64 }

// Instead is [instead]: what would heat the water if nothing were recovered.
type Instead struct {
	Carrier               string
	Efficiency            float64
	PricePerKWh           float64
	HasPrice              bool
	CO2KgPerKWh           float64
	HasCO2                bool
	Currency              string
	Source                string
	PriceSince            []PriceSince
	StandingLossKWhPerDay float64
}

// PriceSince is one dated price, ascending by Since (local midnight).
type PriceSince struct {
	Since       time.Time
	PricePerKWh float64
}

// Electricity is [electricity].
type Electricity struct {
	PricePerKWh  float64
	HasPrice     bool
	CO2KgPerKWh  float64
	HasCO2       bool
	ExportPerKWh float64
	HasExport    bool
	Rates        []Rate
	Source       string // where the figures come from
}

// Rate is one [[electricity.rate]]: from From to To (minutes of the local
// day; To may be below From: over midnight) on Days.
type Rate struct {
	FromMin, ToMin int
	Days           [7]bool   // Sunday first, as time.Weekday
	Since          time.Time // zero = always
	PricePerKWh    float64
}

// Cost is [cost].
type Cost struct {
	Capital, UpkeepPerYear, Years float64
	Source                        string
}

// Milkings is [milkings].
type Milkings struct {
	File string // "" = none
	// Columns: "date", "start", "end", "milk_volume", "milk_in_temp",
	// "milk_out_temp" → header as written.
	Columns map[string]string
	Dates   string // "", dmy, mdy, ymd
	MilkIs  string // "milking", "day", "collection"
	// Times: start and end, minutes of the local day.
	Times [][2]int
	// Line of the [milkings] table in farm.toml, for messages.
	Line int
}

// Season is one [[season]]: local dates, both included; zero = open.
type Season struct {
	Name, Kind string    // kind: normal, recovery_off, before
	From, To   time.Time // local midnight at the start of From and at the END of To
}

// Event is one [[event]].
type Event struct {
	At     time.Time
	What   string
	Tonnes float64 // 0 = not stated
}

// EventList is [events]: a file that lists what happened, a row an event.
type EventList struct {
	File string // "" = none
	// Columns: "at", "what", "tonnes" → header as written.
	Columns map[string]string
	Dates   string // "", dmy, mdy, ymd
	Line    int    // of the table in farm.toml, for messages
}

// StatedError is one row of [errors].
type StatedError struct {
	Key         string
	HalfWidth   float64 // in the base unit, or a fraction with Relative
	Relative    bool
	Rectangular bool // "… limits": HalfWidth are limits, else half-width at 95 %, normal
	Line        int
}

// Matched is one [[matched]]: probes compared with each other.
type Matched struct {
	Probes []string // "quantity" or "quantity@place"
	// WithinK: how closely any two agreed, half-width at 95 %; 0 with Find where
	// none is stated.
	WithinK float64
	// OffsetK: how much more the first read than each other.
	OffsetK   float64
	HasOffset bool
	// Find: the offset is to be found in the record (offset = "find"): on the day,
	// or from the time, of On in a bucket, without it in still water.
	Find bool
	// On: a local day (its midnight) or time; zero = not stated.
	On time.Time
}

// Thresholds is one row of [flags]; NaN = default.
type Thresholds struct {
	RangeLow, RangeHigh, Spike, RatePerH, StuckH float64
}

// Log is one [[log]].
type Log struct {
	// Name is how messages and probes call it: the first glob without folder
	// and extension.
	Name                   string
	Files                  []string // globs
	Sheet                  string
	Table                  int
	Encoding               string
	Separator              string
	Decimal                string
	Thousands              string
	Header                 *int
	StampColumns           []string
	StampLayout            string
	Zone                   string // "" = farm's zone
	Dates                  string
	Stamp                  string  // "", start, end, instant
	Clock                  string  // "keep", "find", "given"
	AheadS                 float64 // with "given"
	DriftSPerDay           float64
	Jumps                  []ClockJump
	TagColumn, ValueColumn string // with tags; "" = wide
	// Columns in the order of the farm file.
	Columns []Column
	Line    int
}

// ClockJump is one row of jumps: at the stamp (local wall clock of the log) the
// clock moved by ByS seconds.
type ClockJump struct {
	At  string // "2026-02-03 10:00"
	ByS float64
}

// Column is one row of [log.columns].
type Column struct {
	Header      string // as written, "#n", or the tag
	Quantity    string // "ignore" = not read
	Place       string
	Unit        string // as stated, "" = by header
	Counter     bool
	Scale       float64 // default 1
	Offset      float64 // default 0
	Fit         string  // "", pocket, pipe
	Volts       float64
	Phases      int
	PowerFactor float64
	Line        int
}
