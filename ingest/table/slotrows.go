package table

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"yardheat/ingest/table/celltext"
)

// slotCounts are how many parts a day is cut into: hours, one more where a
// clock change repeats one, half-hours, quarters of an hour.
var slotCounts = []int{24, 25, 48, 50, 96, 100}

// channelWords name what is numbered where 24 columns are 24 probes and no 24
// hours (common practice, no source).
var channelWords = strings.Fields("ch chan channel probe sensor temp t tc pt ain ai di do in out input output tank cow zone loop port point node kanal fühler sonde capteur canal meter addr")

// isSlotsRow tells whether the cells number the parts of a day behind one word,
// from 0 or 1 to as many as a day has: "HE01 … HE24", "V01 … V96". The word must
// not be one of probes.
func isSlotsRow(cells []string) bool {
	word, first, last := "", 0, -1
	done := func() bool {
		return last >= 0 && slices.Contains(slotCounts, last-first+1) && !slices.Contains(channelWords, word)
	}
	for _, c := range cells {
		w, n, ok := numbered(c)
		if ok && last >= 0 && w == word && n == last+1 {
			last = n
			continue
		}
		if done() {
			return true
		}
		word, first, last = w, n, -1
		if ok && n <= 1 {
			last = n
		}
	}
	return done()
}

// numbered parts a name of letters from the number behind it.
func numbered(name string) (word string, n int, ok bool) {
	word = strings.TrimRight(name, "0123456789")
	digits := name[len(word):]
	n, err := strconv.Atoi(digits)
	word = strings.ToLower(strings.TrimRight(word, " _-."))
	return word, n, err == nil && word != "" && len(word) <= 12 && n <= 100
}

// Records: how many lines show the kinds, and how many kinds there may be.
const (
	recordLines = 200
	leastKinds  = 3
	mostKinds   = 12
)

// refuseRecords is an error for a text whose lines are of several kinds, each
// told by a code in its first cell and with cells of its own: no one header fits
// them, and readings stand in a row for a day or below a line that says of what
// they are.
func refuseRecords(rows []Row) error {
	widths := map[string]int{}
	var kinds []string
	first := Row{}
	lines, odd := 0, 0
	for _, r := range rows[:min(len(rows), recordLines)] {
		cells := dropEmptyTail(r.Cells)
		if len(cells) == 0 {
			continue
		}
		lines++
		code := cells[0]
		if w, seen := widths[code]; !seen {
			if !isRecordCode(code) || len(kinds) > 0 && (len(code) != len(kinds[0]) || isDigits(code) != isDigits(kinds[0])) {
				return nil
			}
			if len(kinds) == 0 {
				first = r
			}
			kinds = append(kinds, code)
			widths[code] = len(cells)
		} else if w != len(cells) {
			odd++
		}
	}
	if len(kinds) < leastKinds || len(kinds) > mostKinds || lines < 2*len(kinds) || 10*odd > lines || different(widths) < leastKinds {
		return nil
	}
	return &Error{Line: first.Line, Err: errNoTable, Got: fmt.Sprintf("lines of %d kinds, told by their first cell (%s), each kind with cells of its own", len(kinds), strings.Join(kinds, ", ")),
		Want: "a row for each time, all of one kind", Do: "export as a table: one row for each date and time, with its readings beside it"}
}

// isRecordCode: two to four digits or capital letters.
func isRecordCode(s string) bool {
	if len(s) < 2 || len(s) > 4 {
		return false
	}
	return isDigits(s) || strings.Trim(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == ""
}

func isDigits(s string) bool { return celltext.LeadingDigits(s) == len(s) }

func different(widths map[string]int) int {
	seen := map[int]bool{}
	for _, w := range widths {
		seen[w] = true
	}
	return len(seen)
}
