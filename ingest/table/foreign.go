package table

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"yardheat/ingest/pack"
	"yardheat/ingest/table/celltext"
	"yardheat/ingest/table/markup"
	"yardheat/ingest/table/ooxml"
)

// readPacked reads every export in b, packed or plain. A member that is no
// export is listed and passed over where others are; a damaged one is an error.
func readPacked(name string, b []byte, opt Options) ([]*Table, error) {
	members := []pack.Member{{Name: name, Data: b}}
	if pack.IsPacked(b) {
		var err error
		var e *pack.Error
		if members, err = pack.OpenChecked(name, b, opt.check()); errors.As(err, &e) {
			return nil, &Error{File: e.Name, Got: e.Got, Want: "exports, plain or packed once as .gz or .zip", Do: e.Do, Err: err}
		} else if err != nil {
			return nil, err
		}
	}
	var tables []*Table
	var passed []Problem
	var first error
	for i, m := range members {
		members[i].Data = nil // what is read needs no longer be kept
		some, err := readOne(m.Name, m.Data, opt)
		var e *Error
		switch {
		case err == nil:
			tables = append(tables, some...)
		case len(members) == 1 || !errors.As(err, &e) || !IsNoTable(err):
			return nil, err
		default:
			if first == nil {
				first = err
			}
			passed = append(passed, PassedOver(m.Name, e))
		}
	}
	if len(tables) == 0 {
		return nil, first
	}
	tables[0].Problems = append(tables[0].Problems, passed...)
	return tables, nil
}

// IsNoTable tells whether an error says that a file holds no table, not that it
// is damaged: among others it can be passed over.
func IsNoTable(err error) bool {
	var e *Error
	return errors.As(err, &e) && (e.Err == nil || errors.Is(err, errNoTable) || errors.Is(err, ErrEmpty))
}

// PassedOver lists a member of a packed file that is no export.
func PassedOver(name string, e *Error) Problem {
	return Problem{Code: "member-passed-over", Text: fmt.Sprintf("%s is passed over: it holds %s", quote(name), e.Got)}
}

// readOne reads one export that is not packed, by what its bytes are.
func readOne(name string, b []byte, opt Options) ([]*Table, error) {
	if pack.IsPacked(b) { // a workbook: all else was unpacked
		return readWorkbook(name, b, opt)
	}
	if tables, handled, err := readMarkup(name, b, opt); handled {
		return tables, err
	}
	return readText(name, b, opt)
}

// maxPageB is how long a page or XML workbook may be: it is decoded as a whole.
const maxPageB = 128 << 20

// readMarkup reads a web page with a table of readings, or a workbook written
// as one XML document: both often bear the name .xls. handled is false where b
// is neither.
func readMarkup(name string, b []byte, opt Options) (tables []*Table, handled bool, err error) {
	if head := bytes.TrimLeft(b[:min(len(b), 64)], "\xef\xbb\xbf\xff\xfe \t\r\n\x00"); len(head) == 0 || head[0] != '<' {
		return nil, false, nil
	}
	named := opt.Encoding
	if named == "" {
		named = statedCharset(b)
	}
	// A head that cannot be decoded is no page's: readText says what is wrong
	// with the encoding.
	head, _, _, err := decode(b[:min(len(b), 8192)&^1], named)
	page := err == nil && markup.IsHTML(head)
	if !page && !strings.Contains(head, ooxml.Namespace2003) {
		return nil, false, nil
	}
	if len(b) > maxPageB {
		return nil, true, damagedPage(name, page, fmt.Errorf("%w: %d MB; at most %d MB of a page are read", pack.ErrTooBig, len(b)>>20, maxPageB>>20))
	}
	text, enc, probs, err := decode(b, named)
	if err != nil {
		return nil, true, damagedPage(name, page, err)
	}
	if page {
		tables, err = readPage(name, text, enc, probs, opt)
	} else {
		tables, err = readBook2003(name, text, opt)
	}
	return tables, true, err
}

// statedCharset finds the encoding that a page or document states of itself,
// "" = none that is known.
func statedCharset(b []byte) string {
	head := bytes.ToLower(b[:min(len(b), 2048)])
	for _, word := range [...]string{"charset=", "encoding="} {
		_, rest, ok := bytes.Cut(head, []byte(word))
		if !ok {
			continue
		}
		rest = bytes.TrimLeft(rest, "\"' ")
		if i := bytes.IndexAny(rest, "\"'> ;/?"); i > 0 {
			if key := string(rest[:i]); charsetKey(key) != "" && !strings.HasPrefix(key, "utf-16") {
				if _, known := charsets[charsetKey(key)]; known {
					return key
				}
			}
		}
	}
	return ""
}

func damagedPage(name string, page bool, err error) error {
	e := &Error{File: name, Got: "a workbook in XML that cannot be read (" + err.Error() + ")", Want: "a text export (CSV) or a workbook (.xlsx)",
		Do: "open it in a spreadsheet program and save it as .xlsx", Err: err}
	if errors.Is(err, pack.ErrTooBig) || errors.Is(err, markup.ErrTooWide) {
		e.Do = "export shorter stretches, as CSV"
	}
	if page {
		e.Got = "a web page (HTML) that cannot be read (" + err.Error() + ")"
	}
	return e
}

// readPage reads the tables of a web page.
func readPage(name, text, enc string, probs []Problem, opt Options) ([]*Table, error) {
	found, err := markup.ReadHTML(text)
	if err != nil {
		return nil, damagedPage(name, true, err)
	}
	var tables, unstamped []*Table
	for _, m := range found {
		some, err := tablesOf(Table{File: name, Encoding: enc}, evenRows(m.Rows), opt, 0)
		if errors.Is(err, errNoTable) {
			continue // a menu, a frame for the page's looks
		}
		if err != nil {
			return nil, inFile(err, name, "")
		}
		if m.Cut {
			last := m.Rows[len(m.Rows)-1].Line
			spread(some, []Problem{{Code: "file-cut", Line: last, Text: "the page ends within the table: what stood below its last whole row is lost; export or copy it again"}})
		}
		for _, t := range some {
			if len(t.Rows) > 0 && hasStamp(t) {
				tables = append(tables, t)
			} else {
				unstamped = append(unstamped, t)
			}
		}
	}
	if len(tables) == 0 {
		tables = unstamped
	}
	if len(tables) == 0 {
		return nil, &Error{File: name, Got: fmt.Sprintf("a web page (HTML) with %d tables, none of readings", len(found)), Want: "a text export (CSV) or a workbook (.xlsx)",
			Do: "download the data file itself; a log-in page is often saved in its place", Err: errNoTable}
	}
	spread(tables, probs)
	return pick(name, "", tables, opt.Table)
}

// evenRows makes rows of one width.
func evenRows(in []markup.Row) []Row {
	width := 0
	for _, r := range in {
		width = max(width, len(r.Cells))
	}
	rows := make([]Row, len(in))
	for i, r := range in {
		rows[i] = Row{Line: r.Line, Cells: r.Cells}
		for len(rows[i].Cells) < width && width-len(rows[i].Cells) <= fewMissing {
			rows[i].Cells = append(rows[i].Cells, "")
		}
	}
	return rows
}

// fewMissing is how many cells a row of a page may lack and be filled up; one
// that lacks more is a title or a note.
const fewMissing = 3

// readBook2003 reads the sheets of a workbook that is one XML document.
func readBook2003(name, text string, opt Options) ([]*Table, error) {
	w := &workbook{name: name, form: "XML workbook", archive: &pack.Archive{}}
	var readers []*sheetReader
	var names []string
	open := func(sheet string) func(*ooxml.Row) error {
		names = append(names, quote(sheet))
		readers = append(readers, newSheetReader(w, sheetPart{name: sheet}))
		return readers[len(readers)-1].row
	}
	closed := func(s *ooxml.Summary) error {
		w.archive.Cut = w.archive.Cut || s.Cut
		return readers[len(readers)-1].finish(s)
	}
	if err := ooxml.Read2003(strings.NewReader(text), open, closed); err != nil {
		return nil, damagedPage(name, false, err)
	}
	var chosen []*sheetReader
	for _, r := range readers {
		if opt.Sheet == "" || strings.EqualFold(celltext.Trim(r.sheet.name), celltext.Trim(opt.Sheet)) {
			chosen = append(chosen, r)
		}
	}
	if len(chosen) == 0 {
		return nil, &Error{File: name, Got: "the sheets " + strings.Join(names, ", "), Want: "a sheet named " + quote(opt.Sheet),
			Do: "correct sheet in [[log]] or leave it out"}
	}
	return w.readSheets(chosen, nil, opt)
}
