package statement

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"yardheat/analysis/claim"
	"yardheat/analysis/season"
)

// Text is the judgement in a few lines, for a terminal.
func Text(s *season.Season, j *claim.Judgement) string {
	v := newView(s, j, Options{})
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s to %s, %s.\n", v.Farm(), v.day(s.Period.Start), v.LastDay(), v.Over())
	for i := range j.Claims {
		claimText(&b, v, &j.Claims[i])
	}
	return b.String()
}

func claimText(b *strings.Builder, v *view, c *claim.Claim) {
	line := func(name, text string) {
		for _, part := range wrapped(text) {
			fmt.Fprintf(b, "  %-18s %s\n", name, part)
			name = ""
		}
	}
	fmt.Fprintf(b, "\n%s\n", clean(c.Label))
	line("claimed", "at least "+c.ClaimedShown)
	line("measured", v.measured(c))
	line("chance it is true", c.ChanceShown)
	line(fmt.Sprintf("verdict at %s", claim.Percent(v.J.Confidence)), string(c.Verdict))
	if c.SupportedToShown != "" {
		line("", fmt.Sprintf("claims up to %s are supported, claims above %s are not", c.SupportedToShown, c.RefutedAboveShown))
	}
	line("would decide", clean(c.Decide))
	for _, t := range c.Criteria {
		line("criterion", fmt.Sprintf("%s: %s", clean(t.Name), tested(t)))
	}
}

// tested is a criterion's result with the figure beside it.
func tested(t claim.Tested) string {
	text := fmt.Sprintf("%s (uncertainty %s, here %s)", t.Result, t.Short(), t.Shown)
	if t.Why != "" {
		text += ": " + clean(t.Why)
	}
	return text
}

// textWidth of the right-hand column.
const textWidth = 90

// wrapped breaks a text at blanks. A figure's groups of digits are parted by
// another kind of blank and stay together.
func wrapped(text string) []string {
	var lines []string
	line := ""
	for _, word := range strings.Split(text, " ") {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > textWidth {
			lines = append(lines, line)
			line = word
			continue
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}
