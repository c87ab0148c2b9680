package retrace

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// flat is a JSON document as a list of its values by path: "heat.loop_kwh.low",
// "problems[3].text". A value is kept as it stands in the file.
type flat struct {
	paths []string
	at    map[string]string
}

// mostDeep is how far a document of ours nests, and more.
const mostDeep = 64

// flatten reads a document. Of two equal keys the second's path ends in "#2".
func flatten(b []byte) (*flat, error) {
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.UseNumber()
	f := &flat{at: map[string]string{}}
	if err := f.value(dec, "", 0); err != nil {
		return nil, err
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("more stands behind the document's end")
	}
	return f, nil
}

func (f *flat) value(dec *json.Decoder, at string, depth int) error {
	if depth > mostDeep {
		return errors.New("nests too deep")
	}
	tok, err := dec.Token()
	if err != nil {
		return err
	}
	delim, ok := tok.(json.Delim)
	if !ok {
		text, err := scalar(tok)
		f.put(at, text)
		return err
	}
	if delim == '{' {
		return f.object(dec, at, depth)
	}
	for i := 0; dec.More(); i++ {
		if err := f.value(dec, fmt.Sprintf("%s[%d]", at, i), depth+1); err != nil {
			return err
		}
	}
	_, err = dec.Token()
	return err
}

func (f *flat) object(dec *json.Decoder, at string, depth int) error {
	seen := map[string]int{}
	for dec.More() {
		tok, err := dec.Token()
		if err != nil {
			return err
		}
		key, _ := tok.(string) // a member's name is a string, or Token fails
		path := key
		if at != "" {
			path = at + "." + key
		}
		if seen[key]++; seen[key] > 1 {
			path += "#" + strconv.Itoa(seen[key])
		}
		if err := f.value(dec, path, depth+1); err != nil {
			return err
		}
	}
	_, err := dec.Token()
	return err
}

func scalar(tok json.Token) (string, error) {
	switch v := tok.(type) {
	case nil:
		return "null", nil
	case bool:
		return strconv.FormatBool(v), nil
	case json.Number:
		return v.String(), nil
	case string:
		b, err := json.Marshal(v)
		return string(b), err
	}
	return "", fmt.Errorf("%v is no value", tok)
}

func (f *flat) put(at, text string) {
	f.paths = append(f.paths, at)
	f.at[at] = text
}

// unquoted is a string value without its quotes; else the value as it stands.
func unquoted(v string) string {
	var s string
	if json.Unmarshal([]byte(v), &s) == nil && strings.HasPrefix(v, `"`) {
		return s
	}
	return v
}

// valueDifference is a value that differs; "" where one side has none.
type valueDifference struct{ path, was, now string }

func (d valueDifference) text() string {
	switch {
	case d.was == "":
		return fmt.Sprintf("%s is not in the report; %s by the originals", d.path, d.now)
	case d.now == "":
		return fmt.Sprintf("%s is %s in the report; the originals give none", d.path, d.was)
	}
	return fmt.Sprintf("%s is %s in the report, %s by the originals", d.path, d.was, d.now)
}

// differing lists the values that differ, in the order of the document.
func differing(was, now *flat, m mode) []valueDifference {
	var out []valueDifference
	for _, at := range was.paths {
		y, ok := now.at[at]
		x := was.at[at]
		switch {
		case !ok && m != otherVersion:
			out = append(out, valueDifference{at, x, ""})
		case ok && !same(at, x, y, m):
			out = append(out, valueDifference{at, x, y})
		}
	}
	if m == otherVersion {
		return out
	}
	for _, at := range now.paths {
		if _, ok := was.at[at]; !ok {
			out = append(out, valueDifference{at, "", now.at[at]})
		}
	}
	return out
}

// Tolerances across machines, relative, and absolute below 1.
const (
	figureTolerance = 1e-9
	endTolerance    = 1e-6
)

// same tells whether two values agree as closely as the mode asks.
func same(at, x, y string, m mode) bool {
	if x == y {
		return true
	}
	if m == exact {
		return false
	}
	a, errA := strconv.ParseFloat(x, 64)
	b, errB := strconv.ParseFloat(y, 64)
	if errA != nil || errB != nil {
		quoted := strings.HasPrefix(x, `"`) && strings.HasPrefix(y, `"`)
		// Another version may word it otherwise.
		return quoted && (m == otherVersion || alikeText(x, y))
	}
	tolerance := figureTolerance
	for _, end := range []string{".low", ".high", ".share", ".at", ".narrower"} {
		if strings.HasSuffix(at, end) {
			tolerance = endTolerance
		}
	}
	return near(a, b, tolerance)
}

func near(a, b, tolerance float64) bool {
	return math.Abs(a-b) <= tolerance*max(1, math.Abs(a), math.Abs(b))
}

// alikeText tells whether two texts are the same but for the last printed digit
// of their numbers.
func alikeText(a, b string) bool {
	for {
		i := strings.IndexAny(a, "0123456789")
		k := strings.IndexAny(b, "0123456789")
		if i < 0 || k < 0 {
			return a == b
		}
		if a[:i] != b[:k] {
			return false
		}
		x, y := number(a[i:]), number(b[k:])
		if !alikeNumber(x, y) {
			return false
		}
		a, b = a[i+len(x):], b[k+len(y):]
	}
}

// number is the number that a text begins with: digits, one point, an exponent.
func number(s string) string {
	i, point := 0, false
	for i < len(s) && (s[i] >= '0' && s[i] <= '9' || s[i] == '.' && !point) {
		point = point || s[i] == '.'
		i++
	}
	if k := i + 1; i < len(s) && s[i] == 'e' && k < len(s) {
		if s[k] == '-' || s[k] == '+' {
			k++
		}
		for end := k; end < len(s) && s[end] >= '0' && s[end] <= '9'; end++ {
			i = end + 1
		}
	}
	return s[:i]
}

// alikeNumber: equal, to 1e-9, or to one of the last digit printed where both
// print as many.
func alikeNumber(x, y string) bool {
	if x == y {
		return true
	}
	a, errA := strconv.ParseFloat(x, 64)
	b, errB := strconv.ParseFloat(y, 64)
	if errA != nil || errB != nil {
		return false
	}
	if near(a, b, figureTolerance) {
		return true
	}
	_, decimals, _ := strings.Cut(x, ".")
	_, other, _ := strings.Cut(y, ".")
	return len(decimals) > 0 && len(decimals) == len(other) && !strings.ContainsRune(x+y, 'e') &&
		math.Abs(a-b) <= 1.000001*math.Pow10(-len(decimals))
}
