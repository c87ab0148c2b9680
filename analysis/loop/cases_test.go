package loop

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

const checks = "../../testdata/check-values/loop/"

// wave is a + b t_h + c sin(2 pi t_h/P + phi), t_h = t_s/3600.
type wave struct{ A, B, C, P, Phi float64 }

func (w wave) at(tS float64) float64 {
	h := tS / 3600
	return w.A + w.B*h + w.C*math.Sin(2*math.Pi*h/w.P+w.Phi)
}

// refCase is one case of loop_cases.json: the inputs in closed form.
type refCase struct {
	Case    string
	VL      float64      `json:"V_L"`
	KPerH   string       `json:"k_per_h"`
	Flow    [][4]float64 `json:"flow_L_min"`
	Bed     wave         `json:"T_bed"`
	In      wave         `json:"T_in"`
	Initial []any
	Jumps   []string `json:"jump_or_kink_times_s"`
}

func readCases(t testing.TB) []refCase {
	t.Helper()
	raw, err := os.ReadFile(checks + "loop_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var all struct{ Cases []refCase }
	if err := json.Unmarshal(raw, &all); err != nil {
		t.Fatal(err)
	}
	if len(all.Cases) != 6 {
		t.Fatalf("%d cases", len(all.Cases))
	}
	return all.Cases
}

// expected reads the outlet temperatures of a case: second → degC.
func expected(t testing.TB, name string) map[float64]float64 {
	t.Helper()
	f, err := os.Open(checks + name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[float64]float64{}
	for _, c := range rows[1:] {
		out[float(t, c[0])] = float(t, c[2])
	}
	return out
}

func float(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// initial is the water in the pipe at t = 0, x = 0 inlet to 1 outlet.
func (c refCase) initial(x, kPerH float64) float64 {
	n := func(i int) float64 { return c.Initial[i].(float64) }
	if c.Initial[0] == "uniform" {
		return n(1)
	}
	q0, in, bed := n(1), n(2), n(3)
	return bed + (in-bed)*math.Exp(-kPerH/60*x*c.VL/q0)
}

// filling is how long the water of t = 0 takes to be put in: no time at all.
const filling = 1e-6

// input makes the record of a case at 60 s and at every change of flow,
// through the still hours too. With filled, the water in the pipe at t = 0
// enters within a microsecond before it (a real farm never knows it).
func (c refCase) input(t testing.TB, outC map[float64]float64, filled bool) Input {
	in := Input{Pipe: pipeOf(c.VL)}
	add := func(tS, inC float64) {
		out, ok := outC[tS]
		if !ok {
			out = math.NaN()
		}
		in.T, in.InC, in.OutC, in.BedC = append(in.T, tS), append(in.InC, inC), append(in.OutC, out), append(in.BedC, c.Bed.at(tS))
	}
	if filled {
		const n = 4000
		for i := range n {
			x := 1 - float64(i)/n
			add(-filling*x, c.initial(x, float(t, c.KPerH)))
			in.Flow0 = append(in.Flow0, c.VL/filling*60)
		}
		in.Flow1 = append(in.Flow1, in.Flow0...)
	}
	for tS := 0.0; tS <= c.Flow[len(c.Flow)-1][1]; tS += 60 {
		inC := c.In.at(tS)
		add(tS, inC)
		q0, q1 := c.flow(tS)
		in.Flow0, in.Flow1 = append(in.Flow0, q0), append(in.Flow1, q1)
	}
	n := len(in.T) - 1
	in.Flow0, in.Flow1 = in.Flow0[:n], in.Flow1[:n]
	return in
}

// flow at the ends of the minute from tS.
func (c refCase) flow(tS float64) (q0, q1 float64) {
	for _, r := range c.Flow {
		if tS >= r[0] && tS < r[1] {
			slope := (r[3] - r[2]) / (r[1] - r[0])
			return r[2] + slope*(tS-r[0]), r[2] + slope*(tS+60-r[0])
		}
	}
	return 0, 0
}

// pipeOf has a thermal volume of volumeL, so that r = 1 means V_th = volumeL:
// the wall's share is what the pipe's own comment says.
func pipeOf(volumeL float64) Pipe {
	const bore = 26.0
	inner := volumeL / (1 + assumedBeta)
	return Pipe{LengthM: inner * 1000 / (math.Pi / 4 * bore * bore), BoreMM: bore}
}

// bare is the model of the reference cases: no lag, no front, no film.
func bare() Options {
	o := DefaultOptions()
	o.LagS, o.InletLagS, o.FrontShare, o.StillMean, o.StillStepS = 0, 0, 0, 1, 0
	o.StiffWall = true
	o.HoldStill, o.HoldFront, o.HoldDepletion, o.HoldBedLag = true, true, true, true
	return o
}

// jumpsNear: one sample at each listed jump is left out.
func (c refCase) atJump(t testing.TB, tS float64) bool {
	for _, j := range c.Jumps {
		if math.Abs(float(t, j)-tS) < 1e-6 {
			return true
		}
	}
	return false
}

// Outlet temperatures computed with 50 digits in closed form (README of the
// cases); ours take the bed as straight over a minute, worth 7e-6 K.
func TestSixCasesOutlet(t *testing.T) {
	for _, c := range readCases(t) {
		want := expected(t, c.Case)
		in := c.input(t, want, true)
		got, err := Predict(in, Params{KPerH: float(t, c.KPerH), VolumeRatio: 1, Still: 1}, bare())
		if err != nil {
			t.Fatal(err)
		}
		worst, n := 0.0, 0
		for i, tS := range in.T {
			w, ok := want[tS]
			if !ok || c.atJump(t, tS) || tS < 0 {
				continue
			}
			n++
			if d := math.Abs(got[i] - w); !(d <= worst) {
				worst = d
			}
		}
		t.Logf("%-26s %3d samples, worst %.2g K", c.Case, n, worst)
		if n < 39 || !(worst < 1e-3) {
			t.Errorf("%s: %d samples, worst %g K", c.Case, n, worst)
		}
	}
}

// dropJumps takes the readings at the listed jumps out.
func (c refCase) dropJumps(t testing.TB, in *Input) {
	for i, tS := range in.T {
		if c.atJump(t, tS) {
			in.OutC[i] = math.NaN()
		}
	}
}

// k alone, from a start far off, on noise-free data.
func TestSixCasesK(t *testing.T) {
	for _, c := range readCases(t) {
		in := c.input(t, expected(t, c.Case), true)
		c.dropJumps(t, &in)
		o := bare()
		o.HoldOffset, o.HoldRatio, o.HoldLag = true, true, true
		fit, err := Run(in, o)
		if err != nil {
			t.Fatal(err)
		}
		rel := fit.KPerH/float(t, c.KPerH) - 1
		t.Logf("%-26s k %.9f/h, rel %.2g, %d rows, rmse %.2g K", c.Case, fit.KPerH, rel, fit.Rows, fit.RMSEK)
		if !(math.Abs(rel) < 1e-5) {
			t.Errorf("%s: k off by %g", c.Case, rel)
		}
	}
}

// Cases 5 and 6 with offset and ratio free and the first water unknown.
func TestCasesFree(t *testing.T) {
	for _, c := range readCases(t)[4:] {
		in := c.input(t, expected(t, c.Case), false)
		c.dropJumps(t, &in)
		o := bare()
		o.FreeRatio, o.HoldLag = true, true
		fit, err := Run(in, o)
		if err != nil {
			t.Fatal(err)
		}
		rel := fit.KPerH/float(t, c.KPerH) - 1
		t.Logf("%-20s k rel %.2g, offset %.2g K, ratio %.7f, free %v, %d rows", c.Case, rel, fit.OffsetK, fit.VolumeRatio, fit.Free, fit.Rows)
		if !(math.Abs(rel) < 1e-3) || !(math.Abs(fit.OffsetK) < 0.05) || !(math.Abs(fit.VolumeRatio-1) < 1e-3) {
			t.Errorf("%s: k off by %g, offset %g, ratio %g", c.Case, rel, fit.OffsetK, fit.VolumeRatio)
		}
	}
}

// Cases 2 and 3 hold nothing but water that was there before: they tell
// nothing, with the defaults and with that water known.
func TestCasesNotIdentified(t *testing.T) {
	for _, c := range readCases(t)[1:3] {
		for _, filled := range []bool{false, true} {
			in := c.input(t, expected(t, c.Case), filled)
			for _, o := range []Options{DefaultOptions(), bare()} {
				o.FreeRatio = true
				fit, err := Run(in, o)
				if err != nil {
					t.Fatal(err)
				}
				if fit.Identified || fit.Why == "" || !math.IsNaN(fit.LowWPerK) {
					t.Errorf("%s: identified %v, why %q, low %g", c.Case, fit.Identified, fit.Why, fit.LowWPerK)
				}
				if !filled && (fit.Rows != 0 || !math.IsNaN(fit.UAWPerK)) {
					t.Errorf("%s: %d rows from unknown water, UA %g", c.Case, fit.Rows, fit.UAWPerK)
				}
			}
		}
	}
}
