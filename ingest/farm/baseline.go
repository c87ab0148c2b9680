package farm

import (
	"slices"
	"strings"

	"yardheat/ingest/farm/keyed"
)

// The kinds of a baseline: what the electricity used is held against.
const (
	// BaselineAlternative: the heat delivered, through the alternative heater.
	BaselineAlternative = "alternative"
	// BaselineOff: the electricity of days with the recovery switched off.
	BaselineOff = "recovery_off"
	// BaselineBefore: that of days before the recovery was built.
	BaselineBefore = "before"
)

// The variables that a day's electricity can be laid against.
const (
	VariableMilk     = "milk_volume"
	VariableFeed     = "mains_temp"
	VariableHeat     = "heat_delivered"
	VariableTank     = "tank_change"
	VariableConstant = "constant"
)

// Variables are all of them, in the order in which a model takes them.
var Variables = []string{VariableConstant, VariableHeat, VariableTank, VariableMilk, VariableFeed}

// Baseline is [baseline].
type Baseline struct {
	Kind string // default "alternative"
	// Season: names of [[season]] stretches. Of those of a baseline's kind only
	// these are taken; if any of kind normal is among them, they are the reporting
	// period. Empty: all of the kind, and the rest of the record.
	Season []string
	// Variables in the order of package variable Variables; empty = chosen by the
	// record.
	Variables []string
}

// baseline reads [baseline]; the seasons stand before it.
func (r *reader) baseline(t *keyed.Tab, seasons []Season) Baseline {
	b := Baseline{Kind: BaselineAlternative}
	bt := t.Table("baseline")
	if bt == nil {
		return b
	}
	bt.Choice("kind", &b.Kind, BaselineAlternative, BaselineOff, BaselineBefore)
	names := seasonNames(seasons)
	const wantSeason = "names of [[season]] stretches"
	_, list := bt.Texts("season", wantSeason)
	for _, n := range list {
		if !slices.Contains(names, n.Text) {
			r.Add(n.Line, bt.Key("season"), keyed.Shown(n), wantSeason, keyed.Meant(n.Text, names))
			continue
		}
		b.Season = append(b.Season, n.Text)
	}
	e, list := bt.Texts("variables", "variables: "+strings.Join(keyed.Quoted(Variables), ", "))
	asked := map[string]bool{}
	for _, n := range list {
		if !slices.Contains(Variables, n.Text) {
			r.Add(n.Line, bt.Key("variables"), keyed.Shown(n), strings.Join(keyed.Quoted(Variables), ", "), keyed.Meant(n.Text, Variables))
			continue
		}
		asked[n.Text] = true
	}
	if e != nil && len(list) == 0 {
		bt.Bad(e, "at least one variable: "+strings.Join(keyed.Quoted(Variables), ", "), "name one, or take the key out")
	}
	for _, name := range Variables {
		if asked[name] {
			b.Variables = append(b.Variables, name)
		}
	}
	if k := bt.Node.Find("kind"); k != nil && b.Kind != BaselineAlternative && !slices.ContainsFunc(seasons, func(s Season) bool { return s.Kind == b.Kind }) {
		bt.Bad(k, "a [[season]] of kind \""+b.Kind+"\"", "add [[season]] with kind = \""+b.Kind+"\", from and to")
	}
	bt.Close(nil)
	return b
}

func seasonNames(seasons []Season) []string {
	var out []string
	for _, s := range seasons {
		if s.Name != "" {
			out = append(out, s.Name)
		}
	}
	return out
}
