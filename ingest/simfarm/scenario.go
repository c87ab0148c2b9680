package simfarm

import (
	"fmt"
	"slices"
	"time"
)

// Scenario is everything that defines a simulated farm.
type Scenario struct {
	Name  string
	Zone  string // IANA
	Start string // first local day, 2006-01-02
	Days  int
	Seed  uint64

	Loop    Loop
	Bed     Bed
	Slab    Slab
	Climate Climate
	Milk    Milk
	Plant   Plant
	Tank    Tank
	Wash    Wash
	Money   Money
	Errors  []Stated
	Matched []Matched
	// StillLoopK, StillPlateK: how much warmer the surroundings of the outlet's probe
	// are than those of the inlet's while the water stands; StillBedShare of the
	// bed's distance from the air reaches the loop's outlet probe then.
	StillLoopK, StillPlateK, StillBedShare float64
	Loggers                                []Logger
	Events                                 []Event
	Changes                                []Change
	Bypasses                               []Bypass
	Held                                   Held
	Comments                               bool // farm.toml explains itself
	// Fine: signals are kept at every step even where no logger is quicker than
	// a minute, for clocks that are off by parts of one.
	Fine bool
}

// Loop is the buried pipe and what is drawn through it. Length and wall are as
// stated; the true ones differ by the drawn errors.
type Loop struct {
	LengthM, BoreMM float64
	// WallMM 0: the farm file does not say; the true wall is then drawn.
	WallMM, WallMJPerM3K float64
	BedAreaM2            float64
	// UAWPerK wanted at FlowLMin.
	UAWPerK, FlowLMin float64
	// StillFilmWPerM2K: film coefficient in standing water.
	StillFilmWPerM2K float64
	// LeadL: unburied pipe before the outlet probe; InletL after the inlet's.
	LeadL, InletL float64
	// FrontShare: the front's width over the loop's volume.
	FrontShare float64
	Cells      int
	// StateDraw: the farm file gives draw_l, for there is no meter.
	StateDraw bool
	// StateFlow: it gives flow_l_min, for only the valve's state is logged.
	StateFlow bool
	// DrawLow, DrawHigh: a refill in loop volumes.
	DrawLow, DrawHigh float64
	// TaperTo: the float valve lets the flow fall to this share as the tank
	// fills (1 = it does not).
	TaperTo float64
}

// Bed is the bedding around the loop.
type Bed struct {
	MeanC, DriftKPerDay, DailyK float64
	// CapacityKWhPerK and RecoverH: depletion by extraction and its recovery.
	CapacityKWhPerK, RecoverH float64
	// ProbeOffsetK: probe minus bed at the pipe; ProbeShare of the depletion
	// that it sees.
	ProbeOffsetK, ProbeShare float64
}

// Event is something that happened to the bed: it moves by StepK at once and
// returns with the time constant ReturnDays (0 = stays).
type Event struct {
	Day, Hour         float64
	What              string
	Tonnes            float64
	StepK, ReturnDays float64
}

// Climate: mains and outdoor temperature, colder in the middle of the season
// (or warmer, with a negative dip).
type Climate struct {
	MainsC, MainsDipK, OutdoorC, OutdoorDipK, OutdoorDailyK float64
}

// Milk is what is milked and how it is cooled.
type Milk struct {
	Times       []string // local starts
	DurationMin float64
	Litres      float64 // a milking
	InC, OutC   float64
	// As stated in the farm file; the true ones differ by the drawn errors.
	SpecificHeatKJPerKgK, DensityKgPerL float64
}

// Plant is the refrigeration and the plate on its hot side.
type Plant struct {
	EvaporatorKW, COP float64
	// StartKWh: outstanding heat at which the compressor starts. NightOnly: an
	// ice bank that is built between 20:00 and 06:00.
	StartKWh       float64
	NightOnly      bool
	StandingGainKW float64 // as stated
	PlateFlowLMin  float64
	// PlateEffectiveness at the start, lost by FoulPerDay.
	PlateEffectiveness, FoulPerDay float64
	GasC                           float64
	StopC                          float64 // the plate pump stops at this tank temperature
	PumpKW                         float64 // as stated
	Refrigerant                    string
}

// Tank is the hot tank.
type Tank struct {
	VolumeL    float64 // 0: from the largest draw
	LossWPerK  float64
	ElementKW  float64
	LeadH      float64 // the element is allowed this long before the wash
	ShortHeats int     // days on which it is allowed a tenth of that
}

// Wash is the plant wash AfterMin after a milking; RinseL are taken before it,
// more slowly.
type Wash struct {
	TargetC, HeatToC, FlowLMin float64
	RinseL, RinseFlowLMin      float64
	AfterMin                   float64
}

// Money is [instead] and [electricity].
type Money struct {
	Carrier, Currency, Source       string
	Efficiency                      float64 // as stated
	PricePerKWh, CO2KgPerKWh        float64
	PowerPricePerKWh, PowerCO2KgKWh float64
	NightFrom, NightTo              string // "" = one rate
	NightPricePerKWh                float64
	Capital, UpkeepPerYear, Years   float64
	// The alternative's price is RisenPerKWh from RisesDay on (0 = never).
	RisesDay    int
	RisenPerKWh float64
}

// Stated is one row of [errors].
type Stated struct {
	Key  string
	Half float64 // K, or a fraction with Relative, or the figure's own unit
	// Relative: in per cent in the file. Rectangular: limits.
	Relative, Rectangular bool
}

// Matched is one [[matched]]: two probes, one column each, that were compared
// with each other.
type Matched struct {
	Keys [2]string
	// WithinK: half-width at 95 % of the comparison. With Offset its reading is
	// stated; without, the two are such as read alike. With Find the offset is left
	// to the record, and nothing is compared.
	WithinK      float64
	Offset, Find bool
}

// Logger is one [[log]].
type Logger struct {
	Name string
	// Format: "csv", "utf16" or "xlsx".
	Format    string
	Separator byte
	// Comma: decimal comma. Latin: Windows-1252, else UTF-8.
	Comma, Latin bool
	// Stamp: "dmy" (31.12.2025 23:59), "iso" (2025-12-31 23:59:00), "epoch".
	Stamp string
	// Zone: "" is the farm's; else "UTC" or "+02:00".
	Zone      string
	IntervalS int
	Preamble  []string
	UnitRow   bool
	// Monthly: one export a month, each OverlapDays into the next.
	Monthly     bool
	OverlapDays float64
	// AheadS: the clock at mid-file, stamp minus true time.
	AheadS, DriftSPerDay float64
	ClockText            string // as given in farm.toml
	// StampAt: "start" or "end" of the interval, as farm.toml then says; "" is a
	// stamp at the reading, of which farm.toml says nothing.
	StampAt string
	// JumpS: the clock is moved by so much on JumpDay (may be broken); AheadS then
	// holds before it.
	JumpDay, JumpS float64
	// Gaps: first day (may be broken) and length in hours.
	Gaps [][2]float64
	// IdleGaps: so many short gaps at times when no water moves.
	IdleGaps int
	Columns  []Column
}

// Column is one probe of a logger.
type Column struct {
	Header, Unit    string // Unit in the unit row, or behind the header in brackets
	Quantity, Place string
	Signal          Signal
	Mode            Mode
	Decimals        int
	// Step is the resolution (0 = as printed); NoiseK the random part.
	Step, NoiseK float64
	// Stuck: day and hours during which the probe repeats itself.
	Stuck [2]float64
	// Sentinels: so many readings are replaced by Sentinel.
	Sentinels int
	Sentinel  string
	// Empty: so many cells are left empty.
	Empty int
	// ResetDay: a running counter starts again at 0 (0 = never). StartAt: its
	// first reading.
	ResetDay, StartAt float64
}

// Mode is how a signal is written.
type Mode uint8

// The modes: a value at the stamp, a mean rate per minute over the interval, a
// running counter, a mean power over the interval, a mean temperature over it.
const (
	Instant Mode = iota
	MeanPerMinute
	Counter
	MeanKW
	MeanOver
)

// Signal is what a probe looks at.
type Signal uint8

// The signals; those from LoopL on are running totals, but for the last three.
const (
	Mains Signal = iota
	LoopOut
	BedProbe
	BedAtPipe
	PlateIn
	PlateOut
	Gas
	TankTop
	TankLow
	WashAt
	SlabProbe
	Air
	Outdoor
	LoopL
	PlateL
	WashL
	ElementKWh
	CompressorKWh
	PumpS
	PumpOn
	CompressorOn
	ValveOn
	signals
)

// Validate names what is missing for a simulation.
func (s Scenario) Validate() error {
	for _, c := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"Days", float64(s.Days), 3, 400}, {"Loop.LengthM", s.Loop.LengthM, 10, 5000}, {"Loop.BoreMM", s.Loop.BoreMM, 8, 100},
		{"Loop.UAWPerK", s.Loop.UAWPerK, 1, 1e5}, {"Loop.FlowLMin", s.Loop.FlowLMin, 0.5, 500}, {"Loop.Cells", float64(s.Loop.Cells), 10, 2000},
		{"Loop.DrawLow", s.Loop.DrawLow, 0.1, 10}, {"Loop.DrawHigh", s.Loop.DrawHigh, s.Loop.DrawLow, 10},
		{"Loop.StillFilmWPerM2K", s.Loop.StillFilmWPerM2K, 10, 5000}, {"Loop.TaperTo", s.Loop.TaperTo, 0.1, 1},
		{"Bed.CapacityKWhPerK", s.Bed.CapacityKWhPerK, 0.1, 1e6}, {"Bed.RecoverH", s.Bed.RecoverH, 0.1, 1e4},
		{"Milk.Litres", s.Milk.Litres, 1, 1e5}, {"Milk.DurationMin", s.Milk.DurationMin, 10, 360}, {"len(Milk.Times)", float64(len(s.Milk.Times)), 1, 4},
		{"Plant.EvaporatorKW", s.Plant.EvaporatorKW, 0.1, 1000}, {"Plant.COP", s.Plant.COP, 1, 10}, {"Plant.PlateFlowLMin", s.Plant.PlateFlowLMin, 0.5, 200},
		{"Tank.ElementKW", s.Tank.ElementKW, 0.1, 200}, {"Wash.FlowLMin", s.Wash.FlowLMin, 1, 200}, {"Wash.RinseFlowLMin", s.Wash.RinseFlowLMin, 0, 200}, {"Wash.HeatToC", s.Wash.HeatToC, 20, 95},
		{"Money.Efficiency", s.Money.Efficiency, 0.1, 1.5},
	} {
		if !(c.v >= c.lo && c.v <= c.hi) {
			return fmt.Errorf("simfarm: %s is %g; want %g to %g", c.name, c.v, c.lo, c.hi)
		}
	}
	for _, l := range s.Loggers {
		if !l.even() || len(l.Columns) == 0 {
			return fmt.Errorf("simfarm: logger %s: interval %d s and %d columns; want 10, 20 or 30 s or whole minutes, and at least one column", l.Name, l.IntervalS, len(l.Columns))
		}
	}
	if _, err := time.Parse(dayLayout, s.Start); err != nil {
		return fmt.Errorf("simfarm: start: %w", err)
	}
	return s.validateBypasses()
}

// quick: some logger is quicker than a minute, or signals are wanted as fine.
func (s *Scenario) quick() bool {
	return s.Fine || slices.ContainsFunc(s.Loggers, func(l Logger) bool { return l.quick() })
}

// even: whole minutes, or whole steps that a minute is a multiple of.
func (l *Logger) even() bool {
	if l.quick() {
		return l.IntervalS >= stepS && l.IntervalS%stepS == 0 && 60%l.IntervalS == 0
	}
	return l.IntervalS%60 == 0
}

func (l *Logger) quick() bool { return l.IntervalS < 60 }

const dayLayout = "2006-01-02"
