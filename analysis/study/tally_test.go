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

// intervalRow is one headline figure over all farms: for UA the identified.
func intervalRow(results []Result, key string) string {
	n, held, low, high := 0, 0, 0, 0
	var widths, linear, off, ratios []float64
	for _, r := range results {
		f := r.Figures[key]
		if f.Value == nil || key == "ua_w_per_k" && !r.Identified {
			continue
		}
		n++
		switch {
		case f.holds():
			held++
		case f.Bare < number(f.Low):
			low++
		default:
			high++
		}
		if w := f.width(); w > 0 && f.Linear > 0 {
			widths, linear, ratios = append(widths, w), append(linear, f.Linear), append(ratios, w/f.Linear)
		}
		off = append(off, 100*math.Abs(number(f.Value)/f.Seen-1))
	}
	return fmt.Sprintf("| `%s` | %d | %s | %d / %d | %.2f | %.2f | %.2f | %.2f |", key, n, share(held, n), low, high,
		mean(widths)/mean(linear), quantile(ratios, 0.5), quantile(off, 0.5), quantile(off, 0.95))
}

// classRow: the farms of one sharpness, by what is said of their UA.
func classRow(results []Result, c simfarm.Sharpness, name string) string {
	n, identified, right, bounds, below, sharp := 0, 0, 0, 0, 0, 0
	var offs []float64
	for _, r := range results {
		if (simfarm.UABound{Draws: r.Draws}).Sharpness() != c {
			continue
		}
		n++
		f := r.Figures["ua_w_per_k"]
		switch {
		case r.Identified:
			identified++
			if f.holds() {
				right++
			}
			offs = append(offs, 100*math.Abs(number(f.Value)/f.Seen-1))
		case f.Low != nil:
			bounds++
			if *f.Low < f.Bare {
				below++
			}
			if *f.Low > f.Bare/4 {
				sharp++
			}
		}
	}
	return fmt.Sprintf("| %s | %d | %s | %s | %.2f | %d | %s | %s |", name, n, share(identified, n), share(right, identified), quantile(offs, 0.5),
		bounds, share(below, bounds), share(sharp, bounds))
}

// table is the study's result as markdown.
func table(results []Result) string {
	var b strings.Builder
	line := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	line("## Intervals\n")
	line("Held: share of 95 %% intervals with the bare truth inside, with its own 95 %% interval; missed below / above: the truth")
	line("lies under the low or over the high end. Width: mean over the mean by linear propagation, and the median of the")
	line("ratios. Off: distance from the truth seen through the drawn errors. UA: identified farms only.\n")
	line("| figure | farms | held %% | truth below / above | width over linear: means | median | off %%: median | 95th percentile |")
	line("|---|---|---|---|---|---|---|---|")
	for _, key := range headlineKeys {
		line("%s", intervalRow(results, key))
	}
	line("\n## Identified against the Cramér-Rao bound\n")
	line("By the half-width of ln UA that the exact model at the truth allows (`simfarm.UABound`, a draw counting as one reading")
	line("with a misfit of 0.1 K). Bound: a lower bound only is stated; it holds where it lies below the truth, and is sharp where")
	line("it lies above a quarter of it.\n")
	line("| half-width | farms | identified %% | of these held %% | off %%: median | bounds | below the truth %% | above a quarter %% |")
	line("|---|---|---|---|---|---|---|---|")
	line("%s", classRow(results, simfarm.Sharp, "under 12 %"))
	line("%s", classRow(results, simfarm.Poor, "12 to 40 %"))
	line("%s", classRow(results, simfarm.Flat, "above 40 %"))
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
