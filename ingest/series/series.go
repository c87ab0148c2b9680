// Package series holds the words that every floor of Yardheat shares: the
// quantities a farm logs, the series of readings of one probe, the flags a
// reading can carry, and a problem found in the input. It is a leaf: it
// imports nothing of ours and knows no files, no statistics and no physics.
//
// Conventions. Times are Unix milliseconds, UTC, true time (clock corrections
// applied). Values are in the base unit of the quantity: degC, L/min, L, kW,
// kWh, bar, %, 0/1. A missing cell is no reading; a bad reading stays in its
// place and carries a flag.
package series

// Quantity is a name of interfaces.md section 2, exact in case, for example
// "loop_out_temp".
type Quantity string

// Kind says what a value of a series stands for.
type Kind uint8

// The kinds. Running counters do not outlive the reader: it turns them into
// Amount by differences, resets and roll-overs resolved.
const (
	// Instant is the value at the stamp.
	Instant Kind = iota
	// Mean is the mean over (From, T].
	Mean
	// Amount is the total over (From, T].
	Amount
	// State is 0 or 1 and holds until the next row (see Series.HoldMS).
	State
)

// Flag is a set of reasons for which a reading is not used. Zero means kept.
type Flag uint8

// The flags, in the order in which results.json lists them.
const (
	Sentinel Flag = 1 << iota
	Range
	Spike
	Stuck
	Rate
	Duplicate
	Order
	// Absent: there is no reading at this stamp, only at that of its neighbours
	// in the row; the value is NaN. It is not among the names: what was never
	// read is no bad reading.
	Absent
)

// FlagNames are the names of the flags as results.json and record.csv print
// them, by bit.
var FlagNames = [...]string{"sentinel", "range", "spike", "stuck", "rate", "duplicate", "order"}

// Origin says where a reading stands: the file's index in Record.Files and
// the line (or sheet row) in it.
type Origin struct {
	File int32
	Line int32
}

// Series is the readings of one probe: one column of one [[log]], whichever
// of the logger's files they come from. It is immutable once loaded.
type Series struct {
	Quantity Quantity
	Place    string
	// Probe names the physical probe and with it its one shared error:
	// "yard: Loop out" (the log's name, then the header).
	Probe string
	// Log is the index of the [[log]] in the farm file.
	Log int
	// Column is the header as written; Unit the unit as written.
	Column string
	Unit   string
	Kind   Kind
	// Counter: the column was a running counter; ResolutionBase is its
	// smallest step in base units (0 = not known).
	Counter        bool
	ResolutionBase float64
	// Amps: the column was a current, turned into power by stated volts.
	Amps bool
	// Fit is "pocket", "pipe" or "" (not stated).
	Fit string

	// T are the stamps, ascending; for Mean and Amount the END of the interval.
	// The columns of one table share them: T and From are never written to.
	T []int64
	// From are the starts of the intervals of Mean and Amount, else nil.
	From []int64
	// V are the values in the base unit. Never Inf; NaN just where flagged
	// Absent.
	V []float64
	// Flags, one a stamp.
	Flags Flags
	// Origins, one a stamp.
	Origins Origins

	// IntervalMS is the usual (median) interval between stamps.
	IntervalMS int64
	// HoldMS is how long a State holds at most: two usual intervals, or in an
	// event log until the next event (then 0 = no limit).
	HoldMS int64
	// Missing counts empty or unreadable cells.
	Missing int
}

// Severity of a problem.
type Severity string

// The severities of results.json.
const (
	Note    Severity = "note"
	Doubt   Severity = "doubt"
	LeftOut Severity = "left out"
)

// Problem is something doubtful in the input: data, not a failure.
type Problem struct {
	Code     string   `json:"code"`
	Severity Severity `json:"severity"`
	File     string   `json:"file"`
	Where    string   `json:"where"`
	Text     string   `json:"text"`
}

// Class is what kind of thing a quantity measures; it fixes the base unit.
type Class uint8

// The classes with their base units.
const (
	Temperature Class = iota // degC
	Flow                     // L/min
	Volume                   // L
	Power                    // kW
	Energy                   // kWh
	Pressure                 // bar (gauge)
	Level                    // %
	OnOff                    // 0/1
)

// BaseUnit is the unit that values of the class are kept in.
func (c Class) BaseUnit() string {
	return [...]string{"degC", "L/min", "L", "kW", "kWh", "bar", "%", "0/1"}[c]
}

// Info is what is known of a quantity beforehand.
type Info struct {
	Class Class
	// Pipe: the probe means something only while water moves past it.
	Pipe bool
	// SeparatePlaces: several columns without a place are different places
	// (bed_temp, air_temp, tank_temp).
	SeparatePlaces bool
	// Low, High: plausible range in the base unit (domain-notes D3).
	Low, High float64
}

// Quantities are all the quantities, by name. Read-only.
var quantities = map[Quantity]Info{
	"mains_temp":       {Temperature, true, false, -5, 60},
	"loop_in_temp":     {Temperature, true, false, -5, 100},
	"loop_out_temp":    {Temperature, true, false, -5, 100},
	"bed_temp":         {Temperature, false, true, -10, 90},
	"slab_temp":        {Temperature, false, false, -10, 90},
	"plate_in_temp":    {Temperature, true, false, -5, 100},
	"plate_out_temp":   {Temperature, true, false, -5, 100},
	"gas_in_temp":      {Temperature, true, false, -20, 150},
	"gas_out_temp":     {Temperature, true, false, -20, 150},
	"milk_in_temp":     {Temperature, true, false, -5, 45},
	"milk_out_temp":    {Temperature, true, false, -5, 45},
	"ice_water_temp":   {Temperature, false, false, -5, 40},
	"tank_temp":        {Temperature, false, true, 0, 99},
	"wash_temp":        {Temperature, true, false, -5, 100},
	"return_temp":      {Temperature, true, false, -5, 100},
	"hot_use_temp":     {Temperature, true, false, -5, 100},
	"air_temp":         {Temperature, false, true, -40, 50},
	"outdoor_temp":     {Temperature, false, false, -50, 55},
	"tank_setpoint":    {Temperature, false, false, 0, 99},
	"element_setpoint": {Temperature, false, false, 0, 99},

	"loop_flow":  {Flow, false, false, 0, 500},
	"plate_flow": {Flow, false, false, 0, 500},
	"wash_flow":  {Flow, false, false, 0, 500},

	"loop_volume":    {Volume, false, false, 0, 1e9},
	"plate_volume":   {Volume, false, false, 0, 1e9},
	"wash_volume":    {Volume, false, false, 0, 1e9},
	"hot_use_volume": {Volume, false, false, 0, 1e9},
	"milk_volume":    {Volume, false, false, 0, 1e9},

	"compressor_power":  {Power, false, false, 0, 500},
	"element_power":     {Power, false, false, 0, 500},
	"pump_power":        {Power, false, false, 0, 100},
	"solar_power":       {Power, false, false, 0, 2000},
	"grid_import_power": {Power, false, false, 0, 5000},
	"grid_export_power": {Power, false, false, 0, 5000},

	"compressor_energy":  {Energy, false, false, 0, 1e9},
	"element_energy":     {Energy, false, false, 0, 1e9},
	"pump_energy":        {Energy, false, false, 0, 1e9},
	"solar_energy":       {Energy, false, false, 0, 1e9},
	"grid_import_energy": {Energy, false, false, 0, 1e9},
	"grid_export_energy": {Energy, false, false, 0, 1e9},

	"suction_pressure":   {Pressure, false, false, -1, 60},
	"discharge_pressure": {Pressure, false, false, -1, 100},
	"loop_pressure":      {Pressure, false, false, -1, 25},

	"ice_level":  {Level, false, false, 0, 100},
	"tank_level": {Level, false, false, 0, 100},

	"compressor_on": {OnOff, false, false, 0, 1},
	"element_on":    {OnOff, false, false, 0, 1},
	"loop_valve":    {OnOff, false, false, 0, 1},
	"loop_pump":     {OnOff, false, false, 0, 1},
	"plate_pump":    {OnOff, false, false, 0, 1},
}

// Lookup tells what is known of a quantity; ok is false for a name that is
// none.
func Lookup(q Quantity) (info Info, ok bool) {
	info, ok = quantities[q]
	return info, ok
}

// LoggedAs is the way in which a quantity of class c is logged: "state",
// "counter", "amount", "rate" or "reading".
func (s *Series) LoggedAs(c Class) string {
	switch {
	case s.Kind == State:
		return "state"
	case s.Kind == Amount && s.Counter:
		return "counter"
	case s.Kind == Amount:
		return "amount"
	case c == Flow || c == Power:
		return "rate"
	}
	return "reading"
}

// Kept is the number of readings without a flag.
func (s *Series) Kept() int { return len(s.V) - s.Flags.Set() }

// Samples is the number of readings, flagged ones among them.
func (s *Series) Samples() int { return len(s.V) - s.Flags.Absent() }

// Fault is one reason why the input cannot be used.
type Fault struct {
	File  string // relative to the farm folder
	Where string // "line 12", "sheet Log, C7", "key loop.bore_mm"
	Got   string // what stood there, cut short
	Want  string // what was expected
	Do    string // what to do
}
