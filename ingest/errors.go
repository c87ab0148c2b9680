package ingest

import (
	"fmt"
	"strings"
)

// shownOfAKind is how many faults of one kind a message tells of before it
// only counts.
const shownOfAKind = 5

// Error prints each fault on a line of its own, the first few of a kind and
// then their count.
func (e *InputError) Error() string {
	var lines []string
	seen := map[string]int{}
	more := 0
	for _, f := range e.Faults {
		kind := f.Want + "\x00" + f.Do
		if seen[kind]++; seen[kind] > shownOfAKind {
			more++
			continue
		}
		lines = append(lines, faultText(f))
	}
	if more > 0 {
		lines = append(lines, fmt.Sprintf("… and %d more like these", more))
	}
	return strings.Join(lines, "\n")
}

// faultText is "file: where: got …; want …; do …".
func faultText(f Fault) string {
	var place []string
	for _, p := range [...]string{f.File, f.Where} {
		if p != "" {
			place = append(place, p)
		}
	}
	if f.Got != "" {
		place = append(place, "got "+f.Got)
	}
	text := strings.Join(place, ": ")
	if f.Want != "" {
		text += "; want " + f.Want
	}
	if f.Do != "" {
		text += "; " + f.Do
	}
	return text
}
