package claim

import (
	"fmt"
	"math"

	"yardheat/analysis/season"
	"yardheat/ingest/series"
)

const (
	dayMS = 24 * 3_600_000.0
	// aYear: a shorter period is said to be no year.
	aYearDays = 360
	// fullyCovered: of a period seen by less it is said.
	fullyCovered = 0.995
	// worthSaying: a share of the variance below this goes without saying.
	worthSaying = 0.05
)

// cannot lists what the judgement does not say, for whoever signs it.
func cannot(s *season.Season, j *Judgement) []string {
	var out []string
	if days := float64(s.Period.End-s.Period.Start) / dayMS; days < aYearDays {
		out = append(out, fmt.Sprintf("What a year saves: the record judged here spans %.0f days, and the criterion of ASHRAE Guideline 14 speaks of annual savings.", days))
	}
	if j.ByDays {
		out = append(out, "What would have happened without the recovery: it is told from days without it, by a model that knows its variables only and not what else was different.")
	} else {
		out = append(out, "What would have happened without the recovery: the alternative, its efficiency and its prices are stated, not measured.")
	}
	seen, assumed := 1.0, 0.0
	for _, c := range j.Claims {
		if !math.IsNaN(c.Measured.Value) {
			seen, assumed = min(seen, c.Measured.Coverage), max(assumed, c.Assumed)
		}
	}
	switch {
	case j.ByDays && j.Seen:
		out = append(out, fmt.Sprintf("What was saved in the %s of the period that is not reported on (the days without recovery, those beside them, and what was not seen): the claim is held against the days reported on alone, and for the whole period nothing is estimated.", Percent(1-seen)))
	case seen < fullyCovered && j.Seen:
		out = append(out, fmt.Sprintf("What was saved in the %s of the period that was not seen: the claim is held against the rest alone.", Percent(1-seen)))
	case seen < fullyCovered:
		out = append(out, fmt.Sprintf("What happened in the %s of the period that was not seen: it is estimated from the rest, and the interval is wider for it.", Percent(1-seen)))
	}
	if assumed > worthSaying {
		out = append(out, fmt.Sprintf("Whether the instruments are as good as assumed: %s of the variance rests on errors that nobody stated.", Percent(assumed)))
	}
	doubts := 0
	for _, p := range s.Problems {
		if p.Severity != series.Note {
			doubts++
		}
	}
	switch {
	case doubts == 1:
		out = append(out, "Whether every log is what it seems: the report lists 1 doubt about them.")
	case doubts > 1:
		out = append(out, fmt.Sprintf("Whether every log is what it seems: the report lists %d doubts about them.", doubts))
	}
	return append(out, "Anything beyond the boundary above.")
}
