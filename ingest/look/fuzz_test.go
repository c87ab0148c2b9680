package look

import "testing"

// Whatever the bytes: no panic, and every row of a table is either a reading
// or missing in each column of readings.
func FuzzBytes(f *testing.F) {
	for _, s := range []string{"time;T (°C)\n2026-01-05 10:00;12,5\n2026-01-05 10:10;--\n", "ts,tag,value\n1767607200,a,1\n1767607200,b,2\n1767607800,a,85\n1767607800,b,-127\n",
		"#,Date,x\n1,03/04/2026,1.234\n2,04/04/2026,\n", "ts,tag,value\n1767607200,a,1\n1767607200,b,2\n17676070.,00000\n000000000000000000", "2026-01-05 10:00|on|3 °C\n2026-01-05 10:01|off|4 °C\n", "\xff\xfet\x00;\x00"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		tables, err := Bytes("fuzz.csv", b, Options{})
		if err != nil {
			return
		}
		for i := range tables {
			d := &tables[i]
			if d.Rows > 0 && d.First == "" && len(d.Problems) == 0 {
				t.Fatalf("%d rows without a span", d.Rows)
			}
			for _, c := range d.Columns {
				if c.Kind != Event && !c.Tag && d.Rows > 0 && c.Readings+c.Missing != d.Rows {
					t.Fatalf("%q (%s): %d readings and %d missing of %d rows", c.Name, c.Kind, c.Readings, c.Missing, d.Rows)
				}
				if (c.Min == nil) != (c.Max == nil) || c.Min != nil && *c.Min > *c.Max {
					t.Fatalf("%q: range", c.Name)
				}
			}
		}
	})
}
