// Package bed looks at the bedding over a season: what was taken out of it by the
// day and since it was bedded or cleared, how its temperature goes with that, how
// fast it comes back after a draw, and the signs of more being taken than it
// keeps up. It stands on doubt and knows no record and no figure of the account.
//
// Water-side metering sees the heat that was extracted, never what the bed
// produced; no name or sentence here says otherwise. What goes together need not
// be cause and effect: air, bedding and season move as well.
//
// Conventions: Unix ms UTC, local days by Input.Zone, degC, kWh; NaN is "not
// known". A figure that the record cannot give has a reason.
package bed

import (
	"fmt"
	"math"
	"sort"
	"time"

	"yardheat/analysis/doubt"
)

// Draw is one refill through the loop.
type Draw struct {
	StartMS, EndMS int64
	KWh, Litres    float64
	ApproachK      float64 // bed less outlet of soaked water
}

// Row is a quantity on an even grid; NaN = not covered.
type Row struct {
	StartMS, StepMS int64
	Values          []float64
}

// at is the cell of a moment, -1 outside.
func (r Row) at(ms int64) int {
	if r.StepMS <= 0 || ms < r.StartMS {
		return -1
	}
	i := int((ms - r.StartMS) / r.StepMS)
	if i >= len(r.Values) {
		return -1
	}
	return i
}

// mean of the covered cells from..to, and how many of all they are.
func (r Row) mean(fromMS, toMS int64) (mean, share float64) {
	if r.StepMS <= 0 {
		return math.NaN(), 0
	}
	sum, n, all := 0.0, 0, 0
	for ms := fromMS; ms < toMS; ms += r.StepMS {
		all++
		if i := r.at(ms); i >= 0 && r.Values[i] == r.Values[i] {
			sum += r.Values[i]
			n++
		}
	}
	if n == 0 {
		return math.NaN(), 0
	}
	return sum / float64(n), float64(n) / float64(all)
}

// Event of the farm.
type Event struct {
	AtMS   int64
	What   string // bedded, cleared, turned, …
	Tonnes float64
}

// Input is what the season knows of the bed.
type Input struct {
	Draws        []Draw
	BedC, AirC   Row
	Events       []Event
	FromMS, ToMS int64
	Zone         *time.Location
	AreaM2       float64 // 0 = not known
}

// Options are the thresholds; see DefaultOptions.
type Options struct {
	// DayShare of a day's cells must be covered for its means.
	DayShare float64
	// MinDays of pairs for the response, MinDraws for the recovery.
	MinDays, MinDraws int
	// DipK is the least dip of the bed's probe after a draw that is read.
	DipK float64
	// WatchH after a draw in which the dip is looked for.
	WatchH float64
	// BelowC: a bed cooler than that while the loop is drawn on, in more than
	// BelowShare of the hours, is a sign. From memory of the trade, no source.
	BelowC, BelowShare float64
	// FallKPerWeek of the bed's mean, air taken off, is a sign.
	FallKPerWeek float64
	// ApproachKPerWeek by which the approach grows is one.
	ApproachKPerWeek float64
	// SlowerBy: recovery slower by that share in the later half is a sign.
	SlowerBy float64
	// CeilingWPerM2 is what degradation of litter and manure can give, and FluxDays
	// the days over which half of it is a question about the meter.
	CeilingWPerM2 float64
	FluxDays      int
	Trials        int
	Seed          uint64
}

// DefaultOptions gives the thresholds that a run starts from. The ceiling: 3.7 kg
// manure of 15 % dry matter and 2.0 kg litter of 85 % per m² and day (Kapuinen
// 2001 for the first; shares from memory), 30 % of it degraded at 18 MJ/kg (from
// memory): 12 MJ/(m² d), 140 W/m². No measured figure under cattle was found.
func DefaultOptions() Options {
	return Options{DayShare: 0.8, MinDays: 20, MinDraws: 8, DipK: 0.15, WatchH: 8, BelowC: 40, BelowShare: 0.25, FallKPerWeek: 1, ApproachKPerWeek: 0.25, SlowerBy: 0.25,
		CeilingWPerM2: 140, FluxDays: 14, Trials: 1000, Seed: 1}
}

// Validate names the option that is out of bounds.
func (o Options) Validate() error {
	switch {
	case !(o.DayShare > 0 && o.DayShare <= 1):
		return fmt.Errorf("bed: DayShare %g: want above 0 to 1", o.DayShare)
	case o.MinDays < 10:
		return fmt.Errorf("bed: MinDays %d: want 10 at least", o.MinDays)
	case o.MinDraws < 6:
		return fmt.Errorf("bed: MinDraws %d: want 6 at least", o.MinDraws)
	case !(o.DipK > 0), !(o.WatchH > 0):
		return fmt.Errorf("bed: DipK %g, WatchH %g: want above 0", o.DipK, o.WatchH)
	case o.FluxDays < 1, !(o.CeilingWPerM2 > 0):
		return fmt.Errorf("bed: FluxDays %d, CeilingWPerM2 %g: want above 0", o.FluxDays, o.CeilingWPerM2)
	case o.Trials < 200:
		return fmt.Errorf("bed: Trials %d: want 200 at least", o.Trials)
	}
	return nil
}

// Day is one local day.
type Day struct {
	FromMS, ToMS int64
	// KWh extracted in draws that begin that day; WPerM2 over its hours.
	KWh, WPerM2 float64
	Draws       int
	BedC, AirC  float64
	// SinceBedded, SinceCleared: days since the last such event, NaN before it.
	SinceBedded, SinceCleared float64
}

// Since is a stretch between events that change the bed.
type Since struct {
	What                            string // the event that begins it; "" = the record's beginning
	FromMS, ToMS                    int64
	Days                            float64
	KWh, KWhPerDay, KWhPerM2, BedC  float64
	Tonnes, KWhPerTonne, KWhPerM2Dy float64
}

// Sign is one sign of more being taken than the bed keeps up.
type Sign struct {
	Code string // see the constants
	// State: "seen", "not seen" or "not known".
	State string
	// Value and Limit in Unit; Value NaN where not known, and Why then.
	Value, Limit float64
	Unit         string
	Why          string
}

// The signs.
const (
	SignBelow    = "bed-below"       // hours in which the bed was below Options.BelowC
	SignFalling  = "bed-falling"     // its mean falls, air taken off
	SignSlower   = "recovery-slower" // it comes back slower in the later half
	SignApproach = "approach-grows"  // soaked water leaves further from the bed
	SignFlux     = "extraction-high" // more is metered than half the ceiling
	Seen         = "seen"
	NotSeen      = "not seen"
	NotKnown     = "not known"
)

// Bed is all that is said of it.
type Bed struct {
	Days  []Day
	Since []Since
	// ResponseKPerKWh: the change of the bed's daily mean that goes with a kWh more
	// taken that day, air and drift held; positive: warmer. A warm bed gives more heat
	// a draw, so this is no effect of taking it. RecoveryH: the half-time after a draw;
	// DipK: the dip that the probe sees.
	ResponseKPerKWh, RecoveryH, DipK doubt.Figure
	TrendKPerWeek                    doubt.Figure
	// MostWPerM2 is the highest mean extraction over Options.FluxDays; MostFromMS
	// its first day.
	MostWPerM2 float64
	MostFromMS int64
	Signs      []Sign
}

// Look makes it all.
func Look(in Input, o Options) (*Bed, error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	b := &Bed{Days: days(in, o)}
	b.Since = since(in)
	b.response(o)
	rec := recoveries(in, o)
	b.recovery(rec, in, o)
	b.most(in, o)
	b.signs(in, rec, o)
	return b, nil
}

// days cuts the period into local days.
func days(in Input, o Options) []Day {
	var out []Day
	from := time.UnixMilli(in.FromMS).In(in.Zone)
	day := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, in.Zone)
	i := 0
	for day.UnixMilli() < in.ToMS {
		next := time.Date(day.Year(), day.Month(), day.Day()+1, 0, 0, 0, 0, in.Zone)
		d := Day{FromMS: day.UnixMilli(), ToMS: next.UnixMilli()}
		whole := d.FromMS >= in.FromMS && d.ToMS <= in.ToMS
		for ; i < len(in.Draws) && in.Draws[i].StartMS < d.ToMS; i++ {
			if in.Draws[i].StartMS >= d.FromMS {
				d.KWh += in.Draws[i].KWh
				d.Draws++
			}
		}
		d.BedC, d.AirC = covered(in.BedC, d, o), covered(in.AirC, d, o)
		d.WPerM2 = math.NaN()
		if in.AreaM2 > 0 && whole {
			d.WPerM2 = d.KWh * 1000 / (float64(d.ToMS-d.FromMS) / msPerHour) / in.AreaM2
		}
		if !whole {
			d.KWh = math.NaN()
		}
		d.SinceBedded, d.SinceCleared = daysSince(in.Events, "bedded", d.FromMS), daysSince(in.Events, "cleared", d.FromMS)
		out = append(out, d)
		day = next
	}
	return out
}

const (
	msPerHour = 3600 * 1000
	msPerDay  = 24 * msPerHour
)

func covered(r Row, d Day, o Options) float64 {
	mean, share := r.mean(d.FromMS, d.ToMS)
	if share < o.DayShare {
		return math.NaN()
	}
	return mean
}

func daysSince(events []Event, what string, ms int64) float64 {
	last := math.NaN()
	for _, e := range events {
		if e.What == what && e.AtMS <= ms {
			last = float64(ms-e.AtMS) / msPerDay
		}
	}
	return last
}

// since parts the period at bedding and clearing.
func since(in Input) []Since {
	cuts := []Event{{AtMS: in.FromMS}}
	var before Event
	for _, e := range in.Events {
		if e.What != "bedded" && e.What != "cleared" {
			continue
		}
		switch {
		case e.AtMS <= in.FromMS:
			before = e
		case e.AtMS < in.ToMS:
			cuts = append(cuts, e)
		}
	}
	if before.What != "" {
		cuts[0] = before
	}
	sort.SliceStable(cuts, func(i, j int) bool { return cuts[i].AtMS < cuts[j].AtMS })
	var out []Since
	for i, c := range cuts {
		s := Since{What: c.What, FromMS: max(c.AtMS, in.FromMS), ToMS: in.ToMS, Tonnes: c.Tonnes}
		if i+1 < len(cuts) {
			s.ToMS = cuts[i+1].AtMS
		}
		for _, d := range in.Draws {
			if d.StartMS >= s.FromMS && d.StartMS < s.ToMS && d.KWh == d.KWh {
				s.KWh += d.KWh
			}
		}
		if !(s.Tonnes > 0) {
			s.Tonnes = math.NaN()
		}
		s.Days = float64(s.ToMS-s.FromMS) / msPerDay
		s.KWhPerDay = s.KWh / s.Days
		s.KWhPerM2, s.KWhPerTonne, s.KWhPerM2Dy = ratio(s.KWh, in.AreaM2), ratio(s.KWh, s.Tonnes), ratio(s.KWhPerDay, in.AreaM2)
		s.BedC, _ = in.BedC.mean(s.FromMS, s.ToMS)
		out = append(out, s)
	}
	return out
}

func ratio(x, over float64) float64 {
	if over > 0 {
		return x / over
	}
	return math.NaN()
}

// most finds the highest mean extraction over FluxDays whole days.
func (b *Bed) most(in Input, o Options) {
	b.MostWPerM2 = math.NaN()
	if !(in.AreaM2 > 0) {
		return
	}
	for i := 0; i+o.FluxDays <= len(b.Days); i++ {
		sum := 0.0
		for _, d := range b.Days[i : i+o.FluxDays] {
			sum += d.WPerM2
		}
		if mean := sum / float64(o.FluxDays); mean == mean && !(mean <= b.MostWPerM2) {
			b.MostWPerM2, b.MostFromMS = mean, b.Days[i].FromMS
		}
	}
}
