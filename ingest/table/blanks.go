package table

import (
	"strings"
	"unicode/utf8"

	"yardheat/ingest/table/celltext"
)

// Columns parted by blanks: one blank or more between cells that hold none, or
// columns of fixed width, in which a cell may be empty. The lines are written
// again with tabs between the cells and then cut like any others.

// blankSep stands for it among the separators.
const blankSep = ' '

// span is a stretch of a line, counted in characters: [from, to).
type span struct {
	from, to int
	text     string
}

// wordsOf gives the words of a line and where they stand; what stands in
// quotes is one word, and so are a date written in words and a time of day
// with its AM or PM.
func wordsOf(line string) []span {
	var out []span
	pos := 0
	for i := 0; i < len(line); {
		if line[i] == ' ' {
			i, pos = i+1, pos+1
			continue
		}
		end := strings.IndexByte(line[i:], ' ')
		if end < 0 {
			end = len(line) - i
		}
		if line[i] == '"' {
			if k := strings.IndexByte(line[i+1:], '"'); k >= 0 && (i+k+2 == len(line) || line[i+k+2] == ' ') {
				end = k + 2
			}
		}
		n := utf8.RuneCountInString(line[i : i+end])
		out = append(out, span{pos, pos + n, line[i : i+end]})
		i, pos = i+end, pos+n
	}
	return joinWords(line, out)
}

// joinWords makes one word of "17 Jan 2026", "Jan 17, 2026" and "3:04 PM".
func joinWords(line string, words []span) []span {
	join := func(k, n int) {
		for _, w := range words[k+1 : k+n] {
			words[k].text += " " + w.text
		}
		words[k].to = words[k+n-1].to
		words = append(words[:k+1], words[k+n:]...)
	}
	for k := 0; k < len(words); k++ {
		w := words[k].text
		switch {
		case k+2 < len(words) && celltext.IsMonth(words[k+1].text) && isDay(w) && isYear(words[k+2].text),
			k+2 < len(words) && celltext.IsMonth(w) && isDay(words[k+1].text) && isYear(words[k+2].text):
			join(k, 3)
		case k+1 < len(words) && strings.IndexByte(w, ':') > 0 && isHalf(words[k+1].text):
			join(k, 2)
		}
	}
	return words
}

func isDay(s string) bool {
	s = strings.TrimRight(s, ".,")
	n := celltext.LeadingDigits(s)
	return n == len(s) && (n == 1 || n == 2)
}

func isYear(s string) bool {
	s = strings.TrimRight(s, ",")
	return len(s) == 4 && celltext.LeadingDigits(s) == 4
}

func isHalf(s string) bool {
	switch strings.ToLower(strings.ReplaceAll(s, ".", "")) {
	case "am", "pm":
		return true
	}
	return false
}

// bodyWords tells whether the words of a line read as a row of readings, and
// how much of it does.
func bodyWords(words []span) (sense float64, ok bool) {
	var s shape
	s.firstStamp = -1
	for i, w := range words {
		k := celltext.Classify(strings.Trim(w.text, `"`))
		if strings.ContainsAny(w.text, ";\t|") || strings.IndexByte(w.text, ',') >= 0 && k != celltext.Number && w.text[0] != '"' && !strings.Contains(w.text, " ") {
			return 0, false
		}
		switch k {
		case celltext.Stamp:
			s.stamps++
		case celltext.Number:
			s.numbers++
		case celltext.Missing:
			s.missing++
		default:
			s.texts++
		}
		if i == 0 {
			s.firstKind = k
		}
	}
	if len(words) < 2 || s.numbers == 0 || s.texts > s.numbers+s.stamps || s.firstKind != celltext.Stamp && s.firstKind != celltext.Number {
		return 0, false
	}
	return (float64(len(words)-s.texts) + 0.5*float64(s.texts)) / float64(len(words)), true
}

// blankScore is separatorScore for blanks: how well they cut the lines.
func blankScore(lines []string) float64 {
	sum := 0.0
	for _, line := range lines {
		if sense, ok := bodyWords(wordsOf(line)); ok {
			sum += sense
		}
	}
	return sum / float64(max(1, len(lines)))
}

// blankLine is one line of such a text.
type blankLine struct {
	text  string
	words []span
	body  bool
}

// cutBlanks writes a text again with tabs for the blanks between its cells;
// line numbers stay. ok is false where the rows agree neither in the places of
// their columns nor in the number of their cells.
func cutBlanks(text string) (tabbed string, ok bool) {
	var lines []blankLine
	for i := 0; i < len(text); {
		end, next := lineEnd(text, i)
		l := blankLine{text: strings.ReplaceAll(strings.TrimRight(text[i:end], " \t\x00\x1a"), "\t", " ")}
		l.words = wordsOf(l.text)
		_, l.body = bodyWords(l.words)
		lines = append(lines, l)
		i = next
	}
	columns, aligned := columnSpans(lines)
	count := usualCount(lines)
	if !aligned && count < 2 {
		return "", false
	}
	var b strings.Builder
	for i := range lines {
		l := &lines[i]
		switch {
		case !l.body && aligned:
			b.WriteString(strings.Join(headByPlace(l, columns, stampPair(lines, columns)), "\t"))
		case !l.body:
			b.WriteString(strings.Join(headByCount(l, lines, count), "\t"))
		case aligned:
			b.WriteString(strings.Join(cellsByPlace(l.words, columns), "\t"))
		default:
			b.WriteString(strings.Join(texts(l.words), "\t"))
		}
		b.WriteByte('\n')
	}
	return b.String(), true
}

func texts(words []span) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = w.text
	}
	return out
}

// usualCount is the number of cells of nearly all rows; 0 = they differ.
func usualCount(lines []blankLine) int {
	counts, all, best := map[int]int{}, 0, 0
	for i := range lines {
		if lines[i].body {
			counts[len(lines[i].words)]++
			all++
		}
	}
	for n, k := range counts {
		if k > counts[best] || k == counts[best] && n > best {
			best = n
		}
	}
	if all == 0 || 10*counts[best] < 9*all {
		return 0
	}
	return best
}

// columnSpans finds the columns that the rows' cells stand in: stretches with
// blanks on either side in every row. aligned tells that there are at least
// two and that no row but a few has two cells in one or one cell in two.
func columnSpans(lines []blankLine) (columns []span, aligned bool) {
	var used []bool
	for i := range lines {
		if !lines[i].body {
			continue
		}
		for _, w := range lines[i].words {
			for len(used) < w.to {
				used = append(used, false)
			}
			for p := w.from; p < w.to; p++ {
				used[p] = true
			}
		}
	}
	for p := 0; p < len(used); p++ {
		if !used[p] {
			continue
		}
		from := p
		for p < len(used) && used[p] {
			p++
		}
		columns = append(columns, span{from: from, to: p})
	}
	for i := range lines {
		if lines[i].body && !fits(lines[i].words, columns) {
			return nil, false
		}
	}
	return columns, len(columns) >= 2
}

// fits tells whether each word stands in a column of its own.
func fits(words, columns []span) bool {
	k := 0
	for _, w := range words {
		for k < len(columns) && columns[k].to <= w.from {
			k++
		}
		if k == len(columns) || w.to > columns[k].to {
			return false
		}
		k++
	}
	return true
}

func cellsByPlace(words, columns []span) []string {
	out := make([]string, len(columns))
	k := 0
	for _, w := range words {
		for k < len(columns)-1 && columns[k].to <= w.from {
			k++
		}
		out[k] = w.text
	}
	return out
}

// stampPair is the index of a column of dates with times of day beside it; -1
// = none.
func stampPair(lines []blankLine, columns []span) int {
	for i := range lines {
		if !lines[i].body {
			continue
		}
		cells := cellsByPlace(lines[i].words, columns)
		return pairIn(cells)
	}
	return -1
}

func pairIn(cells []string) int {
	for k := 0; k+1 < len(cells); k++ {
		if celltext.LooksLikeStamp(cells[k]) && strings.IndexByte(cells[k], ':') < 0 && celltext.LooksLikeStamp(cells[k+1]) && strings.IndexByte(cells[k+1], ':') > 0 {
			return k
		}
	}
	return -1
}

// phrasesOf joins the words that only one blank parts.
func phrasesOf(words []span) []span {
	var out []span
	for _, w := range words {
		if n := len(out); n > 0 && w.from == out[n-1].to+1 {
			out[n-1].text += " " + w.text
			out[n-1].to = w.to
			continue
		}
		out = append(out, w)
	}
	return out
}

// degreesJoined makes one word of "DEG F".
func degreesJoined(words []span) []span {
	var out []span
	for _, w := range words {
		if n := len(out); n > 0 && w.from == out[n-1].to+1 && strings.HasPrefix(strings.ToLower(strings.TrimLeft(out[n-1].text, "([")), "deg") && len(w.text) <= 2 {
			out[n-1].text += " " + w.text
			out[n-1].to = w.to
			continue
		}
		out = append(out, w)
	}
	return out
}

// headByPlace deals the words of a line that is no row out to the columns: as
// many names as columns in their order (one name may stand over date and time
// of day), else by where they stand. A line of words without wider gaps is a
// remark and stays one cell.
func headByPlace(l *blankLine, columns []span, pair int) []string {
	phrases := phrasesOf(l.words)
	if names := namesFor(len(columns), pair, phrases, degreesJoined(l.words)); names != nil {
		return names
	}
	if len(phrases) < 2 && len(columns) > 1 && !(len(phrases) == 1 && phrases[0].from >= columns[1].from) {
		return []string{strings.TrimSpace(l.text)}
	}
	out := make([]string, len(columns))
	for _, p := range phrases {
		k := nearest(p, columns)
		out[k] = celltext.Trim(out[k] + " " + p.text)
	}
	return out
}

// namesFor takes the way to cut a line that gives a name for each of so many
// columns, or for all but one where date and time share theirs; nil = neither.
func namesFor(columns, pair int, ways ...[]span) []string {
	for _, names := range ways {
		if len(names) == columns {
			return texts(names)
		}
	}
	for _, names := range ways {
		if len(names) == columns-1 && pair >= 0 && pair < len(names) {
			return pad(texts(names), pair)
		}
	}
	return nil
}

// pad puts an empty name behind the one that stands over date and time.
func pad(names []string, pair int) []string {
	out := append([]string{}, names[:pair+1]...)
	return append(append(out, ""), names[pair+1:]...)
}

// nearest is the column whose middle lies nearest to a word's, in which case
// an overlap wins.
func nearest(w span, columns []span) int {
	best, bestOverlap, bestAway := 0, 0, 1<<30
	for k, c := range columns {
		overlap := min(w.to, c.to) - max(w.from, c.from)
		away := (w.from + w.to) - (c.from + c.to)
		away = max(away, -away)
		if max(overlap, 0) > bestOverlap || max(overlap, 0) == bestOverlap && away < bestAway {
			best, bestOverlap, bestAway = k, max(overlap, 0), away
		}
	}
	return best
}

// headByCount is headByPlace where only the number of words can tell.
func headByCount(l *blankLine, lines []blankLine, count int) []string {
	pair := -1
	for i := range lines {
		if lines[i].body && len(lines[i].words) == count {
			pair = pairIn(texts(lines[i].words))
			break
		}
	}
	if names := namesFor(count, pair, degreesJoined(l.words), phrasesOf(l.words)); names != nil {
		return names
	}
	return []string{strings.TrimSpace(l.text)}
}
