package table

import (
	"fmt"
	"strings"
	"testing"
)

// readings are rows of so many cells under a header, one an hour.
func readings(header string, cells int) []byte {
	var s strings.Builder
	s.WriteString(header)
	for i := range 12 {
		fmt.Fprintf(&s, "2025-03-01 %02d:00", i)
		for k := range cells {
			fmt.Fprintf(&s, ";%d.%d", 20+i+k, i%9+1)
		}
		s.WriteByte('\n')
	}
	return []byte(s.String())
}

func TestHeadersThatLookLikeOtherThings(t *testing.T) {
	for _, c := range []struct {
		name, header string
		cells        int
		want         string
	}{
		{"codes like dates", "Zeitpunkt;1.8.0 Bezug [kWh];2.8.0 Abgabe [kWh]\n", 2, "Zeitpunkt | 1.8.0 Bezug [kWh] | 2.8.0 Abgabe [kWh]"},
		{"numbers for names", "Time;1;2;3\n", 3, "Time | 1 | 2 | 3"},
		{"numbers behind two words", "Time;Sky;1;2\n", 3, "Time | Sky | 1 | 2"},
		{"depths for names", "Time;20 cm;60 cm;100 cm\n", 3, "Time | 20 cm | 60 cm | 100 cm"},
		{"groups over two columns", ";Vat 1;;Vat 2;\nTime;top;foot;top;foot\n;°C;°C;°C;°C\n", 4, "Time | Vat 1 top | Vat 1 foot | Vat 2 top | Vat 2 foot"},
		{"groups that part nothing", ";Yard;;\nTime;in;out;bed\n", 3, "Time | Yard in | out | bed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := mustRead(t, "log.csv", readings(c.header, c.cells), Options{})[0]
			same(t, "header", c.want, joined(got.Header))
			same(t, "rows", 12, len(got.Rows))
			same(t, "problems", "", codesOf(got.Problems))
		})
	}
}
