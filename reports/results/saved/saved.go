// Package saved reads a results.json back: the typed reader beside the writer,
// for whoever shows a finished report without the Season it was made of.
//
// It takes what it knows and passes over the rest, so that reports of another
// version can be read; what an earlier report does not hold is absent (a Figure
// that is not known). Numbers that are null are NaN.
package saved

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"yardheat/analysis/season"
	"yardheat/reports/results"
)

// Number is a number that may be null: NaN.
type Number float64

// UnmarshalJSON reads a number or null.
func (n *Number) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = Number(math.NaN())
		return nil
	}
	var f float64
	if err := json.Unmarshal(b, &f); err != nil {
		return err
	}
	*n = Number(f)
	return nil
}

// Figure is a figure as it was written.
type Figure struct {
	Value, Low, High Number
	Unit             string
	Confidence       Number
	Basis            string
	N                int
	Coverage         Number
	Shown, Why       string
}

// Known says whether there is a value.
func (f Figure) Known() bool { return f.Shown != "" && !math.IsNaN(float64(f.Value)) }

// Season is the same as the analysis has it.
func (f Figure) Season() season.Figure {
	return season.Figure{Value: float64(f.Value), Low: float64(f.Low), High: float64(f.High), Unit: f.Unit, N: f.N, Coverage: float64(f.Coverage), Shown: f.Shown, Why: f.Why}
}

// Figures are the figures of an object, by key.
type Figures map[string]Figure

// Get is a figure, one that is not known where there is none.
func (f Figures) Get(key string) Figure {
	if got, ok := f[key]; ok {
		return got
	}
	nan := Number(math.NaN())
	return Figure{Value: nan, Low: nan, High: nan}
}

// Has says whether any of the figures is known.
func (f Figures) Has() bool {
	for _, one := range f {
		if one.Known() {
			return true
		}
	}
	return false
}

// Report is a results.json.
type Report struct {
	Schema string
	Farm   struct{ Name, Timezone string }
	Period struct {
		Start, End              time.Time
		Milkings, Washes, Draws int
	}
	Data struct {
		Files    []File
		Channels []Channel
	}
	Loop        Loop
	Plant       Plant
	Heat        Heat
	Electricity Figures `json:"-"`
	Saving      Saving
	Washes      Washes
	Ladder      []Step
	Bed         Figures  `json:"-"`
	Sensors     []Sensor `json:"budget_by_sensor"`
	Improve     []Improve
	Months      []Month
	Cautions    []Caution
	Problems    []Problem
	Settings    map[string]Setting
	Audit       Audit
}

// File is one original.
type File struct {
	Name, Sheet, SHA256 string
	Rows, Kept          int
	First, Last         time.Time
}

// Channel is one column that was read.
type Channel struct {
	Quantity, Place, Column, File, Unit string
	Samples, Kept                       int
	Flags                               map[string]int
	GapS                                Number `json:"gap_s"`
}

// Change is a step on a date.
type Change struct {
	At                  time.Time
	Of                  string
	Before, After, Size Figure
	AtLow               time.Time `json:"at_low"`
	AtHigh              time.Time `json:"at_high"`
	Events              []Event
	Text                string
}

// Event of the farm file.
type Event struct {
	At   time.Time
	What string
}

// Loop is the pipe loop.
type Loop struct {
	Figures    Figures `json:"-"`
	Model      string
	Identified bool
	Why        string
	Changes    []Change
	Course     []Stretch
	Draws      []Draw
}

// Stretch is the coefficient over some days.
type Stretch struct {
	From, To time.Time
	UA       Figure `json:"ua_w_per_k"`
}

// Draw is one refill through the loop.
type Draw struct {
	Start, End time.Time
	Litres     Number
	Used       bool
}

// Plant is the milk cooling.
type Plant struct {
	Figures  Figures `json:"-"`
	Changes  []Change
	MilkCold struct {
		Why, Read    string
		LimitC       Number    `json:"limit_c"`
		WithRecovery MilkGroup `json:"with_recovery"`
		Without      MilkGroup
	} `json:"milk_cold"`
	Weeks []Week
}

// MilkGroup is milk judged against its limit.
type MilkGroup struct {
	Cycles   int
	TooWarm  int    `json:"too_warm"`
	MeanC    Figure `json:"mean_c"`
	WarmestC Number `json:"warmest_c"`
}

// Week is a week of the plate; Own by the scatter of its own days.
type Week struct {
	From, To     time.Time
	Cycles       int
	Figures, Own Figures `json:"-"`
}

// Heat as seen and for the whole period.
type Heat struct {
	Seen, Whole Figures `json:"-"`
}

// Saving is the account against the alternative.
type Saving struct {
	Figures, Whole           Figures `json:"-"`
	Carrier, Currency, Basis string
	Baseline                 struct{ Kind string }
}

// Washes judged.
type Washes struct {
	Count, Rinses, Unknown int
	TooCool                int    `json:"too_cool"`
	CoolestC               Number `json:"coolest_c"`
	TargetC                Number `json:"target_c"`
	List                   []Wash
}

// Wash is one wash or rinse.
type Wash struct {
	At      time.Time
	TempC   Number `json:"temp_c"`
	EndC    Number `json:"end_c"`
	Litres  Number
	TooCool bool `json:"too_cool"`
	Reason  string
	Rinse   bool
}

// Step is a rung of the ladder.
type Step struct {
	Step      string
	TempC     Figure `json:"temp_c"`
	GainedKWh Figure `json:"gained_kwh"`
}

// Sensor is an instrument's share of each figure's variance.
type Sensor struct {
	Sensor, Kind, Error string
	Assumed             bool
	Shares              map[string]float64
}

// Improve is what would narrow a figure.
type Improve struct {
	Figure   string
	Sensors  []string
	Measure  string
	Narrower Number
	Then     Figure
	Text     string
}

// Month is a calendar month or part of it.
type Month struct {
	Month   string
	Figures Figures `json:"-"`
}

// Caution is what somebody should look at.
type Caution struct {
	ID, Text, Because string
	First, Last       time.Time
}

// Problem is what was doubtful in the input.
type Problem struct{ Code, Severity, File, Where, Text string }

// Setting is an option in force.
type Setting struct{ Value, Source string }

// Audit is what the page shows of the audit.
type Audit struct {
	ReportID string `json:"report_id"`
	Version  string
	Prices   []Price
	Static   []Fact `json:"static_factors"`
}

// Price is a stated price or factor.
type Price struct {
	Key, What   string
	Value       Number
	Unit, Since string
}

// Fact is a stated figure of the farm.
type Fact struct{ Name, Value, Source string }

// ErrSchema: the file is no results.json that this program reads.
var ErrSchema = errors.New("not a results.json of a form that this version reads")

// Read reads a results.json.
func Read(b []byte) (*Report, error) {
	var head struct{ Schema string }
	if err := json.Unmarshal(b, &head); err != nil {
		return nil, fmt.Errorf("results.json: %w", err)
	}
	if head.Schema != results.Schema {
		return nil, fmt.Errorf("results.json: %w: schema %.40q", ErrSchema, head.Schema)
	}
	var r Report
	if err := json.Unmarshal(b, &r); err != nil {
		return nil, fmt.Errorf("results.json: %w", err)
	}
	return &r, nil
}

// figuresIn are the members of an object that are figures.
func figuresIn(b []byte) (Figures, error) {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(b, &members); err != nil {
		return nil, err
	}
	out := Figures{}
	for key, raw := range members {
		if len(raw) == 0 || raw[0] != '{' || !bytes.Contains(raw, []byte(`"shown"`)) || !bytes.Contains(raw, []byte(`"confidence"`)) {
			continue
		}
		var f Figure
		if err := json.Unmarshal(raw, &f); err == nil && f.Shown != "" {
			out[key] = f
		}
	}
	return out, nil
}

// member is one member of an object.
func member(b []byte, key string) (json.RawMessage, error) {
	var members map[string]json.RawMessage
	err := json.Unmarshal(b, &members)
	return members[key], err
}

func figuresOf(b []byte, key string) (Figures, error) {
	raw, err := member(b, key)
	if err != nil || raw == nil {
		return Figures{}, err
	}
	return figuresIn(raw)
}

// UnmarshalJSON reads the report with its bare groups of figures.
func (r *Report) UnmarshalJSON(b []byte) (err error) {
	type plain Report
	if err = json.Unmarshal(b, (*plain)(r)); err != nil {
		return err
	}
	if r.Electricity, err = figuresOf(b, "electricity"); err != nil {
		return err
	}
	r.Bed, err = figuresOf(b, "bed")
	return err
}

// UnmarshalJSON reads the loop with its figures.
func (l *Loop) UnmarshalJSON(b []byte) (err error) {
	type plain Loop
	if err = json.Unmarshal(b, (*plain)(l)); err != nil {
		return err
	}
	l.Figures, err = figuresIn(b)
	return err
}

// UnmarshalJSON reads the plant with its figures.
func (p *Plant) UnmarshalJSON(b []byte) (err error) {
	type plain Plant
	if err = json.Unmarshal(b, (*plain)(p)); err != nil {
		return err
	}
	p.Figures, err = figuresIn(b)
	return err
}

// UnmarshalJSON reads a week with its figures.
func (w *Week) UnmarshalJSON(b []byte) (err error) {
	type plain Week
	if err = json.Unmarshal(b, (*plain)(w)); err != nil {
		return err
	}
	if w.Figures, err = figuresIn(b); err != nil {
		return err
	}
	w.Own, err = figuresOf(b, "own")
	return err
}

// UnmarshalJSON reads the heats.
func (h *Heat) UnmarshalJSON(b []byte) (err error) {
	if h.Seen, err = figuresIn(b); err != nil {
		return err
	}
	h.Whole, err = figuresOf(b, "whole")
	return err
}

// UnmarshalJSON reads the saving with its figures.
func (s *Saving) UnmarshalJSON(b []byte) (err error) {
	type plain Saving
	if err = json.Unmarshal(b, (*plain)(s)); err != nil {
		return err
	}
	if s.Figures, err = figuresIn(b); err != nil {
		return err
	}
	s.Whole, err = figuresOf(b, "whole")
	return err
}

// UnmarshalJSON reads a month with its figures.
func (m *Month) UnmarshalJSON(b []byte) (err error) {
	type plain Month
	if err = json.Unmarshal(b, (*plain)(m)); err != nil {
		return err
	}
	m.Figures, err = figuresIn(b)
	return err
}

// Figure gives the figure under its path in results.json, as improve, budget
// and compare name them: the groups are tried in the order in which they stand.
func (r *Report) Figure(key string) Figure {
	for _, group := range []Figures{r.Loop.Figures, r.Plant.Figures, r.Heat.Seen, r.Electricity, r.Saving.Figures, r.Bed} {
		if f, ok := group[key]; ok {
			return f
		}
	}
	return Figures(nil).Get(key)
}
