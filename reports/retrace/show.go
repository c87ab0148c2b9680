package retrace

import (
	"fmt"
	"slices"
	"strings"
)

// What a verdict ends with.
const (
	agreesText   = "Agrees"
	roundingText = "Agrees to rounding"
	// proves is what an agreement is worth.
	proves = "This shows that the report follows from these originals, not that the originals are true."
)

// headline figures are named first.
var headline = []string{"heat.loop_kwh", "heat.plant_kwh", "heat.element_kwh", "heat.wash_kwh", "saving.saved_kwh", "loop.ua_w_per_k", "plant.recovery_fraction",
	"saving.money", "saving.co2_kg"}

// Lines of one file that the text shows: of figures, and of all else.
const (
	mostFigures = 12
	mostLines   = 3
)

// Text is the verdict for people.
func (v *Verdict) Text(report, farm string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Report:  %s", report)
	if v.MadeAt != "" {
		fmt.Fprintf(&b, ", made %s by yardheat %s", v.MadeAt, v.MadeBy.Version)
	}
	fmt.Fprintf(&b, "\nFarm:    %s\n\n", farm)
	if v.Because != "" {
		fmt.Fprintf(&b, "Compared by numbers, not by bytes: %s.\n\n", v.Because)
	}
	if v.Agrees {
		word := agreesText
		if !v.Exact {
			word = roundingText
		}
		fmt.Fprintf(&b, "%s: %d originals, %d files of the report, %d values in %s. %s\n", word, v.Originals, v.Files, v.Values, resultsName, proves)
		return b.String()
	}
	fmt.Fprintf(&b, "Differs: %s.\n", counted(len(v.Differences)+v.More, "difference", "differences"))
	for _, group := range v.groups() {
		group.write(&b)
	}
	return b.String()
}

// group is the differences of one kind in one file.
type group struct {
	title string
	list  []Difference
	most  int
}

func (v *Verdict) groups() []*group {
	var out []*group
	at := map[string]*group{}
	for _, d := range v.Differences {
		key := d.Kind + "\x00" + d.File
		g := at[key]
		if g == nil {
			g = &group{title: d.File + ": " + d.Kind, most: mostLines}
			switch {
			case d.File == "":
				g.title = d.Kind
			case d.Kind == KindFigure:
				g.title, g.most = d.File+": figures that do not follow from the originals", mostFigures
			case d.Kind == KindValue:
				g.title = d.File + ": values that do not follow from the originals"
			case d.Kind == KindSources:
				g.title = d.File + ": what does not follow from the originals"
			case d.Kind == KindSwapped:
				g.title = d.File + ": swapped with another original"
			}
			at[key] = g
			out = append(out, g)
		}
		g.list = append(g.list, d)
	}
	return out
}

func (g *group) write(b *strings.Builder) {
	fmt.Fprintf(b, "\n%s\n", g.title)
	slices.SortStableFunc(g.list, func(x, y Difference) int { return rank(x.Where) - rank(y.Where) })
	for i, d := range g.list {
		if i == g.most {
			fmt.Fprintf(b, "    … and %d more; --json lists them\n", len(g.list)-i)
			return
		}
		if d.Kind == KindFigure {
			fmt.Fprintf(b, "    %s  ", d.Where)
		} else {
			b.WriteString("    ")
		}
		b.WriteString(d.Text + "\n")
	}
}

func rank(figure string) int {
	if i := slices.Index(headline, figure); i >= 0 {
		return i
	}
	return len(headline)
}
