package plant

import (
	"math"

	"yardheat/analysis/doubt"
)

// Week is how the plate did over seven days: where scale, a weak pump or the
// refrigerant side show first. NaN = not known.
type Week struct {
	FromMS, ToMS int64
	Cycles       int
	// Effectiveness is (T_out − T_in)/(T_gas,in − T_in) of the plate, weighted
	// by flow.
	Effectiveness float64
	// CaughtPerKWh is heat caught per kWh of compressor electricity.
	CaughtPerKWh float64
	// Recovery is caught over rejected, the gain included.
	Recovery float64
}

// Weeks are the values without errors, by seven local days from the first
// cycle's day on. Sensors' errors are shared by all weeks, so they move all
// alike and a change is seen better than the level.
func Weeks(terms Terms, gainKW float64) []Week {
	var list []Week
	for from := 0; from < len(terms.Rows); {
		last, to := terms.Rows[from].Day-mod(terms.Rows[from].Day-terms.Rows[0].Day, 7)+7, from
		var rows []int
		for ; to < len(terms.Rows) && terms.Rows[to].Day < last; to++ {
			rows = append(rows, to)
		}
		list = append(list, weekOf(terms, rows, gainKW))
		from = to
	}
	return list
}

func weekOf(terms Terms, rows []int, gainKW float64) Week {
	sum := func(parts []doubt.Part) float64 {
		return total(parts, func(p doubt.Part) float64 {
			s := 0.0
			for _, r := range rows {
				s += p.Value(r)
			}
			return s
		})
	}
	hours := 0.0
	for _, r := range rows {
		hours += terms.Rows[r].Hours
	}
	caught, compressor := sum(terms.Caught), sum(terms.Compressor)
	return Week{FromMS: terms.Rows[rows[0]].StartMS, ToMS: terms.Rows[rows[len(rows)-1]].EndMS, Cycles: len(rows),
		Effectiveness: ratio(sum(terms.Rise), sum(terms.Drive)),
		CaughtPerKWh:  ratio(caught, compressor),
		Recovery:      ratio(caught, sum(terms.Milk)+compressor+gainKW*hours)}
}

func ratio(a, b float64) float64 {
	if !(b > 0) {
		return math.NaN()
	}
	return a / b
}

func mod(a, n int) int { return ((a % n) + n) % n }
