package simfarm

import (
	"math"
	"testing"
)

// Without recovery the element's electricity is what the wash water takes and
// the tank loses; with it less; milk and weather are the same.
func TestBypass(t *testing.T) {
	s := Short(4)
	s.Days, s.Loop.Cells = 12, 40
	s.Tank.ElementKW *= 2.2
	s.Bypasses = []Bypass{{FromDay: 4, Days: 4, Kind: "recovery_off", Name: "off"}}
	part, err := Run(s)
	if err != nil {
		t.Fatal(err)
	}
	without, err := Run(s.WithoutRecovery())
	if err != nil {
		t.Fatal(err)
	}
	c := without.closure
	if c.plateKJ != 0 || c.loopBookedKJ != 0 || len(without.plate.step) != 0 {
		t.Errorf("heat recovered in a bypass: %g, %g kJ", c.plateKJ, c.loopBookedKJ)
	}
	balance := c.tankInKJ + c.elementKJ - c.tankOutKJ - c.tankLossKJ - c.tankStoredKJ
	if math.Abs(balance) > 1e-6*c.elementKJ {
		t.Errorf("tank off by %g of %g kJ", balance, c.elementKJ)
	}
	a, b := part.Uses(), without.Uses()
	if len(a) != len(b) {
		t.Fatalf("%d and %d cycles", len(a), len(b))
	}
	for i := range a {
		if a[i].Start != b[i].Start {
			t.Fatal("not the same milkings")
		}
		day := float64(a[i].Start-part.start) / 86400
		switch off := day > 5 && day < 7.4; {
		case off && math.Abs(a[i].ElementKWh-b[i].ElementKWh) > 0.02*b[i].ElementKWh:
			t.Errorf("day %.1f: %.2f kWh bypassed, %.2f never recovered", day, a[i].ElementKWh, b[i].ElementKWh)
		case (day > 1.5 && day < 3.4 || day > 9) && day < 11 && !(a[i].ElementKWh < 0.85*b[i].ElementKWh):
			t.Errorf("day %.1f: %.2f kWh with recovery, %.2f without", day, a[i].ElementKWh, b[i].ElementKWh)
		}
	}
	s.Bypasses[0].Days = 40
	if _, err := Run(s); err == nil {
		t.Error("a bypass beyond the season is taken")
	}
}
