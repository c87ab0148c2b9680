package season

import (
	"fmt"
	"math"

	"yardheat/analysis/doubt"
)

// CostOptions say when a record stands for a year.
type CostOptions struct {
	// LeastDays: a shorter record gives no payback. WholeYearDays: a record this long
	// is scaled to 365.25 days; a shorter one stands for the year as it is, nothing
	// being counted outside it.
	LeastDays, WholeYearDays float64
}

func costOptions() CostOptions { return CostOptions{LeastDays: 90, WholeYearDays: 330} }

func (o CostOptions) validate() error {
	switch {
	case !(o.LeastDays >= 1 && o.LeastDays <= 366):
		return fmt.Errorf("season: option Cost.LeastDays is %g; want 1 to 366", o.LeastDays)
	case !(o.WholeYearDays >= o.LeastDays && o.WholeYearDays <= 366):
		return fmt.Errorf("season: option Cost.WholeYearDays is %g; want LeastDays to 366", o.WholeYearDays)
	}
	return nil
}

// SavingCost is what the recovery costs and when it has paid for itself.
type SavingCost struct {
	// As farm.toml has them; Stated is false where it has no [cost].
	Stated                        bool
	Capital, UpkeepPerYear, Years float64
	Source                        string
	// Year says how the record was taken for a year.
	Year string
	// Figures: money_per_year, payback_years, cost_per_kwh_recovered.
	Figures []Named
}

const daysAYear = 365.25

// yearly is the factor from the days that an amount is of to a year, in words too;
// why where the record is too short. days: of the record; of: of the amount.
func (b *builder) yearly(days, of float64) (factor float64, words, why string) {
	o := b.opt.Cost
	switch {
	case days < o.LeastDays:
		return nan, "", fmt.Sprintf("the record is of %.0f days: too few to stand for a year (%.0f are asked for)", days, o.LeastDays)
	case days < o.WholeYearDays:
		return 1, fmt.Sprintf("The record of %.0f days stands for the year: nothing is counted outside it.", days), ""
	}
	return daysAYear / of, fmt.Sprintf("The %.0f days counted are scaled to a year of %.2f days.", of, daysAYear), ""
}

// purse is the money that a saving came to: a trial's, and the days it is of.
type purse struct {
	why   string
	money func(t *doubt.Trial) float64
	days  float64
}

// cost asks for payback and cost per kWh recovered:
//
//	payback = capital/(money a year − upkeep), without interest
//	cost = (capital/years + upkeep + pump electricity a year)/(loop + plant heat a year)
func (b *builder) cost(x *terms, p purse) {
	v, c := &b.s.Saving.Cost, b.rec.Farm.Cost
	if c == nil {
		return
	}
	*v = SavingCost{Stated: true, Capital: c.Capital, UpkeepPerYear: c.UpkeepPerYear, Years: c.Years, Source: c.Source}
	// The figures' places must not move until the trials are done.
	v.Figures = make([]Named, 0, 3)
	days := float64(b.acc.ToMS-b.acc.FromMS) / 86_400_000
	factor, words, why := b.yearly(days, p.days)
	v.Year = words
	if why == "" {
		why = p.why
	}
	capital, upkeep := b.priced("cost.capital", c.Capital), b.priced("cost.upkeep_per_year", c.UpkeepPerYear)
	b.payback(why, factor, p, capital, upkeep)
	b.perKWh(x, capital, upkeep)
}

// priced is an amount of the farm file under a trial's errors.
func (b *builder) priced(key string, amount float64) func(e []float64) float64 {
	i := b.reg.key(key)
	if i < 0 {
		return func([]float64) float64 { return amount }
	}
	relative := b.reg.sources[i].Relative
	return func(e []float64) float64 {
		if relative {
			return amount * (1 + e[i])
		}
		return amount + e[i]
	}
}

func (b *builder) payback(why string, factor float64, p purse, capital, upkeep func(e []float64) float64) {
	v := &b.s.Saving.Cost
	currency := b.s.Saving.Currency
	if why != "" {
		v.Figures = append(v.Figures, unknown("money_per_year", currency, doubt.Estimated, why), unknown("payback_years", "years", doubt.Estimated, why))
		return
	}
	m := meta{basis: doubt.Estimated, n: len(b.acc.Cycles), coverage: p.days * 86_400_000 / float64(b.acc.ToMS-b.acc.FromMS)}
	at := b.block(2, func(t *doubt.Trial, out []float64) {
		out[0] = factor * p.money(t)
		out[1] = (out[0] - upkeep(t.E)) / capital(t.E)
	})
	m.unit = currency
	b.wantAt(&v.Figures, "money_per_year", m, at)
	if !(b.rec.Farm.Cost.Capital > 0) {
		v.Figures = append(v.Figures, unknown("payback_years", "years", doubt.Estimated, "farm.toml gives no cost.capital"))
		return
	}
	b.later(&v.Figures, "payback_years", func() Figure {
		return years(b.result.Figure(at+1, "1/years", m.basis, m.n, m.coverage, ""))
	})
}

// years turns what of the capital comes back a year into years. Where that is not
// distinctly more than nothing, only the shortest time is known, or none.
func years(share Figure) Figure {
	one := func(v, low, high float64, why string) Figure {
		return doubt.Make(v, low, high, "years", share.Basis, share.N, share.Coverage, why)
	}
	switch {
	case !(share.High > 0):
		return one(nan, nan, nan, "the saving less the upkeep is not more than nothing even at its high end: it does not pay back")
	case !(share.Low > 0):
		return one(nan, 1/share.High, nan, "the saving less the upkeep is not distinctly more than nothing: at its low end it never pays back, so only the shortest time is given")
	}
	return one(1/share.Value, 1/share.High, 1/share.Low, "")
}

// perKWh asks for the cost of a kWh caught in loop and plate.
func (b *builder) perKWh(x *terms, capital, upkeep func(e []float64) float64) {
	v, c := &b.s.Saving.Cost, b.rec.Farm.Cost
	const key = "cost_per_kwh_recovered"
	unit := b.s.Saving.Currency // a kWh: the label says so
	days := float64(b.acc.ToMS-b.acc.FromMS) / 86_400_000
	var heat []doubt.Part
	why := ""
	least := 1.0
	for _, s := range []stream{x.loop, x.plate} {
		switch {
		case s.known:
			heat = append(heat, s.part)
			least = math.Min(least, b.heatMeta(s.h, b.stretchOf(func(int) bool { return true })).coverage)
		case s.why != WhyStage && s.why != WhyNoLoop:
			why = "not all heat recovered is known: " + s.why
		}
	}
	factor, _, short := b.yearly(days, days*least)
	switch {
	case short != "":
		why = short
	case len(heat) == 0:
		why = "no heat recovered is metered"
	case !(c.Years > 0) || !(c.Capital > 0):
		why = "farm.toml gives no cost.capital or no cost.years"
	case x.pumps.known && (b.rec.Farm.Electricity == nil || !b.rec.Farm.Electricity.HasPrice && len(b.rec.Farm.Electricity.Rates) == 0):
		why = "farm.toml gives no electricity.price_per_kwh for the pumps"
	}
	if why != "" {
		v.Figures = append(v.Figures, unknown(key, unit, doubt.Estimated, why))
		return
	}
	var pumps []doubt.Part
	if x.pumps.known {
		pumps = []doubt.Part{b.reg.costPart(x.pumps.p)}
	}
	b.want(&v.Figures, key, meta{unit: unit, basis: doubt.Estimated, n: len(b.acc.Cycles), coverage: least}, func(t *doubt.Trial) float64 {
		return (capital(t.E)/c.Years + upkeep(t.E) + factor*sumOf(pumps, t.E)) / (factor * sumOf(heat, t.E))
	})
}
