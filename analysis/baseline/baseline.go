// Package baseline fits the energy that a farm used in a stretch of days against
// what it did with it (milk, cold feed, heat delivered), and says what it would
// have used on other days, and how sure that is. Pure statistics: rows of numbers
// in, a model out; where they come from, and which meter erred, is the season's.
//
// The model is ordinary least squares, y = X b, a row a day. The days' residuals
// are taken to be related as those of a first-order autoregression, whose ρ they
// tell as well as they can; every covariance is exact for that, summed over the
// very days that a total is of. R² is given and decides nothing: whether a model serves is
// told by the interval of what it is used for.
//
// Conventions: y in any unit of energy a day; days are whole numbers that rise by
// one a day; an interval is two-sided at Options.Confidence.
package baseline

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"yardheat/analysis/doubt"
	"yardheat/analysis/solve"
)

// Rows are the days of a stretch.
type Rows struct {
	// Names of the columns of X, for messages.
	Names []string
	// Day numbers, ascending, one a row.
	Day []int
	// Y is the energy, X one value a column.
	Y []float64
	X [][]float64
	// Constant is the column that is a day's length (1, or nearly); −1 = none. It
	// has no range of its own, and the others' values are per unit of it.
	Constant int
}

// Options of a fit.
type Options struct {
	// LeastDays a model is made from, and LeastPerTerm for each coefficient; with
	// fewer there is no number (our choice: an on/off test of a week or two).
	LeastDays, LeastPerTerm int
	// MostRho: neighbouring days correlate by no more than this; 0 = days are taken as
	// independent, whatever they show.
	MostRho float64
	// LeastSpread: a variable that moves by less than this share of its mean, from
	// its lowest to its highest, can't be told from the constant; nor can one of
	// which more than MostShared of the variance goes with the others (R²).
	LeastSpread, MostShared float64
	// Confidence of intervals.
	Confidence float64
}

// DefaultOptions are the project's.
func DefaultOptions() Options {
	return Options{LeastDays: 10, LeastPerTerm: 4, MostRho: 0.95, LeastSpread: 0.02, MostShared: 0.995, Confidence: doubt.Confidence}
}

// Validate names the first option that cannot be used.
func (o Options) Validate() error {
	switch {
	case o.LeastDays < 3 || o.LeastDays > 1000:
		return fmt.Errorf("baseline: option LeastDays is %d; want 3 to 1000", o.LeastDays)
	case o.LeastPerTerm < 2 || o.LeastPerTerm > 100:
		return fmt.Errorf("baseline: option LeastPerTerm is %d; want 2 to 100", o.LeastPerTerm)
	case !(o.MostRho >= 0 && o.MostRho <= 0.99):
		return fmt.Errorf("baseline: option MostRho is %g; want 0 to 0.99", o.MostRho)
	case !(o.LeastSpread >= 0 && o.LeastSpread <= 1):
		return fmt.Errorf("baseline: option LeastSpread is %g; want 0 to 1", o.LeastSpread)
	case !(o.MostShared > 0 && o.MostShared <= 1):
		return fmt.Errorf("baseline: option MostShared is %g; want more than 0, at most 1", o.MostShared)
	case !(o.Confidence > 0 && o.Confidence < 1):
		return fmt.Errorf("baseline: option Confidence is %g; want more than 0, less than 1", o.Confidence)
	}
	return nil
}

// Model is the fit.
type Model struct {
	Rows
	// Coef and SD, one a column; SD allows for related days.
	Coef, SD []float64
	N        int
	MeanY    float64
	// RMSE = √(RSS/(n − p)); CVRMSE = RMSE/ȳ; NMBE = Σ(y − ŷ)/((n − p) ȳ), measured
	// less predicted (ASHRAE Guideline 14); R2 about the mean.
	RMSE, CVRMSE, NMBE, R2 float64
	// Lag1 is the residuals' correlation between neighbouring days; Rho the mean of the
	// ρ that these days allow (see related), which the fit itself hides a part of.
	Lag1, Rho float64
	// NEffective = n (1 − ρ)/(1 + ρ) with Rho; DF = n − p, T Student's for it.
	NEffective, DF, T float64
	// Ranges of the variables in the stretch, per unit of the constant.
	Ranges []Range

	inverse    *mat.SymDense // (X'X)^-1
	at         []alike
	confidence float64
}

// Range is what a variable did in the stretch.
type Range struct{ Low, Mean, High float64 }

// Fit makes the model. why, if not empty, says why there is none.
func Fit(rows Rows, opt Options) (m *Model, why string) {
	n, p := len(rows.Y), len(rows.Names)
	if least := max(opt.LeastDays, opt.LeastPerTerm*p, p+2); n < least {
		return nil, fmt.Sprintf("%d days can be used, and %d are needed for %s", n, least, terms(p))
	}
	m = &Model{Rows: rows, N: n}
	if why := m.spread(opt); why != "" {
		return nil, why
	}
	x := mat.NewDense(n, p, nil)
	for i := range rows.X {
		x.SetRow(i, rows.X[i])
	}
	line, err := solve.Linear(x, rows.Y)
	if err != nil {
		return nil, "the variables can't be told apart in these days"
	}
	m.Coef, m.inverse = line.Coef, line.Inverse
	m.quality(line.RSS)
	m.related(x, line.RSS, opt)
	m.DF, m.confidence = float64(n-p), opt.Confidence
	m.T = doubt.StudentT((1+opt.Confidence)/2, m.DF)
	return m, ""
}

func terms(p int) string {
	if p == 1 {
		return "one coefficient"
	}
	return fmt.Sprintf("%d coefficients", p)
}

// quality fills in what is said of a fit.
func (m *Model) quality(rss float64) {
	var sum, about, bias float64
	for _, y := range m.Y {
		sum += y
	}
	m.MeanY = sum / float64(m.N)
	for i, y := range m.Y {
		about += (y - m.MeanY) * (y - m.MeanY)
		bias += y - m.Mean(m.X[i])
	}
	free := float64(m.N - len(m.Coef))
	m.RMSE = math.Sqrt(rss / free)
	m.CVRMSE, m.NMBE, m.R2 = m.RMSE/m.MeanY, bias/(free*m.MeanY), 1-rss/about
}

// Mean is what the model expects of a day, X b.
func (m *Model) Mean(x []float64) float64 {
	sum := 0.0
	for j, b := range m.Coef {
		sum += b * x[j]
	}
	return sum
}

// Residuals are measured less expected, one a day.
func (m *Model) Residuals() []float64 {
	out := make([]float64, m.N)
	for i, y := range m.Y {
		out[i] = y - m.Mean(m.X[i])
	}
	return out
}
