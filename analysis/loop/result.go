package loop

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Draw is one refill through the loop.
type Draw struct {
	FromS, ToS float64
	Litres     float64
	// LoopVolumes is Litres over the thermal volume as built.
	LoopVolumes float64
	// InC, OutC, BedC: means over the readings once flushed, by litres.
	InC, OutC, BedC float64
	// Effectiveness (T_out - T_in)/(T_bed + b - T_in) of those means.
	Effectiveness float64
	// ApproachK is T_bed - T_out over water that had soaked; NaN: none had.
	ApproachK float64
	// RMSEK of model against reading over the fitted rows.
	RMSEK float64
	// Rows fitted; Used is false where there are none, and Why then says so.
	Rows int
	Used bool
	Why  string
	// Block is the block of days that the draw belongs to, -1 if none.
	Block int
}

// Source is a shared error that moves UA.
type Source struct {
	Name string // SourceIn …
	// SD is its standard deviation (K; relative for flow and volume; s for the
	// lag) and LnUA the derivative of ln UA with respect to it: what the
	// corrected record would give, if the reading is truth + error.
	SD, LnUA float64
	// Theta: the same for the parameters of Fit.Free.
	Theta []float64
}

// The shared errors.
const (
	SourceIn     = "in"
	SourceOut    = "out"
	SourceBed    = "bed"
	SourceFlow   = "flow"
	SourceVolume = "volume"
	SourceLag    = "lag"
	SourceFront  = "front"
)

// Block is a block of whole days: the fit's normal equations over its rows, at
// the fit, for the parameters of Fit.Free and in units of variance.
type Block struct {
	FirstDay int // days since Input.DayZeroS
	Draws    int
	JTJ      *mat.SymDense
	JTr      []float64
}

// Window is UA over some weeks, one step from the season's fit, with ln k and b
// free and the rest held.
type Window struct {
	FromS, ToS                   float64
	UAWPerK, LowWPerK, HighWPerK float64
	OffsetK                      float64
	Draws                        int
}

// ProfilePoint: the least sum of squares (in units of variance, over its
// minimum) at this UA. Only a fit whose UA is not identified has them.
type ProfilePoint struct{ UAWPerK, Rise float64 }

// Fit is all that is known of the loop. Without a fit the numbers are NaN and
// Why says the reason.
type Fit struct {
	Params
	Built Built
	// UAWPerK = k C, C = C_built (1 + w (r - 1)); Low and High the interval
	// with shared errors as given in Options, NaN where there is none.
	UAWPerK, LowWPerK, HighWPerK float64
	// LowerBoundWPerK, where the logs bound UA from below only; else NaN.
	LowerBoundWPerK float64
	TimeConstantH   float64
	RMSEK           float64
	// Identified: both ends of the interval within 25 % of the value.
	Identified bool
	// Why not, in words, with the measurement that would settle it.
	Why string

	// Free names the fitted parameters: "ln_k", "offset", "ln_r", "front",
	// "still", "depletion", "bed_lag", "lead_loss"; Theta their values; Covariance from blocks of days and priors,
	// without shared errors (nil: too few blocks).
	Free       []string
	Theta      []float64
	Covariance *mat.SymDense
	// OffsetSDK, RatioSD and the rest as standard deviations, shared errors
	// included; NaN if not known.
	OffsetSDK, RatioSD float64
	// RandomSD is the part of ln UA's standard deviation that comes from days,
	// with DF degrees of freedom (Student); Sources hold the shared part.
	RandomSD float64
	DF       float64
	Sources  []Source

	// RatioFree: the volume ratio was fitted; RatioFinding: and lies outside
	// what meter, length, bore and wall leave open.
	RatioFree, RatioFinding bool
	// VolumeWeight w: the share of r - 1 that is put down to the volume.
	VolumeWeight float64

	DrawsUsed int
	Rows      int
	// TellsWithin: the half-width of ln UA that the draws would leave if each were
	// one reading and the model off by Options.MisfitK in it.
	TellsWithin   float64
	LitresLeftOut float64
	BlockDays     int
	Blocks        []Block
	Draws         []Draw
	Windows       []Window
	Profile       []ProfilePoint
	// Status of the last fit, in words.
	Status string
	// inverse of J'J plus priors.
	inverse *mat.SymDense
	free    []int
	deff    float64
	// prior is the priors' precision (diagonal).
	prior []float64
	// input and fitter serve a Predictor.
	input  *Input
	fitter *fitter
	// lnUA is the gradient of ln UA over Theta.
	lnUA []float64
}

// none is a Fit that says why there is no number.
func none(why string) *Fit {
	nan := math.NaN()
	return &Fit{
		Params:  Params{nan, nan, nan, nan, nan, nan, nan, nan, nan, nan},
		UAWPerK: nan, LowWPerK: nan, HighWPerK: nan, LowerBoundWPerK: nan, TimeConstantH: nan, RMSEK: nan,
		OffsetSDK: nan, RatioSD: nan, RandomSD: nan, DF: nan, Why: why,
	}
}

// Errors is one trial's shared errors: reading minus truth (K), relative for
// flow and volume, seconds for the lag, the front's skewness.
type Errors struct{ InK, OutK, BedK, Flow, Volume, LagS, Skew float64 }

func (e Errors) of(name string) float64 {
	switch name {
	case SourceIn:
		return e.InK
	case SourceOut:
		return e.OutK
	case SourceBed:
		return e.BedK
	case SourceFlow:
		return e.Flow
	case SourceVolume:
		return e.Volume
	case SourceFront:
		return e.Skew
	}
	return e.LagS
}

// LnUA is one Monte Carlo trial: ln UA of the record corrected for e, moved by
// student standard deviations of the days (a draw from Student's t with DF
// degrees of freedom). One Gauss-Newton step, linear in both.
func (f *Fit) LnUA(e Errors, student float64) float64 {
	v := math.Log(f.UAWPerK) + student*f.RandomSD
	for _, s := range f.Sources {
		v += s.LnUA * e.of(s.Name)
	}
	return v
}

// Resample is one Gauss-Newton step from the fit for blocks drawn count[i]
// times each (nil: all once) and shared errors e: the parameters of Free.
func (f *Fit) Resample(count []int, e Errors) []float64 {
	n := len(f.Theta)
	out := append([]float64(nil), f.Theta...)
	if count != nil && len(count) == len(f.Blocks) {
		a, g := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
		for i, v := range f.prior {
			a.SetSym(i, i, v)
		}
		for i, b := range f.Blocks {
			c := mat.NewSymDense(n, nil)
			c.ScaleSym(float64(count[i]), b.JTJ)
			a.AddSym(a, c)
			// The priors' pull at the fit balances the sum of all blocks.
			g.AddScaledVec(g, float64(count[i]-1), mat.NewVecDense(n, b.JTr))
		}
		var c mat.Cholesky
		var x mat.VecDense
		if c.Factorize(a) && c.SolveVecTo(&x, g) == nil {
			for i := range out {
				out[i] -= x.AtVec(i)
			}
		}
	}
	for _, s := range f.Sources {
		for i := range out {
			out[i] += s.Theta[i] * e.of(s.Name)
		}
	}
	return out
}

// LnUAOf turns parameters of Free (from Resample) and the same trial's errors
// of flow and volume into ln UA.
func (f *Fit) LnUAOf(theta []float64, e Errors) float64 {
	v := math.Log(f.UAWPerK)
	for i := range theta {
		v += f.lnUA[i] * (theta[i] - f.Theta[i])
	}
	for _, s := range f.Sources {
		direct := s.LnUA
		for i := range s.Theta {
			direct -= f.lnUA[i] * s.Theta[i]
		}
		v += direct * e.of(s.Name)
	}
	return v
}
