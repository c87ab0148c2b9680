package form

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"yardheat/ingest/clock"
	"yardheat/ingest/farm"
	"yardheat/ingest/farm/edit"
)

// Verdict is what Check says of an entry.
type Verdict string

// The verdicts.
const (
	OK Verdict = "ok"
	// Unusual: taken, with Reason to ask about.
	Unusual Verdict = "unusual"
	Refused Verdict = "refused"
	// Empty: nothing entered; refused only where the field is always needed.
	Empty Verdict = "empty"
)

// Reason says by code why an entry is refused or unusual.
type Reason string

// The reasons.
const (
	NotANumber  Reason = "not-a-number"
	NotWhole    Reason = "not-whole"
	OtherUnit   Reason = "other-unit" // something stands behind the number that is not the field's unit
	TooLow      Reason = "too-low"    // below what the farm file takes: Field.Least
	TooHigh     Reason = "too-high"
	UsuallyMore Reason = "usually-more" // below Field.Low
	UsuallyLess Reason = "usually-less"
	// MarkEither: a mark with three digits behind it that may part thousands; it
	// was read as the decimal mark.
	MarkEither   Reason = "mark-either"
	NotAChoice   Reason = "not-a-choice"
	NotAZone     Reason = "not-a-zone"
	NotMonths    Reason = "not-months" // neither one figure nor twelve
	NotTimes     Reason = "not-times"
	TimesOverlap Reason = "times-overlap"
	TooLong      Reason = "too-long"
	NotAText     Reason = "not-a-text" // signs that no text of one line holds
	Missing      Reason = "missing"
)

// Result is what Check says.
type Result struct {
	Verdict Verdict
	Reason  Reason
	// Number is the figure that was read, with a number; NaN = none.
	Number float64
	// Low and High are the bounds that Reason speaks of.
	Low, High float64
	// Nearest is the choice or zone that was most likely meant, "" = none.
	Nearest string
	// Value is what to write, where the entry is taken.
	Value edit.Value
}

// mostText is how long a text of the form may be.
const mostText = 300

// Check holds an entry against its field. Numbers may bear a decimal comma or
// point, marks between thousands, and the field's own unit behind them.
func (f Field) Check(entry string) Result {
	entry = strings.TrimSpace(entry)
	switch {
	case entry == "" && f.Need == Always:
		return refuse(Missing)
	case entry == "":
		return Result{Verdict: Empty, Number: math.NaN()}
	case !utf8.ValidString(entry) || strings.ContainsFunc(entry, unicode.IsControl):
		return refuse(NotAText)
	case utf8.RuneCountInString(entry) > mostText:
		return refuse(TooLong)
	}
	switch f.Kind {
	case Number, Whole, Glycol:
		return f.number(entry)
	case Months:
		return f.months(entry)
	case Choice, YesNo:
		return f.choice(entry)
	case Zone:
		return zone(entry)
	case Times:
		return times(entry)
	}
	return Result{Verdict: OK, Number: math.NaN(), Value: edit.Text(entry)}
}

func refuse(why Reason) Result { return Result{Verdict: Refused, Reason: why, Number: math.NaN()} }

// number reads one figure.
func (f Field) number(entry string) Result {
	v, either, why := ParseNumber(entry, f.Unit)
	if why != "" {
		return refuse(why)
	}
	r := Result{Verdict: OK, Number: v, Value: edit.Number(v)}
	if f.Kind == Glycol {
		r.Value = edit.Text("water")
		if v != 0 {
			r.Value = edit.Table(edit.Pair{Key: "propylene_glycol_pct", Value: edit.Number(v)})
		}
	}
	switch {
	case v < f.Least || f.Open && v == f.Least:
		return Result{Verdict: Refused, Reason: TooLow, Number: v, Low: f.Least, High: f.Most}
	case v > f.Most:
		return Result{Verdict: Refused, Reason: TooHigh, Number: v, Low: f.Least, High: f.Most}
	case f.Kind == Whole && v != math.Trunc(v):
		r.Verdict, r.Reason, r.Value = Refused, NotWhole, edit.Value{}
	case either && 1000*math.Abs(v) <= f.Most:
		r.Verdict, r.Reason = Unusual, MarkEither
	case f.Low == 0 && f.High == 0:
	case v < f.Low:
		r.Verdict, r.Reason, r.Low, r.High = Unusual, UsuallyMore, f.Low, f.High
	case v > f.High:
		r.Verdict, r.Reason, r.Low, r.High = Unusual, UsuallyLess, f.Low, f.High
	}
	return r
}

// months reads one figure or twelve, parted by blanks or semicolons.
func (f Field) months(entry string) Result {
	parts := strings.FieldsFunc(entry, func(r rune) bool { return r == ';' || r == '/' || unicode.IsSpace(r) })
	if f.Unit != "" {
		parts = slices.DeleteFunc(parts, func(p string) bool { return sameUnit(p, f.Unit) })
	}
	if len(parts) == 1 {
		return f.number(parts[0])
	}
	if len(parts) != 12 {
		return refuse(NotMonths)
	}
	out := Result{Verdict: OK, Number: math.NaN()}
	values := make([]edit.Value, 12)
	for i, p := range parts {
		r := f.number(p)
		if r.Verdict == Refused {
			return r
		}
		if r.Verdict == Unusual && out.Verdict == OK {
			out = r
			out.Number = math.NaN()
		}
		values[i] = r.Value
	}
	out.Value = edit.List(values...)
	return out
}

func (f Field) choice(entry string) Result {
	of := f.Choices
	if f.Kind == YesNo {
		of = []string{"true", "false"}
	}
	if !slices.Contains(of, entry) {
		r := refuse(NotAChoice)
		r.Nearest = farm.Nearest(entry, of)
		return r
	}
	r := Result{Verdict: OK, Number: math.NaN(), Value: edit.Text(entry)}
	if f.Kind == YesNo {
		r.Value = edit.Yes(entry == "true")
	}
	return r
}

func zone(entry string) Result {
	if _, err := clock.ParseZone(entry); err != nil {
		r := refuse(NotAZone)
		r.Nearest = farm.NearestZone(entry)
		return r
	}
	return Result{Verdict: OK, Number: math.NaN(), Value: edit.Text(entry)}
}

// times reads "05:20-07:05, 15:50-17:35" as the farm file does.
func times(entry string) Result {
	var list []string
	for _, p := range strings.FieldsFunc(entry, func(r rune) bool { return r == ',' || r == ';' }) {
		list = append(list, strings.NewReplacer("–", "-", "—", "-", " ", "").Replace(strings.TrimSpace(p)))
	}
	v := edit.Texts(list...)
	src := fmt.Sprintf("[farm]\ntimezone = \"UTC\"\n[[log]]\nfiles = \"x\"\n[milkings]\ntimes = %s\n", v)
	if _, faults := farm.Read(edit.FarmFile, []byte(src)); len(list) == 0 || len(faults) > 0 {
		if len(faults) > 0 && strings.Contains(faults[0].Got, "overlap") {
			return refuse(TimesOverlap)
		}
		return refuse(NotTimes)
	}
	return Result{Verdict: OK, Number: math.NaN(), Value: v}
}

// ParseNumber reads a number as people write it: a decimal comma or point,
// blanks, apostrophes or the other mark between thousands, the unit behind it.
// either tells that the one mark may as well part thousands.
func ParseNumber(entry, unit string) (v float64, either bool, why Reason) {
	s := strings.TrimSpace(strings.Replace(entry, "−", "-", 1))
	k := strings.LastIndexAny(s, "0123456789")
	if k < 0 {
		return math.NaN(), false, NotANumber
	}
	if rest := strings.TrimSpace(s[k+1:]); rest != "" {
		if !sameUnit(rest, unit) {
			return math.NaN(), false, OtherUnit
		}
		s = s[:k+1]
	}
	sign := ""
	if s[0] == '-' || s[0] == '+' {
		sign, s = s[:1], strings.TrimSpace(s[1:])
	}
	whole, decimals, either, ok := marks(s)
	if !ok {
		return math.NaN(), false, NotANumber
	}
	v, err := strconv.ParseFloat(sign+whole+"."+decimals+"0", 64)
	if err != nil || math.IsInf(v, 0) {
		return math.NaN(), false, NotANumber
	}
	return v, either, ""
}

// sameUnit tells whether what stands behind a number is its unit.
func sameUnit(text, unit string) bool {
	plain := func(s string) string {
		return strings.NewReplacer("²", "2", "°", "", " ", "", "litres", "l", "liter", "l").Replace(strings.ToLower(s))
	}
	return unit != "" && plain(text) == plain(unit)
}

// marks parts digits into a whole number and decimals.
func marks(s string) (whole, decimals string, either, ok bool) {
	blanks := strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ", "’", " ", "'", " ").Replace(s)
	point, comma := strings.Count(blanks, "."), strings.Count(blanks, ",")
	cut := strings.LastIndexAny(blanks, ".,")
	if cut >= 0 && (point > 1 && comma == 0 || comma > 1 && point == 0) {
		cut = -1 // the same mark twice parts thousands
	}
	whole = blanks
	if cut >= 0 {
		whole, decimals = blanks[:cut], blanks[cut+1:]
		if point+comma > 1 && strings.Count(blanks, blanks[cut:cut+1]) > 1 {
			return "", "", false, false
		}
	}
	plain, grouped := ungroup(whole)
	if plain == "" && decimals == "" || !digits(plain) || !digits(decimals) || !grouped {
		return "", "", false, false
	}
	either = cut >= 0 && point+comma == 1 && len(decimals) == 3 && len(plain) <= 3 && plain != "" && plain[0] != '0' && plain == whole
	return plain, decimals, either, true
}

// ungroup takes the marks between thousands out; ok tells whether they stand
// where such marks do.
func ungroup(s string) (plain string, ok bool) {
	parts := strings.FieldsFunc(s, func(r rune) bool { return r == '.' || r == ',' || r == ' ' })
	if strings.Join(parts, "") == s {
		return s, true
	}
	for i, p := range parts {
		if i > 0 && len(p) != 3 || i == 0 && len(p) > 3 {
			return "", false
		}
	}
	marks := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return -1
		}
		return r
	}, s)
	if len(marks) != len(parts)-1 || strings.Trim(marks, marks[:1]) != "" {
		return "", false
	}
	return strings.Join(parts, ""), true
}

func digits(s string) bool { return strings.Trim(s, "0123456789") == "" }

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
