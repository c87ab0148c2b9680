package caution

import (
	"math"
	"slices"
	"strings"

	"yardheat/analysis/account"
	"yardheat/analysis/cycle"
	"yardheat/analysis/grid"
	"yardheat/analysis/rank"
	"yardheat/ingest/series"
)

// hourly sums up a channel by hours from the start of the period.
type hourly struct {
	seen, inBand []float64 // cells
	high         []float64 // −Inf: nothing seen
	hot          []int     // 1: an hour at HotC or above on the mean ends in it
}

func (c *checker) hours(v []float64) hourly {
	per := int(3600 / c.Grid.StepS)
	n := (c.b - c.a) / per
	h := hourly{make([]float64, n), make([]float64, n), make([]float64, n), make([]int, n)}
	var sum, seen float64 // of the hour that ends at the cell
	for i := range n {
		h.high[i] = math.Inf(-1)
		for k := c.a + i*per; k < c.a+(i+1)*per; k++ {
			if old := k - per; old >= c.a && v[old] == v[old] {
				sum, seen = sum-v[old], seen-1
			}
			x := v[k]
			if x != x {
				continue
			}
			sum, seen = sum+x, seen+1
			h.seen[i]++
			h.high[i] = max(h.high[i], x)
			if x >= c.o.LukewarmLowC && x <= c.o.LukewarmHighC {
				h.inBand[i]++
			}
			if seen >= c.o.CoveredShare*float64(per) && sum >= (c.o.HotC-1e-6)*seen {
				h.hot[i] = 1
			}
		}
	}
	return h
}

// tanks: C01 for every tank probe, C02 for the hot store.
func (c *checker) tanks() {
	for _, i := range c.Grid.Find("tank_temp") {
		ch := &c.Grid.Channels[i]
		c.lukewarm(ch.Probe, c.hours(ch.Values))
	}
	if top := account.HotTank(c.Grid, c.Farm); top != nil {
		c.neverHot(top.Name, c.hours(top.Values))
	}
}

func (c *checker) hourMS(i int) int64 {
	return c.Grid.EdgeMS(c.a) + int64(i)*3600*1000
}

func (c *checker) lukewarm(probe string, h hourly) {
	n := int(c.o.LukewarmH)
	cellsPerHour := 3600 / c.Grid.StepS
	var seen, band float64
	hot, from := 0, -1
	end := func(to int) {
		if from >= 0 {
			c.hit("C01", c.hourMS(from), c.hourMS(to), float64(to-from), "%s read %.0f to %.0f °C for most of %d hours and no hour reached %.0f °C, from",
				probe, c.o.LukewarmLowC, c.o.LukewarmHighC, to-from, c.o.HotC)
			from = -1
		}
	}
	for i := range h.seen {
		seen, band = seen+h.seen[i], band+h.inBand[i]
		hot += h.hot[i]
		if i >= n {
			seen, band = seen-h.seen[i-n], band-h.inBand[i-n]
			hot -= h.hot[i-n]
		}
		if i+1 < n {
			continue
		}
		raised := hot == 0 && seen >= c.o.CoveredShare*float64(n)*cellsPerHour && band >= c.o.LukewarmShare*seen
		switch {
		case raised && from < 0:
			from = i + 1 - n
		case !raised:
			end(i)
		}
	}
	end(len(h.seen))
}

func (c *checker) neverHot(probe string, h hourly) {
	n := int(c.o.NeverHotD * 24)
	cellsPerHour := 3600 / c.Grid.StepS
	for i := 0; i+n <= len(h.seen); {
		high, seen, lastHot := math.Inf(-1), 0.0, -1
		for k := i; k < i+n; k++ {
			seen += h.seen[k]
			high = max(high, h.high[k])
			if h.high[k] >= c.o.HotC {
				lastHot = k
			}
		}
		switch {
		case lastHot >= 0:
			i = lastHot + 1
		case seen < c.o.CoveredShare*float64(n)*cellsPerHour:
			i += 24
		default:
			c.hit("C02", c.hourMS(i), c.hourMS(i+n), -high, "%s read %.1f °C at most in %.0f days, from", probe, high, c.o.NeverHotD)
			i += n
		}
	}
}

// outlets: C03, C05 at outlets of hot water, C04 at the cold feed.
func (c *checker) outlets() {
	flow, _ := c.Grid.Flow(c.Farm, "hot_use_volume", grid.DefaultOptions())
	for _, i := range c.Grid.Find("hot_use_temp") {
		ch := &c.Grid.Channels[i]
		limit := c.o.ScaldC
		if strings.Contains(strings.ToLower(ch.Place), "hand") {
			limit = c.o.HandC + 1e-9
		}
		hot := func(k int) bool { return ch.Values[k] >= limit && (flow == nil || flow.Values[k] > 0) }
		for _, s := range c.spans(hot) {
			v := slices.Max(ch.Values[s.A:s.B])
			c.hit("C05", c.Grid.EdgeMS(s.A), c.Grid.EdgeMS(s.B), v, "%s read %.1f °C", ch.Probe, v)
		}
		if flow != nil {
			c.slowOutlet(ch, flow.Values)
		}
	}
	for i, f := range c.Account.Feed {
		if x := c.Account.Cycles[i]; f.From == "draws" && f.TempC > c.o.FeedC {
			c.hit("C04", x.Start, x.End, f.TempC, "the cold feed read %.1f °C, mean over the draws of the cycle from", f.TempC)
		}
	}
}

func (c *checker) slowOutlet(ch *grid.Channel, flow []float64) {
	after := int(math.Ceil(c.o.OutletAfterS / c.Grid.StepS))
	for _, s := range cycle.Spans(flow[:c.b], 0, func(v float64) bool { return v > 0 }) {
		k := s.A + after
		if s.A < c.a || k >= s.B {
			continue
		}
		if v := ch.Values[k]; v < c.o.OutletC {
			c.hit("C03", c.Grid.EdgeMS(s.A), c.Grid.EdgeMS(s.B), -v, "%s read %.1f °C, %.0f s into a draw", ch.Probe, v, c.o.OutletAfterS)
		}
	}
}

// heater: C06 and C15.
func (c *checker) heater() {
	top := account.HotTank(c.Grid, c.Farm)
	if top == nil {
		return
	}
	for _, s := range c.spans(func(k int) bool { return top.Values[k] >= c.o.BoilC }) {
		v := slices.Max(top.Values[s.A:s.B])
		c.hit("C06", c.Grid.EdgeMS(s.A), c.Grid.EdgeMS(s.B), v, "%s read %.1f °C", top.Name, v)
	}
	element, _ := c.Grid.Flow(c.Farm, "element_power", grid.DefaultOptions())
	if element == nil {
		return
	}
	limit := cycle.Threshold(element.Values, 0.1, 0.05)
	on := func(k int) bool { return element.Values[k] > limit }
	setpoint := c.setpoint()
	over := func(k int) bool { return on(k) && top.Values[k] > setpoint(k) }
	for _, s := range c.spans(over) {
		if d := float64(s.B-s.A) * c.Grid.StepS; d > c.o.OverS {
			c.hit("C06", c.Grid.EdgeMS(s.A), c.Grid.EdgeMS(s.B), 0, "the heater was on for %.1f h with %s above its set-point of %.0f °C", d/3600, top.Name, setpoint(s.A))
		}
	}
	c.idle(on)
}

// setpoint is what the element heats to, by cell; +Inf where it is not known.
func (c *checker) setpoint() func(k int) float64 {
	stated := math.Inf(1)
	if w := c.Farm.Wash; w != nil && w.HasHeatTo {
		stated = w.HeatToC
	}
	logged := c.Grid.Stream("element_setpoint")
	if logged == nil {
		logged = c.Grid.Stream("tank_setpoint")
	}
	return func(k int) float64 {
		if logged != nil && logged.Values[k] == logged.Values[k] {
			return logged.Values[k]
		}
		return stated
	}
}

// idle: the element on for an hour, no metered flow through the tank, and no
// probe of it rising.
func (c *checker) idle(on func(int) bool) {
	var flows [][]float64
	for _, q := range []series.Quantity{"loop_flow", "plate_flow", "wash_flow", "hot_use_volume"} {
		if s, _ := c.Grid.Flow(c.Farm, q, grid.DefaultOptions()); s != nil {
			flows = append(flows, s.Values)
		}
	}
	quiet := func(k int) bool {
		for _, v := range flows {
			if !(v[k] <= 0) {
				return false
			}
		}
		return on(k)
	}
	n := int(c.o.IdleS / c.Grid.StepS)
	for _, s := range c.spans(quiet) {
		for a := s.A; a+n < s.B; a += n {
			if rise := c.rise(a, a+n); rise < c.o.IdleRiseK {
				c.hit("C15", c.Grid.EdgeMS(a), c.Grid.EdgeMS(a+n), -rise, "the heater was on for %.0f min and no tank probe rose by more than %.1f K", c.o.IdleS/60, max(rise, 0))
			}
		}
	}
}

// rise is the largest rise of any tank probe from cell a to cell b; NaN where
// none covers both.
func (c *checker) rise(a, b int) float64 {
	most := math.NaN()
	for _, i := range c.Grid.Find("tank_temp") {
		v := c.Grid.Channels[i].Values
		if d := v[b] - v[a]; d == d && !(most >= d) {
			most = d
		}
	}
	return most
}

// spans are the stretches of the period with on(cell) true.
func (c *checker) spans(on func(k int) bool) []cycle.Span {
	var out []cycle.Span
	for k := c.a; k < c.b; k++ {
		if !on(k) {
			continue
		}
		if n := len(out); n > 0 && out[n-1].B == k {
			out[n-1].B = k + 1
		} else {
			out = append(out, cycle.Span{A: k, B: k + 1})
		}
	}
	return out
}

// washesAndMilk: C07 and C08.
func (c *checker) washesAndMilk() {
	for _, w := range c.Account.Washes {
		if !w.Rinse && !w.Unknown && w.StartC < c.o.WashStartC {
			c.hit("C07", w.Start, w.End, -w.StartC, "a wash began at %.1f °C", w.StartC)
		}
	}
	limit := c.Farm.Milk.LimitC
	for i, r := range c.Account.Milk.Rows {
		x := c.Account.Cycles[i]
		if limit <= 0 || !(r.After2hC > limit) || c.Account.Plate.Rows == nil || c.Account.Plate.Rows[i].Litres <= 0 {
			continue
		}
		c.hit("C08", x.Start, x.End, r.After2hC, "the milk read %.1f °C two hours after the milking", r.After2hC)
	}
}

// plant: C09 and C10.
func (c *checker) plant() {
	days, perKWh := c.heatPerKWh()
	fall, median := int(c.o.FallDays), int(c.o.MedianDays)
	for i := fall; i <= len(perKWh); i++ {
		now := mean(perKWh[i-fall : i])
		before := sorted(perKWh[max(0, i-fall-median) : i-fall])
		if len(before) < 10 || now != now {
			continue
		}
		usual := before[len(before)/2]
		if now < (1-c.o.FallShare)*usual {
			c.hit("C09", days[i-fall], days[i], usual/now, "%.2f kWh of heat at the plate per compressor kWh over %d days, %.2f in the weeks before; from", now, fall, usual)
		}
	}
	c.pressure()
	c.alike()
}

// heatPerKWh is the plate's heat per compressor kWh by day, NaN where too
// little ran; days are its edges.
func (c *checker) heatPerKWh() (days []int64, perKWh []float64) {
	a := c.Account
	if a.Plate.Rows == nil || a.Compressor.Rows == nil {
		return nil, nil
	}
	days = grid.Days(c.FromMS, c.ToMS, c.Zone)
	heat, kwh := make([]float64, len(days)-1), make([]float64, len(days)-1)
	for i, x := range a.Cycles {
		d, _ := slices.BinarySearch(days, x.Start+1)
		if d = d - 1; d < 0 || d >= len(heat) || !a.Plate.Rows[i].Covered(x, 0.95) || !a.Compressor.Rows[i].Covered(x, 0.95) {
			continue
		}
		heat[d] += a.Plate.Rows[i].KWh
		kwh[d] += a.Compressor.Rows[i].KWh
	}
	perKWh = make([]float64, len(heat))
	for d := range heat {
		perKWh[d] = math.NaN()
		if kwh[d] > 1 {
			perKWh[d] = heat[d] / kwh[d]
		}
	}
	return days, perKWh
}

// pressure of a closed loop: medians of days, so that pump starts don't count.
func (c *checker) pressure() {
	s := c.Grid.Stream("loop_pressure")
	if s == nil || c.Farm.Loop == nil || c.Farm.Loop.Circuit != "closed" {
		return
	}
	days := grid.Days(c.FromMS, c.ToMS, c.Zone)
	var daily []float64
	for i := 0; i+1 < len(days); i++ {
		q := sorted(s.Values[c.Grid.Cell(days[i]):c.Grid.Cell(days[i+1])])
		if len(q) == 0 {
			daily = append(daily, math.NaN())
			continue
		}
		daily = append(daily, q[len(q)/2])
	}
	back := int(c.o.PressureDays)
	for i, now := range daily {
		for k := max(0, i-back); k < i; k++ {
			if d := daily[k] - now; d > c.o.PressureFallBar {
				c.hit("C10", days[k], days[i+1], d, "the loop's pressure fell from %.2f to %.2f bar, from", daily[k], now)
				break
			}
		}
	}
}

// alike: both ends of the plate read the same on both sides while water flows
// and the compressor works.
func (c *checker) alike() {
	flow, _ := c.Grid.Flow(c.Farm, "plate_flow", grid.DefaultOptions())
	gasIn, gasOut := c.Grid.Stream("gas_in_temp"), c.Grid.Stream("gas_out_temp")
	in, out := c.Grid.Stream("plate_in_temp"), c.Grid.Stream("plate_out_temp")
	compressor, _ := c.Grid.Flow(c.Farm, "compressor_power", grid.DefaultOptions())
	if flow == nil || gasIn == nil || gasOut == nil || in == nil || out == nil || compressor == nil {
		return
	}
	limit := cycle.Threshold(compressor.Values, 0.1, 0.05)
	same := func(k int) bool {
		return flow.Values[k] > 0 && compressor.Values[k] > limit &&
			math.Abs(gasIn.Values[k]-out.Values[k]) < c.o.AlikeK && math.Abs(gasOut.Values[k]-in.Values[k]) < c.o.AlikeK
	}
	for _, s := range c.spans(same) {
		if d := float64(s.B-s.A) * c.Grid.StepS; d >= c.o.AlikeS {
			c.hit("C10", c.Grid.EdgeMS(s.A), c.Grid.EdgeMS(s.B), 0, "both ends of the plate read alike on both sides for %.0f min with flow", d/60)
		}
	}
}

// bed: C11, C12, C13.
func (c *checker) bed() {
	for _, i := range c.Grid.Find("bed_temp") {
		ch := &c.Grid.Channels[i]
		for _, s := range c.spans(func(k int) bool { return ch.Values[k] > c.o.BedHotC }) {
			v := slices.Max(ch.Values[s.A:s.B])
			c.hit("C11", c.Grid.EdgeMS(s.A), c.Grid.EdgeMS(s.B), v, "%s read %.1f °C", ch.Probe, v)
			if v > c.o.BedFireC {
				c.hit("C12", c.Grid.EdgeMS(s.A), c.Grid.EdgeMS(s.B), v, "%s read %.1f °C", ch.Probe, v)
			}
			c.rising(ch, s)
		}
		c.faulty(ch)
	}
	for _, e := range c.Farm.Events {
		if at := e.At.UnixMilli(); (e.What == "turned" || e.What == "cleared") && at >= c.FromMS && at < c.ToMS {
			c.hit("C13", at, at, 0, "the farm file has the event %q", e.What)
		}
	}
}

// rising: above the hot mark, more than so many kelvins in a day.
func (c *checker) rising(ch *grid.Channel, s cycle.Span) {
	day := int(86400 / c.Grid.StepS)
	for k := s.A; k < s.B; k++ {
		if k-day < 0 {
			continue
		}
		if d := ch.Values[k] - ch.Values[k-day]; d > c.o.BedRiseKPerDay {
			c.hit("C12", c.Grid.EdgeMS(k-day), c.Grid.EdgeMS(s.B), ch.Values[k], "%s rose by %.1f K in a day to %.1f °C, from", ch.Probe, d, ch.Values[k])
			return
		}
	}
}

// faulty: a bed probe whose readings are flagged as a fault or a flat line.
func (c *checker) faulty(ch *grid.Channel) {
	if ch.Flags == nil {
		return
	}
	bad := func(k int) bool { return ch.Flags[k]&(series.Sentinel|series.Stuck|series.Range) != 0 }
	n, first, last := 0, -1, -1
	for k := c.a; k < c.b; k++ {
		if bad(k) {
			if first < 0 {
				first = k
			}
			last = k
			n++
		}
	}
	if n > 0 {
		c.hit("C13", c.Grid.EdgeMS(first), c.Grid.EdgeMS(last+1), float64(n), "%s gave %d readings that look like a fault or a flat line, from", ch.Probe, n)
	}
}

// loop: C14.
func (c *checker) loop() {
	flow, _ := c.Grid.Flow(c.Farm, "loop_flow", grid.DefaultOptions())
	for _, q := range []series.Quantity{"loop_in_temp", "loop_out_temp", "return_temp"} {
		for _, i := range c.Grid.Find(q) {
			ch := &c.Grid.Channels[i]
			cold := func(k int) bool { return ch.Values[k] < c.o.FreezeC && (flow == nil || !(flow.Values[k] > 0)) }
			for _, s := range c.spans(cold) {
				v := slices.Min(ch.Values[s.A:s.B])
				c.hit("C14", c.Grid.EdgeMS(s.A), c.Grid.EdgeMS(s.B), -v, "%s read %.1f °C with nothing flowing", ch.Probe, v)
			}
		}
	}
}

func mean(v []float64) float64 {
	sum, n := 0.0, 0
	for _, x := range v {
		if x == x {
			sum, n = sum+x, n+1
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

func sorted(v []float64) []float64 {
	var q []float64
	for _, x := range v {
		if x == x {
			q = append(q, x)
		}
	}
	rank.Sort(q)
	return q
}
