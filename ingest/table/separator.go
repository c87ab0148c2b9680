package table

import (
	"strings"
	"yardheat/ingest/table/celltext"
)

// separators in the order of preference where two serve equally well.
const separators = ";\t,|"

// findSeparator finds the separator under which most sampled lines fall into
// equally many cells that each read as something: a decimal comma taken for a
// separator leaves half stamps and halves of numbers. blankSep = blanks cut
// them, see cutBlanks; 0 = no line can be cut.
func findSeparator(text string) byte {
	lines := sampleLines(text)
	best, bestScore := byte(0), 0.0
	for _, sep := range []byte(separators) {
		if s := separatorScore(lines, sep); s > bestScore*1.02 {
			best, bestScore = sep, s
		}
	}
	if s := blankScore(lines); s > bestScore*1.02 && s > 0.3 {
		return blankSep
	}
	return best
}

// sampleLines takes lines from the front, the middle and the end.
func sampleLines(text string) []string {
	lines := takeLines(nil, text, 0, 150)
	if len(text) > 64<<10 {
		for _, at := range [...]int{len(text) / 2, len(text) - 16<<10} {
			_, next := lineEnd(text, at) // from the next whole line
			lines = takeLines(lines, text, next, 100)
		}
	}
	return lines
}

func takeLines(lines []string, text string, i, n int) []string {
	for i < len(text) && n > 0 {
		end, next := lineEnd(text, i)
		if line := celltext.Trim(text[i:end]); line != "" {
			lines = append(lines, text[i:end])
			n--
		}
		i = next
	}
	return lines
}

// separatorScore is the share of sampled lines that have the commonest number
// of cells, times the share of those lines' cells that read as a stamp, a
// number or a missing reading (words count half).
func separatorScore(lines []string, sep byte) float64 {
	counts := map[int]int{}
	sense := map[int]float64{}
	for _, line := range lines {
		c := cutter{text: line, sep: sep}
		c.cutQuoted(0, 1)
		n := len(c.arena)
		if n < 2 {
			continue
		}
		counts[n]++
		sense[n] += sensible(c.arena)
	}
	best := 0.0
	for n, k := range counts {
		share := float64(k) / float64(len(lines))
		if s := share * sense[n] / float64(k); s > best {
			best = s
		}
	}
	return best
}

func sensible(cells []string) float64 {
	sum := 0.0
	for _, cell := range cells {
		switch kind := celltext.Classify(cell); {
		case strings.ContainsAny(cell, ";\t|"):
		case kind != celltext.Text:
			sum++
		case strings.IndexByte(cell, ',') < 0:
			sum += 0.5
		}
	}
	return sum / float64(len(cells))
}

// separatorByte reads what the farm file or a "sep=" line says.
func separatorByte(s string) (byte, bool) {
	switch strings.ToLower(s) {
	case ",", ";", "\t", "|":
		return s[0], true
	case "tab", `\t`:
		return '\t', true
	case " ", "blank", "blanks":
		return blankSep, true
	}
	return 0, false
}

// sepLine reads a first line "sep=;".
func sepLine(text string) (sep byte, next int, ok bool) {
	end, next := lineEnd(text, 0)
	line := strings.Trim(text[:end], " \"")
	if len(line) < 5 || !strings.EqualFold(line[:4], "sep=") {
		return 0, 0, false
	}
	sep, ok = separatorByte(line[4:])
	return sep, next, ok
}
