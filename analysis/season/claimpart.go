package season

import (
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"yardheat/analysis/account"
)

// Claims is what a claimed saving is held against, and what whoever judges it
// has to know of the saving beside its figures.
type Claims struct {
	Spreads     []Spread
	Assumptions []Stated
	// Inside, Outside: what the saving's boundary holds and what it leaves out,
	// in words.
	Inside, Outside []string
	// Charged: the compressor's extra work is taken off the saving.
	Charged bool
}

// Spread is how one figure of the saving may lie: as seen, or (Whole) as
// estimated for the whole period. A figure that is not known has none.
type Spread struct {
	Key   string // saved_kwh, money, co2_kg
	Whole bool
	// Trials are the figure in each Monte Carlo trial, ascending, in its unit.
	// Not to be written to.
	Trials []float64
	// Parts are the shares of the variance by instrument, the largest first.
	Parts []SpreadPart
	// Unseen is the share of the variance that the estimate for missing time makes.
	Unseen float64
	// Measures are what can be done at the farm, the most helpful first.
	Measures []SpreadMeasure
}

// SpreadPart is one instrument's, or stated figure's, share of the variance.
type SpreadPart struct {
	Sensor, Kind, Error string
	Assumed             bool // nobody stated the error: a default by kind
	Unseen              bool // not an instrument, but the estimate for missing time
	Share               float64
}

// SpreadMeasure is one thing that can be done, and how much of the interval's
// width it would leave, 0 to 1, by the linear budget.
type SpreadMeasure struct {
	Sensors []string
	Text    string
	Left    float64
}

// Stated is one stated figure behind the saving.
type Stated struct {
	Key, Label string
	Value      string
	// Error as printed, "" where the figure is taken as exact; Assumed: by
	// default, since nobody stated it.
	Error   string
	Assumed bool
	Source  string // who says so, "" = the farm file does not say
}

// claimKeys are the figures that a claim can be about.
var claimKeys = []string{"saved_kwh", "money", "co2_kg"}

// unseenPrefix begins the name of the source of each estimate for missing time.
const unseenPrefix = "time not seen: "

// leastPart: smaller shares of a variance are not listed.
const leastPart = 0.0005

// keptOutput is an output of the trials behind a figure of the saving.
type keptOutput struct {
	key    string
	whole  bool
	output int
}

// keep remembers the output behind a figure of the saving, wherever that
// figure is computed.
func (b *builder) keep(dst *[]Named, key string, k int) {
	v := &b.s.Saving
	if (dst == &v.Figures || dst == &v.Whole) && slices.Contains(claimKeys, key) {
		b.claimed = append(b.claimed, keptOutput{key, dst == &v.Whole, k})
	}
}

// claims fills in what claims are held against.
func (b *builder) claims() {
	c := &b.s.Claims
	for _, o := range b.claimed {
		if s := b.spread(o); len(s.Trials) > 0 {
			c.Spreads = append(c.Spreads, s)
		}
	}
	c.Assumptions = b.statedFigures()
	c.Inside, c.Outside = b.boundary()
	c.Charged = b.byHeld() && b.kept.s.chosen.why == "" && b.kept.s.extra.distinct
}

func (b *builder) spread(o keptOutput) Spread {
	s := Spread{Key: o.key, Whole: o.whole, Trials: b.result.Ordered(o.output)}
	for _, r := range b.result.BySensor(o.output) {
		unseen := strings.HasPrefix(r.Sensor, unseenPrefix)
		if unseen {
			s.Unseen += r.Share
		}
		if r.Share < leastPart {
			continue
		}
		src := b.reg.sources[r.Largest]
		if k, own := b.reg.byName[r.Sensor]; own {
			src = b.reg.sources[k]
		}
		s.Parts = append(s.Parts, SpreadPart{Sensor: r.Sensor, Kind: string(r.Kind), Error: src.Error(), Assumed: src.Assumed, Unseen: unseen, Share: r.Share})
	}
	s.Measures = b.spreadMeasures(o.output)
	return s
}

// spreadMeasures are those that narrow output k by enough to be worth the walk.
func (b *builder) spreadMeasures(k int) []SpreadMeasure {
	all := b.result.Outputs[k].AloneSD
	var out []SpreadMeasure
	for _, m := range append(b.byBucket(k), b.byMeter(k)...) {
		left := math.Sqrt(max(0, 1-m.less/(all*all)))
		if 1-left >= b.opt.Improve.LeastShare {
			out = append(out, SpreadMeasure{Sensors: m.sensors, Text: m.text, Left: left})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Left < out[j].Left })
	return out
}

// statedFigures lists the stated figures that the saving rests on, as the farm
// file gives them.
func (b *builder) statedFigures() []Stated {
	if b.byHeld() {
		return b.heldFigures()
	}
	in := b.rec.Farm.Instead
	if in == nil {
		return nil
	}
	a := assumer{b: b, source: in.Source}
	a.add("instead.carrier", "What would heat the water instead", in.Carrier)
	a.number("instead.efficiency", "Its efficiency", in.Efficiency, "")
	if in.StandingLossKWhPerDay != 0 {
		a.number("instead.standing_loss_kwh_per_day", "Its standing loss a day", in.StandingLossKWhPerDay, "kWh")
	}
	if in.HasPrice {
		a.number("instead.price_per_kwh", "Its price per kWh", in.PricePerKWh, in.Currency)
	}
	for _, p := range in.PriceSince {
		a.number("instead.price_since", "Its price per kWh since "+p.Since.Format("2 January 2006"), p.PricePerKWh, in.Currency)
	}
	if in.HasCO2 {
		a.number("instead.co2_kg_per_kwh", "Its CO2 per kWh", in.CO2KgPerKWh, "kg")
	}
	if b.rec.Farm.Electricity != nil {
		a.source = b.rec.Farm.Electricity.Source
		a.electricity(in.Currency)
	}
	return a.list
}

// assumer gathers the stated figures of one source after the other.
type assumer struct {
	b      *builder
	source string
	list   []Stated
}

func (a *assumer) add(key, label, value string) {
	if value == "" {
		return
	}
	x := Stated{Key: key, Label: label, Value: value, Source: a.source}
	if of, ok := errorOf[key]; ok {
		key = of
	}
	if i, ok := a.b.reg.byName[key]; ok {
		x.Error, x.Assumed = a.b.reg.sources[i].Error(), a.b.reg.sources[i].Assumed
	}
	a.list = append(a.list, x)
}

// errorOf is the key in [errors] of prices that stand in a list of their own.
var errorOf = map[string]string{"instead.price_since": "instead.price_per_kwh", "electricity.rate": "electricity.price_per_kwh"}

func (a *assumer) number(key, label string, v float64, unit string) {
	a.add(key, label, strings.TrimSpace(strconv.FormatFloat(v, 'g', 6, 64)+" "+unit))
}

// electricity: its prices, rates and factor.
func (a *assumer) electricity(currency string) {
	e := a.b.rec.Farm.Electricity
	if e.HasPrice {
		a.number("electricity.price_per_kwh", "Electricity, price per kWh", e.PricePerKWh, currency)
	}
	for _, r := range e.Rates {
		label := "Electricity, price per kWh " + clock(r.FromMin) + " to " + clock(r.ToMin)
		if !r.Since.IsZero() {
			label += " since " + r.Since.Format("2 January 2006")
		}
		if days := weekdays(r.Days); days != "" {
			label += " (" + days + ")"
		}
		a.number("electricity.rate", label, r.PricePerKWh, currency)
	}
	if e.HasExport {
		a.number("electricity.export_price_per_kwh", "Own solar, price had it been sold, per kWh", e.ExportPerKWh, currency)
	}
	if e.HasCO2 {
		a.number("electricity.co2_kg_per_kwh", "Electricity, CO2 per kWh", e.CO2KgPerKWh, "kg")
	}
}

// clock is minutes of the day as hh:mm.
func clock(minutes int) string {
	two := func(n int) string { return string([]byte{byte('0' + n/10), byte('0' + n%10)}) }
	return two(minutes/60%100) + ":" + two(minutes%60)
}

// weekdays names the days of a rate; "" where it is all of them.
func weekdays(on [7]bool) string {
	var names []string
	for i, name := range [7]string{"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"} {
		if on[i] {
			names = append(names, name)
		}
	}
	if len(names) == 7 {
		return ""
	}
	return strings.Join(names, ", ")
}

// boundary says what the saving holds and what it leaves out on this farm.
func (b *builder) boundary() (inside, outside []string) {
	if b.byHeld() {
		return b.heldBoundary()
	}
	a := b.acc
	say := func(list *[]string, applies bool, text string) {
		if applies {
			*list = append(*list, text)
		}
	}
	heat := func(h *account.Heat) bool { return !h.Absent && h.Why == "" }
	how := "metered"
	if a.Wash.Estimated {
		how = "estimated, without a wash meter"
	}
	say(&inside, heat(&a.Wash), "heat in the wash water above the cold feed ("+how+"), up to the temperature that the element heats to")
	say(&inside, heat(&a.OtherUse), "heat in other hot water used")
	say(&inside, !a.Element.Absent && a.Element.Why == "", "electricity of the element")
	say(&inside, !a.Pumps.Absent && a.Pumps.Why == "", "electricity of the pumps, where a meter or a state shows it")
	say(&inside, a.Solar.Rows != nil, "own solar used by the element: anything between its least and its most")
	say(&outside, !a.Pumps.Absent && a.Pumps.Why != "", "electricity of the pumps ("+a.Pumps.Why+")")
	say(&outside, !a.Compressor.Absent, "electricity of the milk-cooling compressor, with or without recovery")
	say(&outside, heat(&a.Loop) || heat(&a.Plate), "heat recovered that nobody used: lost from the tanks or left in them")
	say(&outside, true, "labour, bedding, and the machinery that turns the bed")
	say(&outside, true, "what the recovery itself cost, to build and to keep")
	return inside, outside
}
