package web

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"yardheat/ingest/look/again"
)

// logName is what a logger of before is called.
func (v *view) logName(n int) string {
	if n < 0 || n >= len(v.LogNames) {
		return itoa(n + 1)
	}
	return clean(v.LogNames[n])
}

func itoa(n int) string { return strconv.Itoa(n) }

// findings says in plain words what is different about a new export. i is the
// table's place in its file.
func (v *view) findings(i int, m *again.Match) []findingView {
	var out []findingView
	if m.Log >= 0 {
		out = append(out, findingView{Text: v.Say("again.goes-on", "log", v.logName(m.Log))})
	}
	for _, f := range m.Findings {
		fv := findingView{Doubt: doubtful[f.Code]}
		fv.Text = v.findingText(m, f)
		if f.Code == again.ColumnMissing || f.Code == again.ColumnRenamed {
			fv.Picks = v.successors(i, m, f)
		}
		if fv.Text != "" {
			out = append(out, fv)
		}
	}
	return out
}

// doubtful findings ask for a look before the file is taken in.
var doubtful = map[again.Code]bool{again.NameTaken: false, again.SeveralLogs: true, again.SheetChanged: true, again.TableChanged: true, again.ColumnRenamed: true,
	again.ColumnMissing: true, again.ColumnMoved: true, again.UnitChanged: true, again.KindChanged: true, again.RangeElsewhere: true, again.ColumnSilent: true,
	again.DatesChanged: true, again.ZoneChanged: true, again.DecimalChanged: true, again.Gap: true}

func (v *view) findingText(m *again.Match, f again.Finding) string {
	key := "again." + string(f.Code)
	switch {
	case f.Code == again.Overlap:
		key += "." + string(f.Agrees)
	case f.Code == again.ColumnRenamed && f.Sure != again.Likely:
		key += ".guess"
	case f.Code == again.ColumnNew && f.Quantity == "":
		key += ".unknown"
	case f.Code == again.NewLog && len(m.Columns) == 0:
		return ""
	}
	if !v.c.Has(key) {
		key = "again.other"
	}
	quantity, _, _ := strings.Cut(f.Quantity, "@")
	what := ""
	if quantity != "" && v.c.Has("quantity."+quantity) {
		what = v.Say("quantity." + quantity)
	}
	return v.Say(key, "column", clean(f.Column), "was", clean(f.Was), "is", clean(f.Is), "what", what, "file", clean(f.File), "from", v.momentHere(f.From), "to", v.momentHere(f.To),
		"span", v.lapse(f.Seconds), "was_step", v.lapse(f.WasS), "is_step", v.lapse(f.IsS), "code", string(f.Code))
}

// successors are columns of the new file that may take a missing one's place.
func (v *view) successors(i int, m *again.Match, f again.Finding) []pick {
	var out []pick
	for k, c := range m.Columns {
		if f.Code == again.ColumnRenamed && (f.Sure == again.Likely || c.Key != f.Column && !slices.Contains(f.Others, c.Key)) {
			continue
		}
		free := c.State == again.Fresh || c.State == again.Passed || c.State == again.Renamed && c.Sure != again.Likely
		if free && c.Look.Readings > 0 && len(out) < 8 {
			out = append(out, pick{Key: "like", Value: columnKey(i, k) + "|" + f.Quantity, Label: v.Say("again.successor", "column", clean(c.Look.Name))})
		}
	}
	return out
}

// momentHere is a time in the farm's zone.
func (v *view) momentHere(text string) string {
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil || v.FarmZone == nil {
		return moment(text)
	}
	return v.Choice.Moment(at.In(v.FarmZone))
}

// zonePicks are the clocks that a file may keep.
func (v *view) zonePicks() []pick {
	out := []pick{{Key: "unsay", Value: "zone", Label: v.Say("logs.zone.farm"), Now: true}}
	zone := v.FarmZone
	if zone == nil {
		zone = time.UTC
	}
	_, off := time.Date(2026, 1, 15, 12, 0, 0, 0, zone).Zone()
	if _, july := time.Date(2026, 7, 15, 12, 0, 0, 0, zone).Zone(); july < off {
		off = july // south of the equator
	}
	if off != 0 {
		text := time.Date(2026, 1, 15, 12, 0, 0, 0, time.FixedZone("", off)).Format("-07:00")
		out = append(out, pick{Key: "zone", Value: text, Label: v.Say("logs.zone.winter", "offset", text)})
	}
	return append(out, pick{Key: "zone", Value: "UTC", Label: v.Say("logs.zone.utc")})
}
