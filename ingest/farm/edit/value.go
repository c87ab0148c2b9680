package edit

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Value is a value to write. Its zero value is none and is refused.
type Value struct{ text string }

// Pair is one key of a table with its value.
type Pair struct {
	Key   string
	Value Value
}

// Text is a text, whatever signs it holds; one that is not Unicode is refused
// where it is set.
func Text(s string) Value {
	if !utf8.ValidString(s) {
		return Value{s}
	}
	return Value{Quote(s)}
}

// Number is a number; a whole one is written without decimals.
func Number(v float64) Value {
	switch {
	case math.IsNaN(v):
		return Value{"nan"}
	case math.IsInf(v, 0):
		return Value{strings.Replace(strconv.FormatFloat(v, 'f', -1, 64), "Inf", "inf", 1)}
	case v != math.Trunc(v) || math.Abs(v) < 1e15:
		return Value{strconv.FormatFloat(v, 'f', -1, 64)}
	}
	return Value{strconv.FormatFloat(v, 'e', -1, 64)}
}

// Yes is true or false.
func Yes(v bool) Value { return Value{strconv.FormatBool(v)} }

// List is a list of values.
func List(values ...Value) Value {
	parts := make([]string, len(values))
	for i, v := range values {
		parts[i] = v.text
	}
	return Value{"[" + strings.Join(parts, ", ") + "]"}
}

// Texts is a list of texts.
func Texts(values ...string) Value {
	parts := make([]Value, len(values))
	for i, v := range values {
		parts[i] = Text(v)
	}
	return List(parts...)
}

// Table is an inline table: { key = value, … }.
func Table(pairs ...Pair) Value {
	if len(pairs) == 0 {
		return Value{"{}"}
	}
	parts := make([]string, len(pairs))
	for i, p := range pairs {
		if !utf8.ValidString(p.Key) {
			return Value{p.Key}
		}
		parts[i] = Key(p.Key) + " = " + p.Value.text
	}
	return Value{"{ " + strings.Join(parts, ", ") + " }"}
}

// Raw is a value as TOML writes it, such as 2026-01-05T09:30:00.
func Raw(toml string) (Value, error) {
	toml = strings.TrimSpace(toml)
	s := &scanner{src: []byte(toml)}
	if _, err := decodeValue([]byte(toml)); err != nil || strings.ContainsAny(toml, "\r\n") {
		return Value{}, fmt.Errorf("%q is no value of one line: %w", toml, errors.Join(err, errScan))
	}
	if _, err := s.value(); err != nil || s.at != len(toml) {
		return Value{}, fmt.Errorf("%q is no value alone", toml)
	}
	return Value{toml}, nil
}

// String is the value as TOML writes it.
func (v Value) String() string { return v.text }

// Quote writes a text as TOML does, in double quotes. Quotes, strokes and
// control characters are escaped, and so is every character that has no width
// or turns the direction of the line: a reader of the file sees what it says.
func Quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\t':
			b.WriteString(`\t`)
		case !hidden(r):
			b.WriteRune(r)
		case r > 0xffff:
			fmt.Fprintf(&b, `\U%08X`, r)
		default:
			fmt.Fprintf(&b, `\u%04X`, r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// hidden tells characters that show as nothing, or move what stands beside
// them.
func hidden(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Zl, r) || unicode.Is(unicode.Zp, r)
}

// Comment makes a text one that can stand in a comment of one line.
func Comment(s string) string {
	return strings.Map(func(r rune) rune {
		if hidden(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
}

// Key writes a key: bare where it can be, else quoted.
func Key(s string) string {
	for i := 0; i < len(s); i++ {
		if !bare(s[i]) {
			return Quote(s)
		}
	}
	if s == "" {
		return `""`
	}
	return s
}

// usable refuses what no TOML can hold.
func (v Value) usable() (any, error) {
	if v.text == "" {
		return nil, errors.New("no value given")
	}
	if !utf8.ValidString(v.text) {
		return nil, errors.New("a text that is not Unicode")
	}
	return decodeValue([]byte(v.text))
}
