package keyed

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"yardheat/ingest/series"
)

// fault is a fault with its line, for sorting.
type fault struct {
	line int
	series.Fault
}

// Reader collects the faults of one file.
type Reader struct {
	file   string
	src    []byte
	faults []fault
	// Broken: a part of the file could not be parsed, so what seems missing
	// may stand there.
	Broken bool
}

// Add books a fault of a key.
func (r *Reader) Add(line int, key, got, want, do string) {
	r.faults = append(r.faults, fault{line, series.Fault{File: r.file, Where: where(line, key), Got: got, Want: want, Do: do}})
}

func where(line int, key string) string {
	switch {
	case line <= 0:
		return "key " + key
	case key == "":
		return fmt.Sprintf("line %d", line)
	}
	return fmt.Sprintf("line %d, %s", line, key)
}

// sorted gives the faults by line, in the order in which they were found
// within one; those of no line (something is missing) last.
func (r *Reader) sorted() []series.Fault {
	slices.SortStableFunc(r.faults, func(a, b fault) int { return cmp.Compare(uint(a.line-1), uint(b.line-1)) })
	var out []series.Fault
	for _, f := range r.faults {
		if !slices.Contains(out, f.Fault) {
			out = append(out, f.Fault)
		}
	}
	return out
}

// hasLine tells whether a fault of a line is known.
func (r *Reader) hasLine(line int) bool {
	return slices.ContainsFunc(r.faults, func(f fault) bool { return f.line == line })
}

// Cut shortens what stood there.
func Cut(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 60 {
		return string(r[:59]) + "…"
	}
	return s
}

// Shown is a value as the message quotes it.
func Shown(n *Node) string {
	switch {
	case n.Kind == IsText:
		return fmt.Sprintf("%q", Cut(n.Text))
	case n.headed:
		return "a list of tables [[…]]"
	case n.Kind == IsTable && !n.Inline:
		return "a table [ … ]"
	}
	return Cut(n.Raw)
}

// Nearest is the candidate that a word was most likely meant to be, "" where
// none is near: at most a third of its letters differ, or it is a part of one.
func Nearest(word string, candidates []string) string {
	best, at := "", len([]rune(word))/3+1
	if len([]rune(word)) > 60 {
		return ""
	}
	for _, c := range candidates {
		if d := distance(strings.ToLower(word), strings.ToLower(c)); d < at || d == at && best == "" && d <= 2 {
			best, at = c, d
		}
	}
	for _, c := range candidates {
		if best == "" && len(word) >= 4 && strings.Contains(strings.ToLower(c), strings.ToLower(word)) {
			best = c
		}
	}
	return best
}

// distance is the number of letters put in, left out, changed, or swapped
// with their neighbour that turn a into b (optimal string alignment).
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	before, last, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(s); i++ {
		row[0] = i
		for j := 1; j <= len(t); j++ {
			change := 1
			if s[i-1] == t[j-1] {
				change = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+change)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(t)]
}
