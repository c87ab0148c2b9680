package look

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/table"
)

// lookAt describes an invented export.
func lookAt(t *testing.T, name, text string, opt Options) []Table {
	t.Helper()
	tables, err := Bytes(name, []byte(text), opt)
	require.NoError(t, err)
	return tables
}

func one(t *testing.T, name, text string) *Table {
	t.Helper()
	tables := lookAt(t, name, text, Options{})
	require.Len(t, tables, 1)
	return &tables[0]
}

func (t *Table) column(name string) *Column {
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return &t.Columns[i]
		}
	}
	return &Column{Name: "no such column"}
}

func (t *Table) unsureOf(key string) *Doubt {
	for i := range t.Unsure {
		if t.Unsure[i].About == key {
			return &t.Unsure[i]
		}
	}
	return nil
}

// table10 writes n rows ten minutes apart from 2026-01-05 10:00, with cells by
// row.
func table10(header, layout, sep string, n int, cells func(i int) string) string {
	var b strings.Builder
	if header != "" {
		b.WriteString(header + "\n")
	}
	at := time.Date(2026, 1, 5, 10, 0, 0, 0, time.UTC)
	for i := range n {
		b.WriteString(at.Add(time.Duration(i)*10*time.Minute).Format(layout) + sep + cells(i) + "\n")
	}
	return b.String()
}

const iso = "2006-01-02 15:04:05"

func TestSpanAndSteps(t *testing.T) {
	for _, c := range []struct {
		name, text          string
		rows                int
		first, last         string
		intervalS           float64
		gaps, doubles, back int
		newestFirst         bool
		zone                string
	}{
		{"even", "time,T (°C)\n2026-01-05 10:00,1.5\n2026-01-05 10:10,1.6\n2026-01-05 10:20,1.7\n2026-01-05 10:30,1.7\n",
			4, "2026-01-05T10:00:00", "2026-01-05T10:30:00", 600, 0, 0, 0, false, ""},
		{"one gap", "time,T (°C)\n2026-01-05 10:00,1.5\n2026-01-05 10:10,1.6\n2026-01-05 10:20,1.7\n2026-01-05 11:30,1.7\n2026-01-05 11:40,1.7\n",
			5, "2026-01-05T10:00:00", "2026-01-05T11:40:00", 600, 1, 0, 0, false, ""},
		{"a stamp twice", "time,T (°C)\n2026-01-05 10:00,1.5\n2026-01-05 10:10,1.6\n2026-01-05 10:10,1.7\n2026-01-05 10:20,1.7\n",
			4, "2026-01-05T10:00:00", "2026-01-05T10:20:00", 600, 0, 1, 0, false, ""},
		{"one row late", "time,T (°C)\n2026-01-05 10:00,1.5\n2026-01-05 10:20,1.6\n2026-01-05 10:10,1.7\n2026-01-05 10:30,1.7\n",
			4, "2026-01-05T10:00:00", "2026-01-05T10:30:00", 600, 0, 0, 1, false, ""},
		{"newest first", "time,T (°C)\n2026-01-05 10:20,1.5\n2026-01-05 10:10,1.6\n2026-01-05 10:00,1.7\n",
			3, "2026-01-05T10:00:00", "2026-01-05T10:20:00", 600, 0, 0, 0, true, ""},
		{"offset in each row", "time,T (°C)\n2026-03-29T01:50:00+01:00,1.5\n2026-03-29T03:00:00+02:00,1.6\n2026-03-29T03:10:00+02:00,1.7\n",
			3, "2026-03-29T01:50:00+01:00", "2026-03-29T03:10:00+02:00", 600, 0, 0, 0, false, "+01:00 to +02:00"},
		{"zone in the header", "time (Europe/Rome),T (°C)\n2026-03-29 01:50,1.5\n2026-03-29 03:00,1.6\n2026-03-29 03:10,1.7\n",
			3, "2026-03-29T01:50:00+01:00", "2026-03-29T03:10:00+02:00", 600, 0, 0, 0, false, "Europe/Rome"},
		// 1767607200 s is 2026-01-05T10:00:00Z (date -u -d @1767607200).
		{"seconds since 1970", "ts,T (°C)\n1767607200,1.5\n1767607800,1.6\n1767608400,1.7\n",
			3, "2026-01-05T10:00:00Z", "2026-01-05T10:20:00Z", 600, 0, 0, 0, false, "UTC"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := one(t, "log.csv", c.text)
			require.Equal(t, []any{c.rows, c.first, c.last, c.intervalS, c.gaps, c.doubles, c.back, c.newestFirst, c.zone},
				[]any{got.Rows, got.First, got.Last, got.IntervalS, got.Gaps, got.Duplicates, got.OutOfOrder, got.NewestFirst, got.Stamp.Zone})
			require.Equal(t, c.zone == "", got.unsureOf("zone") != nil, "an unstated zone is named as unsure")
		})
	}
}

func TestKinds(t *testing.T) {
	rising := func(i int) string { return fmt.Sprint(1000 + i*i) }
	for _, c := range []struct {
		header string
		cell   func(i int) string
		kind   Kind
	}{
		{"Loop out (°C)", func(i int) string { return fmt.Sprintf("%.1f", 30+float64(i%7)/10) }, Instant},
		{"T avg (°C)", func(i int) string { return fmt.Sprintf("%.1f", 30+float64(i%7)/10) }, Mean},
		{"Loop flow (L/min)", func(i int) string { return fmt.Sprintf("%.1f", float64(i%7)) }, Mean},
		{"Wash water (L)", rising, Counter},
		{"Energy (kWh)", rising, Counter},
		{"Energy (kWh)", func(i int) string { return fmt.Sprintf("%.1f", float64(i%3)/10) }, Mean}, // a total per reading
		{"Zählerstand", rising, Counter},
		{"Record", func(i int) string { return fmt.Sprint(i) }, Index},
		{"#", func(i int) string { return fmt.Sprint(990 + i) }, Index}, // passes 999, a code elsewhere
		{"", func(i int) string { return fmt.Sprint(i + 1) }, Index},
		{"Pump", func(i int) string { return fmt.Sprint(i / 5 % 2) }, State},
		{"Ventil", func(i int) string { return []string{"auf", "zu"}[i/5%2] }, State},
		{"Flow (L/min)", func(i int) string { return fmt.Sprint(i / 5 % 2) }, Mean}, // 0 and 1 of a flow are no states
		{"Alarm", func(i int) string { return []string{"", "door"}[i/39] }, Event},
		{"Status", func(i int) string { return []string{"fine", "poor"}[i%2] }, Text},
	} {
		t.Run(c.header, func(t *testing.T) {
			got := one(t, "log.csv", table10("time;"+c.header+";Other (°C)", iso, ";", 40, func(i int) string { return c.cell(i) + ";1.5" }))
			name := c.header
			if name == "" {
				name = "#2"
			}
			require.Equal(t, c.kind, got.column(name).Kind, got.column(name).Because)
		})
	}
}

// Codes and the power-on value are told from readings; the range is over
// readings, and what was left out is said.
func TestRangeLeavesCodesOut(t *testing.T) {
	with := func(odd map[int]string, usual func(i int) string) func(i int) string {
		return func(i int) string {
			if s, ok := odd[i]; ok {
				return s
			}
			return usual(i)
		}
	}
	warm := func(i int) string { return fmt.Sprintf("%.1f", 20+float64(i%10)/2) } // 20 to 24.5
	for _, c := range []struct {
		name, header                      string
		cell                              func(i int) string
		readings, missing, codes, implaus int
		low, high                         float64
		said                              string
	}{
		{"disconnected", "T (°C)", with(map[int]string{5: "-127", 6: "-127.00"}, warm), 38, 2, 2, 0, 20, 24.5, "-127"},
		{"power-on", "T (°C)", with(map[int]string{7: "85"}, warm), 40, 0, 0, 1, 20, 24.5, "power-on"},
		{"power-on, no unit", "T1", with(map[int]string{7: "85"}, warm), 40, 0, 0, 1, 20, 24.5, "power-on"},
		{"an honest 85", "T (°C)", func(i int) string { return fmt.Sprint(80 + i/4) }, 40, 0, 0, 0, 80, 89, ""},
		{"9999 of litres a minute", "Q (L/min)", with(map[int]string{3: "9999"}, warm), 39, 1, 1, 0, 20, 24.5, "9999"},
		{"32767", "#", with(map[int]string{3: "32767"}, warm), 39, 1, 1, 0, 20, 24.5, "32767"},
		{"850 hPa among its like", "p (hPa)", func(i int) string { return fmt.Sprint(845 + i%10) }, 40, 0, 0, 0, 845, 854, ""},
		{"a counter past 9999", "V (L)", func(i int) string { return fmt.Sprint(9980 + i) }, 40, 0, 0, 0, 9980, 10019, ""},
		{"words and blanks", "T (°C)", with(map[int]string{1: "", 2: "---", 3: "n/a"}, warm), 37, 3, 0, 0, 20, 24.5, ""},
		{"no probe reads that", "T (°C)", with(map[int]string{9: "1500.5"}, warm), 40, 0, 0, 1, 20, 24.5, "outside"},
		{"damaged cell", "T (°C)", with(map[int]string{4: "2x.5"}, warm), 39, 1, 0, 0, 20, 24.5, "2x.5"},
		{"°F keeps its own range", "T (°F)", func(i int) string { return fmt.Sprint(500 + i%10) }, 40, 0, 0, 0, 500, 509, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := one(t, "log.csv", table10("time;"+c.header+";Other", iso, ";", 40, func(i int) string { return c.cell(i) + ";1.5" }))
			col := got.Columns[0]
			require.Equal(t, []int{c.readings, c.missing, c.codes, c.implaus}, []int{col.Readings, col.Missing, col.Codes, col.Implausible})
			require.Equal(t, [2]float64{c.low, c.high}, [2]float64{*col.Min, *col.Max})
			said := fmt.Sprint(got.Problems)
			if c.said == "" {
				require.Empty(t, got.Problems)
			} else {
				require.Contains(t, said, c.said)
			}
		})
	}
}

// Headers in the languages whose loggers are met.
func TestGuesses(t *testing.T) {
	for _, c := range []struct{ header, quantity string }{
		{"Loop out [°C]", "loop_out_temp"}, {"loop_in_C temp (°C)", "loop_in_temp"}, {"Cold feed (°C)", "mains_temp"}, {"Kaltwasser °C", "mains_temp"},
		{"Vorlauf Solekreis (°C)", "loop_out_temp"}, {"Température sortie boucle (°C)", "loop_out_temp"}, {"Temp. entrada serpentín (°C)", "loop_in_temp"},
		{"Beet Kompost Mitte (°C)", "bed_temp"}, {"Lettiera nord (°C)", "bed_temp"}, {"Milchtemperatur Ein (°C)", "milk_in_temp"}, {"lait sortie (°C)", "milk_out_temp"},
		{"Ballon haut (°C)", "tank_temp"}, {"Speicher oben (°C)", "tank_temp"}, {"Depósito inferior (°C)", "tank_temp"}, {"Stalltemperatur (°C)", "air_temp"},
		{"Außentemperatur (°C)", "outdoor_temp"}, {"Buitentemperatuur (°C)", "outdoor_temp"}, {"Durchfluss Solekreis (l/h)", "loop_flow"},
		{"Débit boucle (m³/h)", "loop_flow"}, {"Caudal lavado (L/min)", "wash_flow"}, {"Kompressor Leistung (kW)", "compressor_power"},
		{"Heizstab (kWh)", "element_energy"}, {"Scambiatore uscita (°C)", "plate_out_temp"}, {"Saugdruck (bar)", "suction_pressure"},
		{"Eiswasser (°C)", "ice_water_temp"}, {"Wash temp (°C)", "wash_temp"}, {"Waschtemperatur (°C)", "wash_temp"}, {"Waschwasser (L/min)", "wash_flow"}, {"PV Ertrag (kWh)", "solar_energy"}, {"Bezug (kWh)", "grid_import_energy"},
		{"Temp (°C)", ""}, {"Wind (m/s)", ""}, {"Humidity (%)", ""}, {"Dew point (°C)", ""}, {"Variable 7", ""},
	} {
		t.Run(c.header, func(t *testing.T) {
			got := one(t, "log.csv", table10("time;"+c.header+";x", iso, ";", 30, func(i int) string { return fmt.Sprintf("%.1f;1.5", 10+float64(i%9)/2) }))
			require.Equal(t, c.quantity, got.Columns[0].Quantity, got.Columns[0].Because)
			require.NotEmpty(t, got.Columns[0].Because)
		})
	}
}

func TestFileNameSpeaksForBareHeaders(t *testing.T) {
	text := table10("time;in (°C);out (°C)", iso, ";", 20, func(i int) string { return "10.5;30.5" })
	got := one(t, "loop 2026-01.csv", text)
	require.Equal(t, []string{"loop_in_temp", "loop_out_temp"}, []string{got.Columns[0].Quantity, got.Columns[1].Quantity})
	require.Contains(t, got.Columns[0].Because, "file's name")
	require.Empty(t, one(t, "log.csv", text).Columns[0].Quantity)
}

// What the file cannot settle is named with the key that settles it.
func TestUnsure(t *testing.T) {
	for _, c := range []struct {
		name, text, key, settle string
	}{
		{"either way", "time,T (°C)\n03/02/2026 10:00,1.5\n03/02/2026 10:10,1.6\n", "dates", "dates = "},
		{"points put the day first by custom", "time;T (°C)\n03.02.2026 10:00;1,5\n03.02.2026 10:10;1,6\n", "dates", "dates = "},
		{"thousands or decimals", "time;V (L)\n2026-02-03 10:00;1.012\n2026-02-03 10:10;1.013\n2026-02-03 10:20;1.014\n", "decimal", "decimal = "},
		{"comma of thousands or decimals", "time;V (L)\n2026-02-03 10:00;1,012\n2026-02-03 10:10;1,013\n2026-02-03 10:20;1,014\n", "decimal", "decimal = "},
		{"no unit", "time;Loop out\n2026-02-03 10:00;12.5\n2026-02-03 10:10;12.6\n", "log.columns", "unit = "},
		{"start or end", "time;Loop flow (L/min)\n2026-02-03 10:00;12.5\n2026-02-03 10:10;12.6\n", "stamp", "stamp = "},
		{"no zone", "time;T (°C)\n2026-02-03 10:00;12.5\n2026-02-03 10:10;12.6\n", "zone", "zone = "},
		{"two stamps", "time;sent;T (°C)\n2026-02-03 10:00;2026-02-03 11:07;12.5\n2026-02-03 10:10;2026-02-03 11:08;12.6\n", "stamp_columns", "stamp_columns = "},
		{"no header", "2026-02-03 10:00;12.5\n2026-02-03 10:10;12.6\n", "header", "header = 0"},
	} {
		t.Run(c.name, func(t *testing.T) {
			u := one(t, "log.csv", c.text).unsureOf(c.key)
			require.NotNil(t, u)
			require.Contains(t, u.Settle, c.settle)
			require.NotEmpty(t, u.Text)
		})
	}
	// A mark that the range settles: 12 512 °C is no temperature.
	got := one(t, "log.csv", "time;T (°C)\n2026-02-03 10:00;12.512\n2026-02-03 10:10;12.613\n")
	require.Nil(t, got.unsureOf("decimal"))
}

func TestOptionsSettleDoubts(t *testing.T) {
	text := "time,T (°C)\n03/02/2026 10:00,1.5\n03/02/2026 10:10,1.6\n"
	got := lookAt(t, "log.csv", text, Options{Dates: "mdy", Zone: "Europe/Rome"})[0]
	require.Equal(t, "2026-03-02T10:00:00+01:00", got.First)
	require.Nil(t, got.unsureOf("dates"))
	require.Nil(t, got.unsureOf("zone"))
	got = lookAt(t, "log.csv", "time;V (L)\n2026-02-03 10:00;1.012\n2026-02-03 10:10;1.013\n", Options{Table: table.Options{Decimal: ","}})[0]
	require.Equal(t, 1012.0, *got.Columns[0].Min)
	_, err := Bytes("log.csv", []byte(text), Options{Dates: "ydm"})
	require.Error(t, err)
	_, err = Bytes("log.csv", []byte(text), Options{Zone: "Rome"})
	require.Error(t, err)
}

// Rows that only mark an event count as rows and stand outside the timing.
func TestEventRows(t *testing.T) {
	text := "#,time (UTC),T (°C),Door\n1,2026-02-03 09:53:11,,opened here\n"
	for i := range 30 {
		text += fmt.Sprintf("%d,2026-02-03 10:%02d:00,%d.5,\n", i+2, i, 10+i%3)
	}
	text += "32,2026-02-03 10:30:17,,taken out\n"
	got := one(t, "log.csv", text)
	require.Equal(t, 32, got.Rows)
	require.Equal(t, 2, got.EventRows)
	require.Equal(t, "2026-02-03T10:00:00Z", got.First)
	require.Equal(t, "2026-02-03T10:29:00Z", got.Last)
	require.Equal(t, 60.0, got.IntervalS)
	require.Equal(t, Index, got.column("#").Kind)
	require.Equal(t, Event, got.column("Door").Kind)
	require.Equal(t, 2, got.column("Door").Readings)
	require.Equal(t, 2, got.column("T (°C)").Missing)
}

// A long log: each tag is described as a column of its own.
func TestTags(t *testing.T) {
	text := "time;tag;value\n"
	for i := range 40 {
		text += fmt.Sprintf("2026-02-13 %02d:%02d;Loop out (°C);%d,5\n2026-02-13 %02d:%02d;Loop flow (L/min);%d\n", i/6, i%6*10, 30+i%4, i/6, i%6*10, 5+i%2)
	}
	got := one(t, "log.csv", text)
	require.Equal(t, &Tags{Tag: "tag", Value: "value"}, got.Tags)
	require.Zero(t, got.Duplicates)
	require.Equal(t, 600.0, got.IntervalS)
	out, flow := got.column("Loop out (°C)"), got.column("Loop flow (L/min)")
	require.Equal(t, []any{"loop_out_temp", "°C", 40, 30.5, 33.5}, []any{out.Quantity, out.Unit, out.Readings, *out.Min, *out.Max})
	require.Equal(t, []any{"loop_flow", "L/min", 40, 5.0, 6.0}, []any{flow.Quantity, flow.Unit, flow.Readings, *flow.Min, *flow.Max})
}

func TestUnits(t *testing.T) {
	cells := one(t, "log.csv", "time;Loop out\n2026-02-13 10:00;12,5 °C\n2026-02-13 10:10;12,6 °C\n")
	require.Equal(t, "°C", cells.Columns[0].Unit)
	row := one(t, "log.csv", "time;Loop out\n;°F\n2026-02-13 10:00;52,5\n2026-02-13 10:10;52,6\n")
	require.Equal(t, "°F", row.Columns[0].Unit)
	column := one(t, "log.csv", "Date/Time,Unit,Value\n13/02/26 10:00:01,F,52.5\n13/02/26 10:10:01,F,52.625\n")
	require.Equal(t, []any{"°F", "F"}, []any{row.Columns[0].Unit, column.column("Value").Unit})
	above := one(t, "log.csv", "Temp unit: Celsius\nLogger 4\ntime;temperature;dew\n2026-02-13 10:00;12,5;1,5\n2026-02-13 10:10;12,6;1,5\n2026-02-13 10:20;12,6;1,5\n")
	require.Equal(t, []string{"Celsius", ""}, []string{above.column("temperature").Unit, above.column("dew").Unit})
}

// One temperature in two units is seen by its numbers: °F = 1.8 °C + 32.
func TestTwins(t *testing.T) {
	text := table10("", iso, ",", 20, func(i int) string { return fmt.Sprintf("%.2f,%.2f,%d.5", 20+float64(i)/4, 68+0.45*float64(i), i%3) })
	got := one(t, "log.csv", text)
	require.Contains(t, got.column("#2").Because, "in °C")
	require.Contains(t, got.column("#3").Because, "in °F")
	require.Empty(t, got.column("#2").Unit, "a unit is only what the file states")
}

// Where summer time ends a local clock goes back by an hour: evidence of a
// zone, though not of which.
func TestClockChangeIsSeen(t *testing.T) {
	text := "time;T (°C)\n"
	rome, err := time.LoadLocation("Europe/Rome")
	require.NoError(t, err)
	for at := time.Date(2025, 10, 25, 22, 0, 0, 0, time.UTC); at.Before(time.Date(2025, 10, 26, 6, 0, 0, 0, time.UTC)); at = at.Add(10 * time.Minute) {
		text += at.In(rome).Format(iso) + ";1.5\n"
	}
	require.Contains(t, one(t, "log.csv", text).unsureOf("zone").Text, "goes back by an hour at 2025-10-26 02:50")
}

func TestZerosOfAFailedProbe(t *testing.T) {
	text := table10("time;T (°C)", iso, ";", 60, func(i int) string {
		if i >= 30 && i < 45 {
			return "0"
		}
		return "12.5"
	})
	got := one(t, "log.csv", text)
	require.Contains(t, fmt.Sprint(got.Problems), "exactly 0")
	require.Equal(t, 0.0, *got.Columns[0].Min)
}

// A row whose readings are missing in words is a row like the others; a row in
// which only a remark stands marks an event.
func TestMissingWordsMarkNoEvent(t *testing.T) {
	got := one(t, "a.csv", "station,time,temp C,rain\n"+
		"ABC,2026-01-05 10:00,M,T\nABC,2026-01-05 10:10,3.5,0.0\nABC,2026-01-05 10:20,3.6,0.1\nABC,2026-01-05 10:30,3.4,T\nABC,2026-01-05 10:40,M,0.1\n")
	if got.Rows != 5 || got.EventRows != 0 || got.First != "2026-01-05T10:00:00" || got.Last != "2026-01-05T10:40:00" {
		t.Errorf("got %d rows, %d of events, %s to %s", got.Rows, got.EventRows, got.First, got.Last)
	}
}

// Many rows on each date and no time of day: what report refuses is listed.
func TestDatesAloneAreListed(t *testing.T) {
	text := "date,hour ending,kWh\n"
	for i := range 72 {
		text += fmt.Sprintf("2026/1/%d,%d,0.%d\n", 1+i/24, 1+i%24, i%7)
	}
	got := one(t, "a.csv", text)
	for _, p := range got.Problems {
		if strings.Contains(p.Text, "no time of day") {
			return
		}
	}
	t.Errorf("no problem names it: %v", got.Problems)
}
