package simfarm

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"
)

// Bypass is a stretch of local days in which nothing is recovered: refills go
// past the loop into the tank, the plate's water stands, the condenser gives its
// heat to the air, and the element heats from the cold feed.
type Bypass struct {
	FromDay, Days int
	// Kind "recovery_off" (a test) or "before" (nothing was built yet), and Name as
	// the farm file has them.
	Kind, Name string
}

// Held is [baseline] of the farm file; no Kind = none.
type Held struct {
	Kind      string
	Variables []string
}

func (s *Scenario) validateBypasses() error {
	for _, b := range s.Bypasses {
		if b.FromDay < 0 || b.Days < 1 || b.FromDay+b.Days > s.Days {
			return fmt.Errorf("simfarm: bypass of %d days from day %d; want it within the %d days", b.Days, b.FromDay, s.Days)
		}
	}
	return nil
}

// dayAt is the local midnight at which a day of the season begins, Unix seconds.
func (f *Farm) dayAt(day int) int64 {
	return time.Unix(f.start, 0).In(f.zone).AddDate(0, 0, day).Unix()
}

// bypassed tells whether the recovery is bypassed now.
func (m *sim) bypassed() bool {
	for _, b := range m.off {
		if m.now >= b[0] && m.now < b[1] {
			return true
		}
	}
	return false
}

func (f *Farm) bypassSpans() [][2]int64 {
	var out [][2]int64
	for _, b := range f.s.Bypasses {
		out = append(out, [2]int64{f.dayAt(b.FromDay), f.dayAt(b.FromDay + b.Days)})
	}
	return out
}

// refillPast lets cold feed into the tank past the loop, whose water stands.
func (m *sim) refillPast(litres float64) {
	inC := m.mainsC + (m.inletC-m.mainsC)*math.Exp(-litres/6)
	m.standStill()
	m.inletC = inC
	kg := litres * rhoAt(inC) / 1000
	m.tank.fillLow(kg, hAt(inC))
	m.f.closure.tankInKJ += kg * hAt(inC)
}

// baselineTables writes the stretches and [baseline].
func (f *Farm) baselineTables(t *toml) {
	for _, b := range f.s.Bypasses {
		t.WriteString("\n[[season]]\n")
		t.text("name", b.Name)
		t.text("kind", b.Kind)
		fmt.Fprintf(t, "from = %s\nto = %s\n", formatLocal(f.dayAt(b.FromDay), f.zone, dayLayout), formatLocal(f.dayAt(b.FromDay+b.Days)-3600, f.zone, dayLayout))
	}
	if h := f.s.Held; h.Kind != "" {
		t.table("baseline")
		t.text("kind", h.Kind)
		if len(h.Variables) > 0 {
			t.WriteString("variables = [")
			for i, v := range h.Variables {
				if i > 0 {
					t.WriteString(", ")
				}
				fmt.Fprintf(t, "%q", v)
			}
			t.WriteString("]\n")
		}
	}
}

// Use is the true electricity from one milking to the next, and the heat in the
// wash water: above 10 °C (to be held against the same farm only), up to
// Wash.HeatToC.
type Use struct {
	Start, End                                  int64 // Unix seconds
	ElementKWh, PumpKWh, CompressorKWh, WashKWh float64
}

// Uses are those of all cycles that end within the season.
func (f *Farm) Uses() []Use {
	var out []Use
	for i := 0; i+1 < len(f.milkings); i++ {
		a, b := f.milkings[i].start, f.milkings[i+1].start
		at := func(s Signal) float64 { return f.signal[s][(b-f.start)/60] - f.signal[s][(a-f.start)/60] }
		out = append(out, Use{a, b, at(ElementKWh), at(PumpS) / 3600 * f.pumpKW, at(CompressorKWh), 0})
	}
	for i, v := range f.wash.litres {
		if c := int(f.wash.cycle[i]); c >= 0 && c < len(out) {
			hot := f.wash.hotC[i]
			out[c].WashKWh += v * rhoAt(hot) / 1000 * (hAt(min(hot, f.s.Wash.HeatToC)) - hAt(10)) / 3600
		}
	}
	return out
}

// WithoutRecovery is the same farm, milk and weather with the recovery bypassed
// from the first day to the last: what would have been used.
func (s Scenario) WithoutRecovery() Scenario {
	s.Bypasses = []Bypass{{0, s.Days, "recovery_off", "all"}}
	return s
}

// OnOff is the farm of Short over 50 to 70 days of which 14 to 24 are without
// recovery: a test in the middle of them, or, of every other farm, its first days,
// before it was built. The element can heat a whole tank from cold. The outdoor
// temperature is logged too.
func OnOff(seed uint64) Scenario {
	s := Short(seed)
	r := rand.New(rand.NewPCG(seed, 0x0f0f))
	s.Days = 50 + r.IntN(21)
	b := Bypass{Days: 14 + r.IntN(11), Kind: "before", Name: "before"}
	if seed%2 == 0 {
		b.FromDay, b.Kind, b.Name = 6+r.IntN(18), "recovery_off", "switched off"
	}
	s.Bypasses, s.Held.Kind = []Bypass{b}, b.Kind
	s.Tank.ElementKW *= 2.2
	s.Tank.ElementKW = math.Ceil(s.Tank.ElementKW)
	s.Errors = append(s.Errors, Stated{Key: "air_temp", Half: 0.5})
	l := &s.Loggers[len(s.Loggers)-1]
	l.Columns = append(l.Columns, Column{Header: "Outdoor", Unit: "°C", Quantity: "outdoor_temp", Signal: Outdoor, Decimals: 1, Step: 0.1, NoiseK: 0.05})
	return s
}
