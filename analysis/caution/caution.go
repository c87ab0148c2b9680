// Package caution lists what a reading gives reason to look at: water that
// stood lukewarm, a store that did not get hot, milk that was not cold in time,
// a bed that heats itself. It runs on the grid and on the account.
//
// A caution reports a reading and defers to the people and the local codes that
// decide; the absence of one says nothing. Only valid readings raise one, and
// pipe probes only while water moves, where a flow is logged. The thresholds
// are settings.
package caution

import (
	"context"
	"fmt"
	"sort"
	"strings"
	"time"

	"yardheat/analysis/account"
	"yardheat/analysis/grid"
	"yardheat/ingest/farm"
)

// Caution is one entry of results.json cautions[].
type Caution struct {
	ID, Text, Because string
	First, Last       int64
}

// Options are the thresholds.
type Options struct {
	// C01: any tank probe within LukewarmLowC to LukewarmHighC for
	// LukewarmShare of LukewarmH hours, no hour at HotC or above.
	LukewarmLowC, LukewarmHighC, LukewarmShare, LukewarmH, HotC float64
	// C02: the hot tank's upper probe never at HotC within NeverHotD days.
	NeverHotD float64
	// C03: an outlet below OutletC, OutletAfterS into a draw.
	OutletC, OutletAfterS float64
	// C04: cold feed above FeedC.
	FeedC float64
	// C05: outlet at ScaldC or above; at a place named for hand washing above
	// HandC.
	ScaldC, HandC float64
	// C06: tank at BoilC or above, or the element on for longer than OverS with
	// the tank above its set-point.
	BoilC, OverS float64
	// C07: a wash that starts below WashStartC.
	WashStartC float64
	// C09: plate heat per compressor kWh over FallDays days down by more than
	// FallShare against the median of MedianDays days before.
	FallShare, FallDays, MedianDays float64
	// C10: loop pressure of a closed circuit down by more than PressureFallBar
	// in PressureDays days; or both ends of the plate alike within AlikeK for
	// AlikeS with flow.
	PressureFallBar, PressureDays, AlikeK, AlikeS float64
	// C11, C12: bed above BedHotC; above BedFireC, or rising by more than
	// BedRiseKPerDay above BedHotC.
	BedHotC, BedFireC, BedRiseKPerDay float64
	// C14: loop below FreezeC while nothing flows.
	FreezeC float64
	// C15: element on for IdleS and the tank up by less than IdleRiseK.
	IdleS, IdleRiseK float64
	// CoveredShare of a window that must be covered for it to count.
	CoveredShare float64
	// Context ends the work, which is then left by work.Check; nil = it never
	// ends. It is no setting.
	Context context.Context
}

// DefaultOptions are those of the project's notes (C3); their bases stand
// beside the texts.
func DefaultOptions() Options {
	return Options{
		LukewarmLowC: 20, LukewarmHighC: 45, LukewarmShare: 0.8, LukewarmH: 72, HotC: 60, NeverHotD: 7,
		OutletC: 50, OutletAfterS: 60, FeedC: 20, ScaldC: 60, HandC: 44, BoilC: 90, OverS: 7200, WashStartC: 70,
		FallShare: 0.3, FallDays: 3, MedianDays: 28, PressureFallBar: 0.3, PressureDays: 7, AlikeK: 1, AlikeS: 1800,
		BedHotC: 70, BedFireC: 80, BedRiseKPerDay: 5, FreezeC: 3, IdleS: 3600, IdleRiseK: 0.5, CoveredShare: 0.8,
	}
}

// Validate names the field that is out of bounds.
func (o Options) Validate() error {
	for _, b := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"LukewarmLowC", o.LukewarmLowC, 0, 60}, {"LukewarmHighC", o.LukewarmHighC, o.LukewarmLowC, 70},
		{"LukewarmShare", o.LukewarmShare, 0.1, 1}, {"LukewarmH", o.LukewarmH, 1, 720}, {"HotC", o.HotC, 40, 99},
		{"NeverHotD", o.NeverHotD, 1, 60}, {"OutletC", o.OutletC, 30, 90}, {"OutletAfterS", o.OutletAfterS, 0, 600},
		{"FeedC", o.FeedC, 5, 40}, {"ScaldC", o.ScaldC, 40, 99}, {"HandC", o.HandC, 35, 60}, {"BoilC", o.BoilC, 70, 110},
		{"OverS", o.OverS, 600, 86400}, {"WashStartC", o.WashStartC, 30, 95}, {"FallShare", o.FallShare, 0.05, 1},
		{"FallDays", o.FallDays, 1, 28}, {"MedianDays", o.MedianDays, 7, 120}, {"PressureFallBar", o.PressureFallBar, 0.01, 10},
		{"PressureDays", o.PressureDays, 1, 60}, {"AlikeK", o.AlikeK, 0.1, 10}, {"AlikeS", o.AlikeS, 60, 86400},
		{"BedHotC", o.BedHotC, 40, 90}, {"BedFireC", o.BedFireC, o.BedHotC, 100}, {"BedRiseKPerDay", o.BedRiseKPerDay, 0.5, 50},
		{"FreezeC", o.FreezeC, -10, 15}, {"IdleS", o.IdleS, 300, 86400}, {"IdleRiseK", o.IdleRiseK, 0, 20},
		{"CoveredShare", o.CoveredShare, 0.1, 1},
	} {
		if !(b.v >= b.lo && b.v <= b.hi) {
			return fmt.Errorf("caution: option %s is %g; want %g to %g", b.name, b.v, b.lo, b.hi)
		}
	}
	return nil
}

// texts in our own words; the basis of each trigger beside it.
var texts = map[string]string{
	// HSE (hot and cold water): 20 to 45 degC.
	"C01": "Stored water has stood in the band where legionella can multiply. Speak to whoever holds your water risk assessment before spraying or misting with it.",
	// HSE: store at 60 degC.
	"C02": "The readings of the hot store did not reach the 60 °C that HSE gives for storage. Ask whoever holds your water risk assessment.",
	// HSE: 50 degC at outlets within a minute.
	"C03": "The outlet still read cool a minute into the draw; HSE gives 50 °C.",
	// HSE: below 20 degC.
	"C04": "The incoming cold water reads warmer than the 20 °C that HSE gives as its upper limit.",
	// Pages on scalds disagree: 60 degC 0.9 to 5 s, 55 degC 10 to 30 s; 44 degC at a hand-wash point from memory.
	"C05": "Water as hot as this reading can burn within seconds; label the outlet and mix down where people wash.",
	// Common practice, no source.
	"C06": "The heater may not be switching off. Isolate it and call an electrician; have the relief valve checked.",
	// Irish advice (Tipperary, Farmers Journal): hot wash at 70 to 80 degC.
	"C07": "The wash began below the 70 to 80 °C of published advice for hot circulation. Follow the detergent's label and what your milk buyer asks for.",
	// Common practice, no source; limit from the farm file.
	"C08": "The milk read above its limit two hours after milking while heat was being recovered. Recovery must not slow the cooling of milk: have the plant checked.",
	// Leak checks by CO2e: F-gas rules as given by NetRegs.
	"C09": "Less heat comes per kWh of the compressor than it used to: possibly refrigerant or a fan. Do not open the circuit; that is for certified people, as are the leak checks that the law asks for.",
	// SRCC 6.1.3.6; WRAS B22: water beside a non-domestic primary is category 4.
	"C10": "The exchanger may be leaking. Stop using that water for drinking or rinsing until it is checked; where the fluid is harmful, a double wall with a visible leak path and backflow protection are what local rules ask for.",
	// Horse and compost advice: above about 70 degC organisms die off.
	"C11": "The bed reads hotter than composting organisms like; look for dry or compacted spots.",
	// Fire advice quotes about 82 degC for self-heating.
	"C12": "Self-heating of this order comes before fires. Do not dig alone; tell the fire service if there is smoke.",
	// HSENI and FAS on slurry gas.
	"C13": "Before going to pipes or probes in the bed: disturbed wet bedding and nearby slurry can give off hydrogen sulphide, and one breath can kill. Stock out, stay out for 30 minutes after mixing, a second adult outside; filter masks do not protect.",
	// Common practice, no source.
	"C14": "The loop may freeze. Antifreeze changes the heat calculation: enter it in the farm file.",
	// Own arithmetic.
	"C15": "The heater was on and the tank did not warm: look at element, thermostat, or a draw-off that nobody meters. The power is being paid for.",
}

// Standing are the notes that every report carries beside the cautions.
func Standing() []string {
	return []string{
		"Hot detergent burns skin and eyes: keep to its label.",
		"A loop that is shut in while the bed is warm needs relief and room to expand.",
		"Water for drinking and for rinsing must be kept from flowing back; local rules say how.",
		"Electrical work and work on the refrigerant circuit are for licensed people.",
		"Gases near slurry and disturbed bedding can kill: never enter alone.",
		"The wash temperature that the milk buyer, the detergent's label and the plant's maker ask for comes before any saving. Local codes rule; a list without cautions is not a clearance.",
	}
}

// Input is what the cautions are raised from.
type Input struct {
	Grid         *grid.Grid
	Farm         *farm.Farm
	Zone         *time.Location
	FromMS, ToMS int64
	Account      *account.Account
}

// Raise lists the cautions, by id, each once: because names the reading that
// speaks loudest and how often there was one.
func Raise(in Input, opt Options) ([]Caution, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if in.Grid == nil || in.Farm == nil || in.Account == nil {
		return nil, fmt.Errorf("caution: no grid, farm or account")
	}
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	c := &checker{Input: in, o: opt, found: map[string]*finding{}}
	c.a, c.b = in.Grid.Cell(in.FromMS), in.Grid.Cell(in.ToMS)
	c.tanks()
	c.outlets()
	c.heater()
	c.washesAndMilk()
	c.plant()
	c.bed()
	c.loop()
	return c.list(), nil
}

type checker struct {
	Input
	o     Options
	a, b  int
	found map[string]*finding
}

type finding struct {
	first, last int64
	loudest     float64
	because     string
	times       int
}

// hit records one stretch [from, to) that raises a caution; the loudest names
// it. Of equals the earliest does.
func (c *checker) hit(id string, from, to int64, loudness float64, format string, args ...any) {
	f := c.found[id]
	if f == nil {
		f = &finding{first: from, last: to, loudest: loudness - 1}
		c.found[id] = f
	}
	f.times++
	f.first, f.last = min(f.first, from), max(f.last, to)
	if loudness > f.loudest {
		f.loudest = loudness
		f.because = fmt.Sprintf(format, args...)
		if !strings.HasSuffix(f.because, "from") {
			f.because += " on"
		}
		f.because += " " + time.UnixMilli(from).In(c.Zone).Format("2006-01-02 15:04")
	}
}

func (c *checker) list() []Caution {
	var out []Caution
	for id, f := range c.found {
		because := f.because
		if f.times > 1 {
			because += fmt.Sprintf("; %d times in all", f.times)
		}
		out = append(out, Caution{id, texts[id], because, f.first, f.last})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].ID < out[j].ID })
	return out
}
