package results

import (
	"fmt"

	"yardheat/analysis/claim"
	"yardheat/analysis/season"
)

// ClaimSchema is the first thing in the answer to a claim.
const ClaimSchema = "yardheat-claim/1"

// Claim is a judgement as JSON: the members of its first claim at the top, so
// that a program that asks about one finds them there, and all under claims.
func Claim(s *season.Season, j *claim.Judgement) ([]byte, error) {
	if s == nil || j == nil || len(j.Claims) == 0 {
		return nil, fmt.Errorf("results: no claim to write")
	}
	w := &writer{b: make([]byte, 0, 1<<13)}
	w.open('{')
	w.text("schema", ClaimSchema)
	w.claim(&j.Claims[0])
	w.head(s)
	over := "whole"
	if j.Seen {
		over = "seen"
	}
	w.text("over", over)
	w.number("confidence", j.Confidence)
	w.list("claims", len(j.Claims), func(i int) { w.claim(&j.Claims[i]) })
	w.texts("cannot_say", j.Cannot)
	w.close('}')
	return append(w.b, '\n'), nil
}

func (w *writer) claim(c *claim.Claim) {
	w.text("figure", c.Key)
	w.text("unit", c.Unit)
	w.number("claimed", c.Claimed)
	w.figure("measured", c.Measured)
	w.number("chance_true", c.Chance)
	w.text("verdict", string(c.Verdict))
	w.text("what_would_decide", c.Decide)
	w.number("supported_to", c.SupportedTo)
	w.number("not_supported_above", c.RefutedAbove)
	w.int("trials", c.Trials)
	w.figure("seen", c.Seen)
	w.figure("whole", c.Whole)
	w.list("criteria", len(c.Criteria), func(i int) {
		t := &c.Criteria[i]
		w.text("name", t.Name)
		w.number("limit", t.Limit)
		w.number("confidence", t.Confidence)
		w.number("uncertainty", t.Uncertainty)
		w.number("low", t.Low)
		w.number("high", t.High)
		w.text("result", t.Result)
		if t.Why != "" {
			w.text("why", t.Why)
		}
	})
	w.list("budget", len(c.Parts), func(i int) {
		p := &c.Parts[i]
		w.text("sensor", p.Sensor)
		w.text("kind", p.Kind)
		w.number("share", p.Share)
		w.text("error", p.Error)
		w.bool("assumed", p.Assumed)
	})
}
