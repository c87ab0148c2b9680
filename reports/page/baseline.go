package page

import (
	_ "embed"
	"math"

	"yardheat/analysis/season"
	"yardheat/reports/chart"
)

//go:embed baseline.tmpl
var baselineSource string

// sideBySide are the figures of all baselines, a column each.
type sideBySide struct {
	Head []string
	Rows []sideRow
}

type sideRow struct {
	Label string
	Cells []sideCell
}

type sideCell struct {
	Of, Text string
	Known    bool
}

// baselineName is the words for a kind of baseline.
func baselineName(kind string) string {
	switch kind {
	case "alternative":
		return "Heat delivered, through the alternative"
	case "recovery_off":
		return "Days with the recovery switched off"
	case "before":
		return "Days before the recovery"
	}
	return clean(kind)
}

// told are the baselines that give any number, and the chosen one.
func (v *view) told() []season.Baseline {
	var list []season.Baseline
	for _, b := range v.S.Saving.Baselines {
		if len(b.Figures) > 0 && (b.Chosen || has(b.Figures)) {
			list = append(list, b)
		}
	}
	return list
}

// OnlyBaseline names the baseline where there is one alone: its figures stand
// above, and a table of one column would say them twice.
func (v *view) OnlyBaseline() string {
	if list := v.told(); len(list) == 1 && list[0].Chosen {
		return baselineName(list[0].Kind)
	}
	return ""
}

// BaselineRows lays the baselines side by side, the chosen one marked; nil where
// there are no two.
func (v *view) BaselineRows() *sideBySide {
	list := v.told()
	if len(list) == 0 || v.OnlyBaseline() != "" {
		return nil
	}
	out := &sideBySide{}
	at := map[string]int{}
	for _, b := range list {
		name := baselineName(b.Kind)
		if b.Chosen {
			name += " (chosen)"
		}
		if n := b.Figures[0].Figure.N; n > 0 {
			name += ", " + chart.Number(float64(n), 0) + " cycles"
		}
		out.Head = append(out.Head, name)
		for _, n := range b.Figures {
			if _, ok := at[n.Key]; !ok {
				at[n.Key] = len(out.Rows)
				out.Rows = append(out.Rows, sideRow{Label: clean(n.Label), Cells: make([]sideCell, 0, len(list))})
			}
		}
	}
	for k, b := range list {
		for key, i := range at {
			n, _ := find(b.Figures, key)
			out.Rows[i].Cells = append(out.Rows[i].Cells, sideCell{Of: out.Head[k], Text: shown(n.Figure), Known: known(n.Figure)})
		}
	}
	return out
}

// percent prints a share in per cent.
func percent(v float64, decimals int) string {
	if math.IsNaN(v) {
		return "not known"
	}
	return chart.Number(100*v, decimals) + " %"
}

// ChosenModel is the model of the baseline that the saving is held against; nil
// where it has none.
func (v *view) ChosenModel() *season.BaselineModel {
	for _, b := range v.S.Saving.Baselines {
		if b.Chosen {
			return b.Model
		}
	}
	return nil
}
