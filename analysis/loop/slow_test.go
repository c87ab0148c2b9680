package loop

import "testing"

// tenMinutes is the same farm as a ten-minute log lays it on a grid of one
// minute: temperatures straight between instants, litres spread evenly.
func tenMinutes(in Input) Input {
	n := len(in.T) / 10 * 10
	flow := make([]float64, n)
	thin := func(c []float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			a := i / 10 * 10
			b := min(a+10, n-1)
			out[i] = c[a] + (c[b]-c[a])*float64(i-a)/10
		}
		return out
	}
	for i := range flow {
		sum := 0.0
		for j := i / 10 * 10; j < i/10*10+10; j++ {
			if j < len(in.Flow0) {
				sum += in.Flow0[j]
			}
		}
		flow[i] = sum / 10
	}
	slow := FromCells(60, flow, thin(in.InC), thin(in.OutC), thin(in.BedC))
	slow.Pipe, slow.LeadL, slow.EdgeS = in.Pipe, in.LeadL, 600
	return slow
}

// A ten-minute log of draws of an hour still tells the coefficient, if less
// sharply.
func TestSlowLog(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes under the race detector")
	}
	y := defaultYard(51)
	y.drawLMin = 6
	fit := mustRun(t, tenMinutes(y.record()), DefaultOptions())
	t.Logf("true %.1f, fit %.1f (%.1f to %.1f), r %.3f, identified %v %s", y.uaWPerK(), fit.UAWPerK, fit.LowWPerK, fit.HighWPerK, fit.VolumeRatio, fit.Identified, fit.Why)
	if !(fit.LowWPerK <= y.uaWPerK() && y.uaWPerK() <= fit.HighWPerK) {
		t.Errorf("%.1f to %.1f misses %.1f", fit.LowWPerK, fit.HighWPerK, y.uaWPerK())
	}
	near(t, y.uaWPerK(), fit.UAWPerK, 0.08*y.uaWPerK(), "UA")
}
