//go:build study

package study

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardheat/ingest/simfarm"
)

// width is NaN unless both ends are known.
func (f Figure) width() float64 { return number(f.High) - number(f.Low) }

// share of n in per cent with its own 95 % interval (Wilson's score interval).
func share(k, n int) string {
	if n == 0 {
		return "none"
	}
	const z = 1.959964
	p, m := float64(k)/float64(n), float64(n)
	mid := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return fmt.Sprintf("%.1f (%.1f to %.1f)", 100*p, 100*(mid-half), 100*(mid+half))
}

// quantile of values, which need no order; NaN of none.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Clone(v)
	slices.Sort(s)
	return s[min(len(s)-1, int(q*float64(len(s))))]
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// interval sums up one headline figure over farms.
type interval struct {
	n, held, low, high          int
	widths, linear, off, ratios []float64
}

// intervalOf one headline figure over all farms: for UA the identified.
func intervalOf(results []Result, key string) (s interval) {
	for _, r := range results {
		f := r.Figures[key]
		if f.Value == nil || key == uaKey && !r.Identified {
			continue
		}
		s.n++
		switch {
		case f.holds():
			s.held++
		case f.Bare < number(f.Low):
			s.low++
		default:
			s.high++
		}
		if w := f.width(); w > 0 && f.Linear > 0 {
			s.widths, s.linear, s.ratios = append(s.widths, w), append(s.linear, f.Linear), append(s.ratios, w/f.Linear)
		}
		s.off = append(s.off, 100*math.Abs(number(f.Value)/f.Seen-1))
	}
	return s
}

// uaKey is the coefficient's.
const uaKey = "ua_w_per_k"

// width is the mean over that by linear propagation.
func (s interval) width() float64 { return mean(s.widths) / mean(s.linear) }

func (s interval) row(name string) string {
	return fmt.Sprintf("| %s | %d | %s | %d / %d | %.2f | %.2f | %.2f | %.2f |", name, s.n, share(s.held, s.n), s.low, s.high,
		s.width(), quantile(s.ratios, 0.5), quantile(s.off, 0.5), quantile(s.off, 0.95))
}

// wellTold are the farms whose UA the exact model tells within 5 %.
func wellTold(results []Result) (out []Result) {
	for _, r := range results {
		if r.Draws < 0.05 {
			out = append(out, r)
		}
	}
	return out
}

// sharpClass sums up the farms of one sharpness, by what is said of their UA.
type sharpClass struct {
	n, identified, right, bounds, below, sharp int
	offs                                       []float64
}

func classOf(results []Result, c simfarm.Sharpness) (s sharpClass) {
	for _, r := range results {
		if (simfarm.UABound{Draws: r.Draws}).Sharpness() != c {
			continue
		}
		s.n++
		f := r.Figures[uaKey]
		switch {
		case r.Identified:
			s.identified++
			if f.holds() {
				s.right++
			}
			s.offs = append(s.offs, 100*math.Abs(number(f.Value)/f.Seen-1))
		case f.Low != nil:
			s.bounds++
			if *f.Low < f.Bare {
				s.below++
			}
			if *f.Low > f.Bare/4 {
				s.sharp++
			}
		}
	}
	return s
}

func (s sharpClass) row(name string) string {
	return fmt.Sprintf("| %s | %d | %s | %s | %.2f | %d | %s | %s |", name, s.n, share(s.identified, s.n), share(s.right, s.identified), quantile(s.offs, 0.5),
		s.bounds, share(s.below, s.bounds), share(s.sharp, s.bounds))
}

// verdict of a goal: met or not as counted, and whether chance would do it.
func verdict(met bool) string {
	if met {
		return "met"
	}
	return "not met"
}

// heldVerdict of 93 to 97 %: what is outside, but not by more than so few farms
// make of it, is said so.
func heldVerdict(k, n int) string {
	if n == 0 {
		return "not counted"
	}
	p := 100 * float64(k) / float64(n)
	if p >= 93 && p <= 97 {
		return "met"
	}
	sd := 100 * math.Sqrt(0.95*0.05/float64(n))
	if math.Abs(p-95) <= 2*sd {
		return fmt.Sprintf("not met as counted; within two standard errors (%.1f points) of 95", sd)
	}
	return "not met"
}

// goals are all that the study is to reach, met or not.
func goals(results []Result) string {
	var b strings.Builder
	line := func(goal, measured, verdict string) { fmt.Fprintf(&b, "| %s | %s | %s |\n", goal, measured, verdict) }
	b.WriteString("| goal | measured | |\n|---|---|---|\n")
	line("1,000 farms", fmt.Sprint(len(results)), verdict(len(results) >= 1000))
	for _, key := range headlineKeys {
		s := intervalOf(results, key)
		line(fmt.Sprintf("`%s`: 93 to 97 %% held", key), fmt.Sprintf("%.1f %% of %d", 100*float64(s.held)/float64(s.n), s.n), heldVerdict(s.held, s.n))
		line(fmt.Sprintf("`%s`: mean width 0.8 to 1.25 of linear", key), fmt.Sprintf("%.2f", s.width()), verdict(s.width() >= 0.8 && s.width() <= 1.25))
	}
	for _, key := range heatKeys {
		s := intervalOf(results, key)
		m, q := quantile(s.off, 0.5), quantile(s.off, 0.95)
		line(fmt.Sprintf("`%s`: off the seen truth 0.3 %% (median), 1 %% (95th percentile) at most", key), fmt.Sprintf("%.2f and %.2f %%", m, q), verdict(m <= 0.3 && q <= 1))
	}
	ua, f := quantile(intervalOf(results, uaKey).off, 0.5), quantile(intervalOf(results, "recovery_fraction").off, 0.5)
	line("UA where identified: off 2 % (median) at most", fmt.Sprintf("%.2f %%", ua), verdict(ua <= 2))
	line("recovery fraction: off 1 % (median) at most", fmt.Sprintf("%.2f %%", f), verdict(f <= 1))
	sharp, poor, flat := classOf(results, simfarm.Sharp), classOf(results, simfarm.Poor), classOf(results, simfarm.Flat)
	part := func(k, n int) float64 { return 100 * float64(k) / math.Max(1, float64(n)) }
	line("a third of the farms of each kind", fmt.Sprintf("%d, %d, %d", sharp.n, poor.n, flat.n), verdict(3*min(sharp.n, poor.n, flat.n) >= 9*len(results)/10))
	line("half-width under 12 %: 95 % identified", fmt.Sprintf("%.1f %% of %d", part(sharp.identified, sharp.n), sharp.n), verdict(part(sharp.identified, sharp.n) >= 95))
	line("above 40 %: 5 % identified at most", fmt.Sprintf("%.1f %% of %d", part(flat.identified, flat.n), flat.n), verdict(part(flat.identified, flat.n) <= 5))
	bounds, below, near := sharp.bounds+poor.bounds+flat.bounds, sharp.below+poor.below+flat.below, sharp.sharp+poor.sharp+flat.sharp
	line("lower bounds: below the truth in 95 %", fmt.Sprintf("%.1f %% of %d", part(below, bounds), bounds), verdict(part(below, bounds) >= 95))
	line("lower bounds: above a quarter of it in half", fmt.Sprintf("%.1f %% of %d", part(near, bounds), bounds), verdict(part(near, bounds) >= 50))
	return b.String()
}

// table is the study's result as markdown.
func table(results []Result) string {
	var b strings.Builder
	line := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	line("## Goals\n")
	line("%s", goals(results))
	line("## Intervals\n")
	line("Held: share of 95 %% intervals with the bare truth inside, with its own 95 %% interval; missed below / above: the truth")
	line("lies under the low or over the high end. Width: mean over the mean by linear propagation, and the median of the")
	line("ratios. Off: distance from the truth seen through the drawn errors. UA: identified farms only.\n")
	line("| figure | farms | held %% | truth below / above | width over linear: means | median | off %%: median | 95th percentile |")
	line("|---|---|---|---|---|---|---|---|")
	for _, key := range headlineKeys {
		line("%s", intervalOf(results, key).row("`"+key+"`"))
	}
	line("%s", intervalOf(wellTold(results), uaKey).row("`ua_w_per_k`, half-width of the bound below under 5 %"))
	line("\nLinear propagation takes the bed's depletion, its lag and the film in still water as known: where soaked water is all that tells")
	line("UA, these make most of an interval, which is therefore several times as wide.")
	line("\n## Identified against the Cramér-Rao bound\n")
	line("By the half-width of ln UA that the exact model at the truth allows (`simfarm.UABound`, a draw counting as one reading")
	line("with a misfit of 0.1 K). Bound: a lower bound only is stated; it holds where it lies below the truth, and is sharp where")
	line("it lies above a quarter of it.\n")
	line("| half-width | farms | identified %% | of these held %% | off %%: median | bounds | below the truth %% | above a quarter %% |")
	line("|---|---|---|---|---|---|---|---|")
	line("%s", classOf(results, simfarm.Sharp).row("under 12 %"))
	line("%s", classOf(results, simfarm.Poor).row("12 to 40 %"))
	line("%s", classOf(results, simfarm.Flat).row("above 40 %"))
	return b.String()
}

// misses lists what the table counts as wrong, a line each.
func misses(results []Result) []string {
	var out []string
	for _, r := range results {
		for _, key := range headlineKeys {
			f := r.Figures[key]
			if f.stated() && !f.holds() {
				out = append(out, fmt.Sprintf("farm %d %s: %.5g [%.5g, %.5g] misses %.5g (seen %.5g)", r.Farm, key, number(f.Value), number(f.Low), number(f.High), f.Bare, f.Seen))
			}
		}
		c := (simfarm.UABound{Draws: r.Draws}).Sharpness()
		if c == simfarm.Sharp && !r.Identified || c == simfarm.Flat && r.Identified {
			f := r.Figures["ua_w_per_k"]
			out = append(out, fmt.Sprintf("farm %d: bound %.1f %% (as logged %.2f %%), identified %v: %.4g [%.4g, %.4g], truth %.4g, %s", r.Farm, 100*r.Draws, 100*r.Logged, r.Identified,
				number(f.Value), number(f.Low), number(f.High), f.Bare, f.Why))
		}
	}
	return out
}
