package web

import (
	"encoding/json"
	"fmt"
	"maps"
	"strings"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/cmd/yardheat/web/looking"
	"yardheat/ingest/look"
	"yardheat/ingest/series"
)

// fileNote is what the farmer said of a file that waits; it lies beside the file.
type fileNote struct {
	// Said are settings of the [[log]] by key: dates, decimal, zone, …
	Said map[string]string `json:"said,omitempty"`
	// Columns are the choices by column; see columnKey.
	Columns map[string]columnNote `json:"columns,omitempty"`
}

// columnNote is what the farmer chose for a column. "" = as the file and our
// guess have it.
type columnNote struct {
	Name string `json:"name"` // the heading, to know the column again
	// Same: it is the one of before that it was guessed to be.
	Same     bool   `json:"same,omitempty"`
	Quantity string `json:"quantity,omitempty"`
	Place    string `json:"place,omitempty"`
	Unit     string `json:"unit,omitempty"`
	Counter  string `json:"counter,omitempty"` // yes, no
	Fit      string `json:"fit,omitempty"`     // pocket, pipe
	Scale    string `json:"scale,omitempty"`
	Volts    string `json:"volts,omitempty"`
	Phases   string `json:"phases,omitempty"`
	Factor   string `json:"factor,omitempty"`
}

// notUsed is the quantity of a column that is left out.
const notUsed = "ignore"

// saidKeys are the settings of a file that can be said on the page.
var saidKeys = []string{"dates", "decimal", "zone", "stamp", "encoding", "separator", "header"}

// columnKey tells the columns of a file apart: table and place in it.
func columnKey(table, column int) string { return fmt.Sprintf("%d-%d", table, column) }

// readNote is the file's note; one that can't be read any more counts as none.
func readNote(f farms.Farm, id string) (fileNote, error) {
	n := fileNote{Said: map[string]string{}, Columns: map[string]columnNote{}}
	b, err := f.Note(id)
	if err != nil || b == nil {
		return n, err
	}
	var read fileNote
	if json.Unmarshal(b, &read) == nil {
		maps.Copy(n.Said, read.Said)
		maps.Copy(n.Columns, read.Columns)
	}
	return n, nil
}

func writeNote(f farms.Farm, id string, n fileNote) error {
	b, err := json.Marshal(n)
	if err != nil {
		return err
	}
	return f.SetNote(id, b)
}

// column is what was said of a column, if it is still the same one.
func (n fileNote) column(key, name string) columnNote {
	if c := n.Columns[key]; c.Name == name {
		return c
	}
	return columnNote{Name: name}
}

// ask is how a waiting file is to be read.
func askFor(w farms.Waiting, path string, n fileNote) looking.Ask {
	return looking.Ask{Path: path, Name: w.Name, Hash: w.SHA256, SizeB: w.SizeB,
		Dates: n.Said["dates"], Decimal: n.Said["decimal"], Separator: n.Said["separator"], Encoding: n.Said["encoding"], Zone: n.Said["zone"], Header: n.Said["header"]}
}

// mapped is what a column will be read as.
type mapped struct {
	Quantity, Place, Unit string
	Counter               bool
	Fit                   string
	Scale, Volts, Factor  float64
	Phases                int
	// Guess: nobody chose the quantity.
	Guess bool
	// Assumed: the unit is ours, neither the file's nor the farmer's.
	Assumed bool
}

// used tells whether the column is read at all.
func (m mapped) used() bool { return m.Quantity != "" && m.Quantity != notUsed }

// mapColumn lays the farmer's choice over the guess.
func mapColumn(c *look.Column, n columnNote) mapped {
	m := mapped{Quantity: c.Quantity, Place: c.Place, Fit: n.Fit, Guess: n.Quantity == ""}
	if c.Readings == 0 || c.Kind == look.Text || c.Kind == look.Event || c.Kind == look.Index {
		m.Quantity = ""
	}
	if n.Quantity != "" {
		m.Quantity = n.Quantity
		m.Place = n.Place
	}
	info, known := series.Lookup(series.Quantity(m.Quantity))
	if !known {
		return m
	}
	m.Counter = c.Kind == look.Counter && (info.Class == series.Volume || info.Class == series.Energy)
	if n.Counter != "" && (info.Class == series.Volume || info.Class == series.Energy) {
		m.Counter = n.Counter == "yes"
	}
	unit, ok := series.ParseUnit(c.Unit)
	switch {
	case n.Unit != "":
		m.Unit = n.Unit
	case unit.Ampere:
		m.Unit = "A" // volts are taken beside a stated unit only
	case unit.Pulses:
		m.Unit = info.Class.BaseUnit()
	case c.Unit == "" && info.Class != series.OnOff || !ok && c.Unit != "":
		m.Unit, m.Assumed = c.UnitAssumed, true
		if u, fits := series.ParseUnit(m.Unit); !fits || u.Class != info.Class {
			m.Unit = unitWords(info.Class)[0]
		}
	}
	m.Scale, m.Volts, m.Factor = positive(n.Scale), positive(n.Volts), positive(n.Factor)
	m.Phases = int(positive(n.Phases))
	return m
}

// positive reads a number above 0 with either decimal mark; 0 = none.
func positive(text string) float64 {
	var v float64
	if _, err := fmt.Sscanf(strings.Replace(strings.TrimSpace(text), ",", ".", 1), "%g", &v); err != nil || !(v > 0) || v > 1e12 {
		return 0
	}
	return v
}

// unitWords are the units that can be chosen for a class, the commonest first.
func unitWords(c series.Class) []string {
	switch c {
	case series.Temperature:
		return []string{"C", "F", "K"}
	case series.Flow:
		return []string{"L/min", "L/h", "m3/h", "gal_us/min", "gal_imp/min"}
	case series.Volume:
		return []string{"L", "m3", "gal_us", "gal_imp"}
	case series.Power:
		return []string{"kW", "W"}
	case series.Energy:
		return []string{"kWh", "Wh", "MWh", "MJ"}
	case series.Pressure:
		return []string{"bar", "kPa", "psi"}
	case series.Level:
		return []string{"%"}
	}
	return []string{"0/1"}
}

// lacks names what must be chosen before the column can be read: unit, pulse,
// current; "" = nothing.
func (m mapped) lacks(c *look.Column) string {
	if !m.used() {
		return ""
	}
	u, _ := series.ParseUnit(c.Unit)
	switch {
	case u.Gallon && !strings.HasPrefix(m.Unit, "gal_"):
		return "unit"
	case u.Pulses && m.Scale == 0:
		return "pulse"
	case u.Ampere && (m.Volts == 0 || m.Phases == 0 || m.Factor == 0):
		return "current"
	}
	return ""
}
