package look

import (
	"fmt"
	"strings"
	"testing"

	"yardheat/ingest/series"
)

// of gives the i-th of some texts, over and over.
func of(texts ...string) func(int) string {
	return func(i int) string { return texts[i%len(texts)] }
}

func hasProblem(t *Table, code string, column int) bool {
	for _, p := range t.Problems {
		if p.Code == code && p.Column == column {
			return true
		}
	}
	return false
}

// A column whose cells are mostly no number is never passed over in silence
// where a unit or the cells themselves say that readings were meant.
func TestReadingsTakenForTextAreNamed(t *testing.T) {
	for _, c := range []struct {
		header string
		cells  func(int) string
		named  bool
	}{
		{"Vat (°C)", of("48.9*", "49.3", "<48.7", "50.1 E"), true},
		{"Vat", of("48.9*", "49.3", "<48.7", "50.1 E"), true},
		{"Vat (°C)", of("probe lost", "probe lost", "probe lost", "41.5"), true},
		{"Vat (°C)", of("probe lost"), true},
		{"Remark", of("filled", "emptied", "rinsed"), false},
		{"Remark", of("", "", "", "", "", "rinsed"), false},
	} {
		text := "Time," + c.header + "\n"
		for i := range 24 {
			text += fmt.Sprintf("2025-03-01 %02d:00,%s\n", i, c.cells(i))
		}
		if got := hasProblem(one(t, "log.csv", text), series.CodeBadCell, 2); got != c.named {
			t.Errorf("%s with %q: named %v, want %v", c.header, c.cells(0), got, c.named)
		}
	}
}

// Watts below one kilowatt and kilowatts above it in one column are one unit.
func TestCellsInTwoUnitsOfOneKind(t *testing.T) {
	text := "Time,Power\n"
	for i := range 24 {
		text += fmt.Sprintf("2025-03-01 %02d:00,%s\n", i, of("1.25 kW", "900 W", "3.5 kW")(i))
	}
	c := one(t, "log.csv", text).column("Power")
	if c.Unit != "kW" || *c.Min != 0.9 || *c.Max != 3.5 {
		t.Errorf("got %g to %g %s; want 0.9 to 3.5 kW", *c.Min, *c.Max, c.Unit)
	}
	text = strings.ReplaceAll(text, "900 W", "900 L")
	if !hasProblem(one(t, "log.csv", text), series.CodeBadCell, 2) {
		t.Error("litres among kilowatts are not named")
	}
}

// A word beside those for off makes states of two words text: which of them is
// "on" is not the file's to say.
func TestStatesInUnknownWords(t *testing.T) {
	text := "Time,Mode\n"
	for i := range 24 {
		text += fmt.Sprintf("2025-03-01 %02d:00,%s\n", i, of("idle", "idle", "idle", "chilling")(i))
	}
	if c := one(t, "log.csv", text).column("Mode"); c.Kind != Text || c.Readings != 24 {
		t.Errorf("got %s with %d readings; want text with 24", c.Kind, c.Readings)
	}
}

// A list of channels above the table says what each measures.
func TestUnitsFromAListOfChannels(t *testing.T) {
	text := "Logger;A-7\nChannel;Name;Unit\n1;Return;°C\n2;Flow;l/min\n\nDate;Time;CH1;CH2\n"
	for i := range 24 {
		text += fmt.Sprintf("18.04.2025;%02d:00:00;%d,5;%d,0\n", i, 40+i%3, 5+i%2)
	}
	got := one(t, "log.csv", text)
	if a, b := got.column("CH1").Unit, got.column("CH2").Unit; a != "°C" || b != "l/min" {
		t.Errorf("got units %q and %q", a, b)
	}
}

func TestUnitsInCyrillic(t *testing.T) {
	text := "Время;Бак, °С;Расход, м³/ч;Мощность, кВт\n"
	for i := range 24 {
		text += fmt.Sprintf("2025-03-01 %02d:00;%d,5;1,%d;2,%d\n", i, 40+i%3, i%7, i%5)
	}
	got := one(t, "log.csv", text)
	for i, class := range []series.Class{series.Temperature, series.Flow, series.Power} {
		if u, ok := series.ParseUnit(got.Columns[i].Unit); !ok || u.Class != class {
			t.Errorf("%s: unit %q", got.Columns[i].Name, got.Columns[i].Unit)
		}
	}
}

// Rows of several things, each when it changed: nothing but their names and
// readings shows that one column holds all of them.
func TestThingsThatReportWhenTheyChange(t *testing.T) {
	text := "name_of_it,state,changed\n"
	for i := range 60 {
		name, state := "vat.upper", fmt.Sprintf("%d.5", 50+i%4)
		switch i % 3 {
		case 1:
			name, state = "yard.pump", of("on", "off")(i/3)
		case 2:
			name, state = "milk.out", fmt.Sprintf("%d.5", 3+i%2)
		}
		text += fmt.Sprintf("%s,%s,2025-03-01T%02d:%02d:%02d+00:00\n", name, state, i/20, i%20*3, 7*i%60)
	}
	got := one(t, "log.csv", text)
	if got.Tags == nil || got.column("vat.upper") == nil || *got.column("milk.out").Max != 4.5 {
		t.Fatalf("got tags %+v", got.Tags)
	}
	// What the yard did is no name of a thing: one temperature stays one.
	text = strings.NewReplacer("vat.upper", "heating", "yard.pump", "resting", "milk.out", "cooling").Replace(text)
	if got := one(t, "log.csv", text); got.Tags != nil {
		t.Errorf("got tags %+v", got.Tags)
	}
}

// Channels and sensors that are called by numbers are told apart like any
// others; the number of the one device is no tag.
func TestNumberedChannels(t *testing.T) {
	turns, blocks, one1 := "Time,Channel,Value\n", "sensor,time,temperature\n", "Time,Channel,Value\n"
	for i := range 40 {
		turns += fmt.Sprintf("2025-03-01 %02d:%02d,%d,%d.5\n", i/20, i%20*3, 1+i%2, 20+30*(i%2))
		blocks += fmt.Sprintf("%d,2025-03-01 00:%02d,%d.5\n", 10230+i/20, i%20*3, 20+30*(i/20))
		one1 += fmt.Sprintf("2025-03-01 %02d:%02d,1,%d.5\n", i/20, i%20*3, 20+i%3)
	}
	for name, c := range map[string]struct{ text, tag, first, second string }{
		"in turns": {turns, "Channel", "1", "2"}, "in blocks": {blocks, "sensor", "10230", "10231"},
	} {
		got := one(t, name+".csv", c.text)
		if got.Tags == nil || got.Tags.Tag != c.tag || *got.column(c.first).Max != 20.5 || *got.column(c.second).Min != 50.5 {
			t.Errorf("%s: tags %+v", name, got.Tags)
		}
	}
	if got := one(t, "one.csv", one1); got.column("Value") == nil {
		t.Errorf("one channel: tags %+v", got.Tags)
	}
}

// A column of units may stand behind its readings, something else between.
func TestUnitColumnBehind(t *testing.T) {
	text := "From,Volume,State,Unit\n"
	for i := range 24 {
		text += fmt.Sprintf("2025-03-01 %02d:00,%d.5,ok,kWh\n", i, 3+i%4)
	}
	if c := one(t, "log.csv", text).column("Volume"); c.Unit != "kWh" {
		t.Errorf("got %q", c.Unit)
	}
}
