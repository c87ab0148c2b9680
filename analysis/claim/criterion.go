package claim

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"yardheat/analysis/season"
)

// Criterion and Tested are those of the season, whose report holds the saving
// against ASHRAE Guideline 14 by the same function.
type (
	Criterion = season.Criterion
	Tested    = season.Tested
)

// Guideline14 is the criterion of ASHRAE Guideline 14.
func Guideline14() Criterion { return season.Guideline14() }

// What a criterion comes to.
const (
	Met    = season.Met
	NotMet = season.NotMet
)

func validate(c Criterion) error {
	switch {
	case !(c.Limit > 0 && c.Limit <= mostLimit):
		return fmt.Errorf("criterion %q: the uncertainty is %g %%; want more than 0 and at most %g %%", c.Short(), 100*c.Limit, 100*mostLimit)
	case !(c.Confidence > 0 && c.Confidence <= mostConfidence):
		return fmt.Errorf("criterion %q: the confidence is %g %%; want more than 0 and at most %g %%", c.Short(), 100*c.Confidence, 100*mostConfidence)
	}
	return nil
}

// mostLimit: a wider uncertainty is no criterion.
const mostLimit = 10.0

var criterionForm = regexp.MustCompile(`^±?\s*(\d+(?:[.,]\d+)?)\s*%?\s*(?:at|@)\s*(\d+(?:[.,]\d+)?)\s*%?$`)

// ParseCriterion reads "20% at 90%": an uncertainty of at most 20 % of the
// saving at a confidence of 90 %. Blanks, a leading ± and decimal commas may
// stand in it.
func ParseCriterion(text string) (Criterion, error) {
	m := criterionForm.FindStringSubmatch(strings.TrimSpace(strings.Join(strings.Fields(text), " ")))
	if m == nil {
		return Criterion{}, fmt.Errorf("%q: want an uncertainty and a confidence, such as \"20%% at 90%%\"", text)
	}
	c := Criterion{}
	for i, dst := range []*float64{&c.Limit, &c.Confidence} {
		v, err := strconv.ParseFloat(strings.Replace(m[i+1], ",", ".", 1), 64)
		if err != nil {
			return Criterion{}, fmt.Errorf("%q: %q is no number", text, m[i+1])
		}
		*dst = v / 100
	}
	c.Name = "own criterion"
	if err := validate(c); err != nil {
		return Criterion{}, err
	}
	return c, nil
}
