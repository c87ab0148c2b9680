package main

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"yardheat/analysis/claim"
)

// parse reads the flags of a claim.
func (f claimFlags) parse() (asked []claim.Asked, opt claim.Options, err error) {
	opt = claim.DefaultOptions()
	opt.Seen, opt.Whole = f.seen, f.whole
	if f.whole && f.seen {
		return nil, opt, errors.New("--whole and --seen: want one of them; a claim is about the whole period, or about what was seen of it")
	}
	for _, x := range []struct{ flag, text, key, unit string }{
		{"--kwh", f.kwh, "saved_kwh", "kWh"}, {"--money", f.money, "money", ""}, {"--co2", f.co2, "co2_kg", "kg"},
	} {
		if x.text == "" {
			continue
		}
		v, err := claimedNumber(x.text, x.unit)
		if err != nil {
			return nil, opt, fmt.Errorf("%s %w", x.flag, err)
		}
		asked = append(asked, claim.Asked{Key: x.key, Claimed: v})
	}
	if len(asked) == 0 {
		return nil, opt, errors.New("want the saving that is claimed: --kwh N, --money N or --co2 N; see: yardheat claim --help")
	}
	if opt.Confidence, err = percentage(f.confidence); err != nil {
		return nil, opt, fmt.Errorf("--confidence %w", err)
	}
	for _, text := range f.criteria {
		c, err := claim.ParseCriterion(text)
		if err != nil {
			return nil, opt, fmt.Errorf("--criterion %w", err)
		}
		opt.Criteria = append(opt.Criteria, c)
	}
	if err := opt.Validate(); err != nil {
		return nil, opt, fmt.Errorf("--confidence %s: %w", f.confidence, err)
	}
	return asked, opt, nil
}

var (
	// amount: digits, perhaps in groups of three parted by blanks, a decimal mark,
	// and whatever follows as a unit.
	amount = regexp.MustCompile(`^(-?)(\d{1,3}(?:[ \x{a0}\x{202f}]\d{3})+|\d+)(?:([.,])(\d+))?\s*(.*)$`)
	blanks = strings.NewReplacer(" ", "", "\u00a0", "", "\u202f", "")
)

// claimedNumber reads what somebody claims: 5500, 5 500, "5500.5 kWh", 5500,5. One
// that may be read two ways, 1.250 or 1,250, is refused; so is another unit.
func claimedNumber(text, unit string) (float64, error) {
	m := amount.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return 0, fmt.Errorf("%q: want a number%s, such as 5500", text, inUnit(unit))
	}
	sign, whole, mark, fraction, tail := m[1], blanks.Replace(m[2]), m[3], m[4], strings.TrimSpace(m[5])
	if sign != "" {
		return 0, fmt.Errorf("%q: want a saving of 0 or more; a loss is no saving", text)
	}
	if mark != "" && len(fraction) == 3 && whole == m[2] && len(whole) <= 3 && whole[0] != '0' {
		return 0, fmt.Errorf("%q: is that %s%s or %s.%s? Write %s%s, or %s.%s0", text, whole, fraction, whole, fraction, whole, fraction, whole, fraction)
	}
	if tail != "" && (unit == "" || !strings.EqualFold(tail, unit)) {
		return 0, fmt.Errorf("%q: want a plain number%s; %q cannot be read", text, inUnit(unit), tail)
	}
	if fraction != "" {
		whole += "." + fraction
	}
	v, err := strconv.ParseFloat(whole, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q: want a number%s, such as 5500", text, inUnit(unit))
	}
	return v, nil
}

func inUnit(unit string) string {
	if unit == "" {
		return ""
	}
	return " in " + unit
}

var perCent = regexp.MustCompile(`^(\d+(?:[.,]\d+)?)\s*%?$`)

// percentage reads 90, "90 %" or 99,5 as a share.
func percentage(text string) (float64, error) {
	m := perCent.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return 0, fmt.Errorf("%q: want per cent, such as 90", text)
	}
	v, err := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
	if err != nil {
		return 0, fmt.Errorf("%q: want per cent, such as 90", text)
	}
	if v < 1 {
		return 0, fmt.Errorf("%q: want per cent; did you mean %g?", text, 100*v)
	}
	return v / 100, nil
}
