package table

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"yardheat/ingest/table/celltext"
)

// Records that name their cells: a JSON object each, or pairs such as
// "flow=3.5". They become the rows of a table whose header is every name once,
// in the order in which they turn up.

// named gathers such records.
type named struct {
	header []string
	at     map[string]int
	rows   []Row
	probs  []Problem
}

// mostNames is how many names records may have together.
const mostNames = 512

// set puts a cell under its name into the open row; false where there are too
// many names.
func (n *named) set(row *Row, name, cell string) bool {
	i, known := n.at[name]
	if !known {
		if i = len(n.header); i == mostNames {
			return false
		}
		n.header, n.at[name] = append(n.header, name), i
	}
	for len(row.Cells) <= i {
		row.Cells = append(row.Cells, "")
	}
	row.Cells[i] = celltext.Trim(cell)
	return true
}

// table makes the rows as wide as the header and puts it in front.
func (n *named) table(line int) []Row {
	out := make([]Row, 0, len(n.rows)+1)
	out = append(out, Row{Line: line, Cells: n.header})
	for _, r := range n.rows {
		for len(r.Cells) < len(n.header) {
			r.Cells = append(r.Cells, "")
		}
		out = append(out, r)
	}
	return out
}

// readNamed reads a text of such records; handled is false for any other.
func readNamed(base Table, text string, opt Options) (tables []*Table, handled bool, err error) {
	var n *named
	one := opt
	switch trimmed := strings.TrimLeft(text, " \t\r\n"); {
	case strings.HasPrefix(trimmed, "{"), strings.HasPrefix(trimmed, "[{"), strings.HasPrefix(trimmed, "[") && strings.HasPrefix(strings.TrimLeft(trimmed[1:], " \t\r\n"), "{"):
		n, err = jsonRecords(base.File, text)
		if one.Decimal == "" {
			one.Decimal = "." // JSON has no other
		}
	case strings.HasPrefix(trimmed, "[["), strings.HasPrefix(trimmed, "[\""):
		return nil, true, &Error{File: base.File, Line: 1, Err: errNoTable, Got: "JSON lists, whose cells have no names: " + quote(trimmed),
			Want: "JSON objects, one a line or in one array, or a text export (CSV)", Do: "export as CSV"}
	default:
		if n = pairRecords(text); n != nil && !endsLine(text) {
			n.cutEnd()
		}
	}
	if err != nil {
		return nil, true, err
	}
	if n == nil || len(n.rows) == 0 {
		return nil, false, nil
	}
	first := n.rows[0].Line
	header := first
	one.Header = &header
	rows := n.table(first)
	tables, err = tablesOf(base, rows, one, 0)
	if err != nil {
		return nil, true, inFile(err, base.File, "")
	}
	spread(tables, n.probs)
	tables, err = pick(base.File, "", tables, opt.Table)
	return tables, true, err
}

// cutEnd looks at the last cell of a text that ends without a line break.
func (n *named) cutEnd() {
	if len(n.rows) == 0 {
		return
	}
	width := len(n.header)
	rows := n.table(n.rows[0].Line)
	last := &rows[len(rows)-1]
	if last.Cells = dropEmptyTail(last.Cells); len(last.Cells) == 0 {
		return
	}
	rows, probs := cutEnd(rows)
	for i := range rows {
		for len(rows[i].Cells) < width {
			rows[i].Cells = append(rows[i].Cells, "")
		}
	}
	n.rows, n.probs = rows[1:], append(n.probs, probs...)
}

// jsonRecords reads JSON objects, one behind the other or in one array. Objects
// within one give names parted by a point; an array within is left as text.
func jsonRecords(name, text string) (*named, error) {
	n := &named{at: map[string]int{}}
	lines := lineCounter{text: text}
	dec := json.NewDecoder(strings.NewReader(text))
	dec.UseNumber()
	array := false
	for {
		at := int(dec.InputOffset())
		at += len(text[at:]) - len(strings.TrimLeft(text[at:], " \t\r\n,"))
		if !array && at < len(text) && text[at] == '[' {
			if _, err := dec.Token(); err != nil {
				return nil, jsonError(name, lines.at(at), err)
			}
			array = true
			continue
		}
		if array && !dec.More() {
			if _, err := dec.Token(); err == nil {
				return n, nil
			}
		}
		var raw json.RawMessage
		err := dec.Decode(&raw)
		switch {
		case errors.Is(err, io.EOF) && !array:
			return n, nil
		case err != nil && len(n.rows) > 2 && (errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF)):
			n.probs = append(n.probs, Problem{Code: "file-cut", Line: lines.at(at), Text: "the file ends within a record, which is left out: it was cut"})
			return n, nil
		case err != nil:
			return nil, jsonError(name, lines.at(at), err)
		}
		row := Row{Line: lines.at(at)}
		if err := n.object(&row, "", raw); err != nil {
			return nil, &Error{File: name, Line: row.Line, Err: errNoTable, Got: "JSON that is no list of records (" + err.Error() + "): " + quote(string(raw)),
				Want: "objects with a stamp and readings under the same names, one behind the other or in one array", Do: "export as CSV"}
		}
		n.rows = append(n.rows, row)
		if len(n.rows)*(rowRoomB+len(n.header)*cellRoomB) > mostRoomB {
			return nil, tooLarge(name, int64(len(text)), MaxTextB)
		}
	}
}

func jsonError(name string, line int, err error) error {
	return &Error{File: name, Line: line, Err: errNoTable, Got: "JSON that cannot be read (" + err.Error() + ")", Want: "objects, one a line or in one array",
		Do: "export again, as CSV where the logger can"}
}

// object books the members of an object under their names.
func (n *named) object(row *Row, prefix string, raw []byte) error {
	dec := json.NewDecoder(bytes.NewReader(raw))
	if open, err := dec.Token(); err != nil || open != json.Delim('{') {
		return errors.New("no object")
	}
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return err
		}
		var value json.RawMessage
		if err := dec.Decode(&value); err != nil {
			return err
		}
		name, cell := prefix+fmt.Sprint(key), string(value)
		switch value[0] {
		case '{':
			if strings.Count(name, ".") > 3 {
				return errors.New("objects within objects within objects")
			}
			if err := n.object(row, name+".", value); err != nil {
				return err
			}
			continue
		case '[':
			if bytes.Contains(value, []byte("{")) || len(value) > 400 {
				return errors.New("a list within a record")
			}
		case '"':
			if err := json.Unmarshal(value, &cell); err != nil {
				return err
			}
		case 'n':
			cell = ""
		}
		if !n.set(row, name, cell) {
			return fmt.Errorf("more than %d names", mostNames)
		}
	}
	return nil
}

// lineCounter counts lines up to offsets that only grow.
type lineCounter struct {
	text     string
	to, line int
}

func (l *lineCounter) at(offset int) int {
	l.line += strings.Count(l.text[l.to:offset], "\n")
	l.to = offset
	return l.line + 1
}

// pairsLeast is the share of lines that are made of pairs in a text of pairs.
const pairsLeast = 0.8

// pairRecords reads lines of pairs, "t=20.5 flow=3" or "t=20.5;flow=3", with a
// stamp in front or under a name; nil where the text is none.
func pairRecords(text string) *named {
	sample := takeLines(nil, text, 0, 60)
	fit := 0
	for _, line := range sample {
		if _, pairs := cutPairs(line); len(pairs) >= 2 || len(pairs) == 1 && celltext.LooksLikeStamp(firstWords(line)) {
			fit++
		}
	}
	if len(sample) < 3 || float64(fit) < pairsLeast*float64(len(sample)) {
		return nil
	}
	n := &named{at: map[string]int{}}
	for i, line := 0, 1; i < len(text); line++ {
		end, next := lineEnd(text, i)
		n.pairLine(text[i:end], line)
		i = next
	}
	return n
}

func (n *named) pairLine(text string, line int) {
	lead, pairs := cutPairs(text)
	if len(pairs) == 0 {
		if celltext.Trim(text) != "" {
			n.probs = append(n.probs, Problem{Code: "not-a-row", Line: line, Text: "no pairs such as name=value; left out: " + quote(text)})
		}
		return
	}
	row := Row{Line: line}
	stamp, rest := cutStamp(lead)
	if lead != "" {
		n.set(&row, "time", stamp)
	}
	if rest != "" {
		n.set(&row, "text", rest)
	}
	seen := map[string]bool{}
	for _, p := range pairs {
		if seen[p[0]] || !n.set(&row, p[0], p[1]) {
			n.probs = append(n.probs, Problem{Code: "not-a-row", Line: line, Text: "a name stands twice, or too many do; left out: " + quote(text)})
			return
		}
		seen[p[0]] = true
	}
	n.rows = append(n.rows, row)
}

// firstWords are the first words of a line, as a stamp may be written.
func firstWords(line string) string {
	words := strings.FieldsFunc(line, func(r rune) bool { return strings.ContainsRune(" ,;\t|", r) })
	return strings.Join(words[:min(2, len(words))], " ")
}

// cutPairs parts a line into what stands before the first pair and its pairs;
// nil where something else stands among them.
func cutPairs(line string) (lead string, pairs [][2]string) {
	for i := 0; i < len(line); {
		if strings.IndexByte(" ,;\t|", line[i]) >= 0 {
			i++
			continue
		}
		word, end := pairWord(line, i)
		name, value, ok := strings.Cut(word, "=")
		switch {
		case ok && isPairName(name):
			pairs = append(pairs, [2]string{name, strings.Trim(value, `"`)})
		case len(pairs) == 0:
			lead = celltext.Trim(line[:end])
		default:
			return "", nil
		}
		i = end
	}
	return strings.TrimRight(lead, " ,;|:"), pairs
}

// pairWord is the word at i; what stands in quotes behind "=" is part of it, and
// so is a decimal comma.
func pairWord(line string, i int) (word string, end int) {
	quoted := false
	for end = i; end < len(line); end++ {
		c := line[end]
		if c == '"' {
			quoted = !quoted
		}
		decimal := c == ',' && end > i && end+1 < len(line) && line[end-1]-'0' <= 9 && line[end+1]-'0' <= 9
		if !quoted && !decimal && strings.IndexByte(" ,;\t|", c) >= 0 {
			break
		}
	}
	return line[i:end], end
}

func isPairName(s string) bool {
	if s == "" || len(s) > 60 || s[0]-'0' <= 9 {
		return false
	}
	return !strings.ContainsAny(s, `"'<>&?:`)
}

// cutStamp parts the stamp from what else stands before the pairs.
func cutStamp(lead string) (stamp, rest string) {
	words := strings.Fields(lead)
	k := 0
	for n := min(len(words), 5); n > 0; n-- {
		last := words[n-1]
		clock := strings.IndexByte(last, ':') > 0 && last[0]-'0' <= 9
		if celltext.LooksLikeStamp(strings.Join(words[:n], " ")) && (n == 1 || clock || isHalf(last)) {
			k = n
			break
		}
	}
	if k == 0 {
		return lead, ""
	}
	return strings.TrimRight(strings.Join(words[:k], " "), ",;"), strings.Join(words[k:], " ")
}
