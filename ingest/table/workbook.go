package table

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"strconv"
	"strings"
	"sync"

	"github.com/xuri/excelize/v2"

	"yardheat/ingest/table/celltext"
	"yardheat/ingest/table/ooxml"
)

// workbook is one workbook while it is read.
type workbook struct {
	name     string
	main     string // part that lists the sheets
	archive  *ooxml.Archive
	sheets   []sheetPart
	date1904 bool
	texts    int // shared strings; -1 = there is no such part
}

// sheetPart is one sheet: its name and the part of the archive it stands in.
type sheetPart struct {
	name, part string
	scan       *ooxml.Scan
}

// readWorkbook reads the sheets of a workbook that opt selects. The archive
// and the XML of each sheet are checked first, because the library that reads
// the cells ends early on a damaged sheet without an error.
func readWorkbook(name string, b []byte, opt Options) (tables []*Table, err error) {
	defer func() {
		if p := recover(); p != nil {
			tables, err = nil, damaged(name, "", fmt.Errorf("%w: %v", ooxml.ErrDamaged, p))
		}
	}()
	w := &workbook{name: name}
	if w.archive, err = ooxml.Open(b); err != nil {
		return nil, damaged(name, "", err)
	}
	if err := w.readParts(); err != nil {
		return nil, err
	}
	chosen, lost, err := w.choose(opt.Sheet)
	if err != nil {
		return nil, err
	}
	if chosen, lost, err = w.scanAll(chosen, lost); err != nil {
		return nil, err
	}
	book, err := w.open(b, chosen)
	if err != nil {
		return nil, damaged(name, "", err)
	}
	defer func() { _ = book.Close() }() // read only
	return w.readSheets(book, chosen, lost, opt)
}

// damaged puts an error of archive or sheet into words.
func damaged(name, sheet string, err error) error {
	e := &Error{File: name, Sheet: sheet, Got: "a damaged workbook (" + err.Error() + ")", Want: "a whole .xlsx workbook",
		Do: "export or copy it again; if it opens in a spreadsheet program, save it there under a new name", Err: err}
	if errors.Is(err, ooxml.ErrTooBig) {
		e.Got, e.Do = "a workbook that "+err.Error(), "export shorter stretches, one workbook each"
	}
	return e
}

// readParts reads the list of sheets and counts the shared texts.
func (w *workbook) readParts() error {
	a := w.archive
	w.findMain()
	if err := w.refuseOther(); err != nil {
		return err
	}
	var list struct {
		Props struct {
			Date1904 string `xml:"date1904,attr"`
		} `xml:"workbookPr"`
		Sheets []struct {
			Name string     `xml:"name,attr"`
			Attr []xml.Attr `xml:",any,attr"`
		} `xml:"sheets>sheet"`
	}
	if err := xml.Unmarshal(a.Parts[w.main], &list); err != nil {
		return w.cutOr(fmt.Errorf("list of sheets: %w", err))
	}
	rels, err := w.relations(w.main)
	if err != nil {
		return w.cutOr(fmt.Errorf("list of parts: %w", err))
	}
	w.date1904 = list.Props.Date1904 == "1" || list.Props.Date1904 == "true"
	for _, s := range list.Sheets {
		for _, r := range rels {
			if r.ID == ooxml.Attr(s.Attr, "id") && strings.HasSuffix(r.Type, "/worksheet") {
				w.sheets = append(w.sheets, sheetPart{name: s.Name, part: partPath(w.main, r.Target)})
			}
		}
	}
	if len(w.sheets) == 0 {
		return &Error{File: w.name, Got: "a workbook without worksheets", Want: "a sheet that holds readings", Do: "export the log again"}
	}
	return w.countTexts()
}

// relation is one entry of a list of parts.
type relation struct {
	ID     string `xml:"Id,attr"`
	Type   string `xml:"Type,attr"`
	Target string `xml:"Target,attr"`
}

// relations reads the list of parts that a part refers to; "" is the archive.
func (w *workbook) relations(part string) ([]relation, error) {
	var list struct {
		Relationship []relation
	}
	dir, base := path.Split(part)
	err := xml.Unmarshal(w.archive.Parts[dir+"_rels/"+base+".rels"], &list)
	return list.Relationship, err
}

// partPath gives the part that target names from within part from.
func partPath(from, target string) string {
	if strings.HasPrefix(target, "/") {
		return target[1:]
	}
	return path.Join(path.Dir(from), target)
}

// findMain finds the part that lists the sheets; some programs number it.
func (w *workbook) findMain() {
	w.main = "xl/workbook.xml"
	rels, err := w.relations("")
	if err != nil {
		return // a cut file may lack the list; the usual name is tried
	}
	for _, r := range rels {
		if p := partPath("", r.Target); strings.HasSuffix(r.Type, "/officeDocument") && w.archive.Parts[p] != nil {
			w.main = p
		}
	}
}

// refuseOther tells a zip archive that is no .xlsx workbook.
func (w *workbook) refuseOther() error {
	a := w.archive
	rels, err := w.relations(w.main)
	if a.Parts[w.main] != nil && a.Partial != w.main && err == nil && len(rels) > 0 && strings.HasPrefix(w.main, "xl/") && !strings.HasSuffix(w.main, ".bin") {
		return nil
	}
	e := &Error{File: w.name, Want: "a text export (CSV) or an .xlsx workbook"}
	switch {
	case a.Parts["xl/workbook.bin"] != nil:
		e.Got, e.Do = "a binary workbook (.xlsb)", "open it in a spreadsheet program and save it as .xlsx"
	case strings.Contains(string(a.Parts["mimetype"]), "opendocument"):
		e.Got, e.Do = "an OpenDocument file", "open it in a spreadsheet program and save it as .xlsx or CSV"
	case a.Parts["word/document.xml"] != nil || a.Parts["ppt/presentation.xml"] != nil:
		e.Got, e.Do = "an office document without sheets", "export the readings as CSV or .xlsx"
	case a.Cut:
		return w.cutOr(errors.New("its list of sheets is missing"))
	default:
		e.Got, e.Do = fmt.Sprintf("a zip archive (%d files, the first %q)", len(a.Names), strings.Join(a.Names[:min(1, len(a.Names))], "")), "unpack it and name the files in it"
	}
	return e
}

// cutOr words an error that a cut file explains, else as damage.
func (w *workbook) cutOr(err error) error {
	if !w.archive.Cut {
		return damaged(w.name, "", fmt.Errorf("%w: %w", ooxml.ErrDamaged, err))
	}
	return &Error{File: w.name, Got: "a workbook that ends too early (" + err.Error() + ")", Want: "a whole .xlsx workbook",
		Do: "the file was cut while it was copied or written: export or copy it again", Err: err}
}

// countTexts reads the shared texts to their end and counts them.
func (w *workbook) countTexts() error {
	data, ok := w.archive.Parts["xl/sharedStrings.xml"]
	if !ok || w.archive.Partial == "xl/sharedStrings.xml" {
		delete(w.archive.Parts, "xl/sharedStrings.xml")
		w.texts = -1
		return nil
	}
	dec, depth := xml.NewDecoder(bytes.NewReader(data)), 0
	for {
		tok, err := dec.Token()
		if tok == nil {
			if depth != 0 || !errors.Is(err, io.EOF) {
				return damaged(w.name, "", fmt.Errorf("%w: shared texts: %w", ooxml.ErrDamaged, err))
			}
			return nil
		}
		switch t := tok.(type) {
		case xml.StartElement:
			if depth++; depth == 2 && t.Name.Local == "si" {
				w.texts++
			}
		case xml.EndElement:
			depth--
		}
	}
}

// choose picks the named sheet or all of them; lost are sheets that a cut
// took away.
func (w *workbook) choose(named string) (chosen []sheetPart, lost []string, err error) {
	var names []string
	for _, s := range w.sheets {
		names = append(names, strconv.Quote(s.name))
		if named != "" && !strings.EqualFold(celltext.Trim(s.name), celltext.Trim(named)) {
			continue
		}
		if w.archive.Parts[s.part] == nil {
			lost = append(lost, s.name)
			continue
		}
		chosen = append(chosen, s)
	}
	switch {
	case len(chosen) > 0 && (len(lost) == 0 || w.archive.Cut):
		return chosen, lost, nil
	case len(lost) > 0:
		return nil, nil, w.cutOr(fmt.Errorf("sheet %q is missing", lost[0]))
	}
	return nil, nil, &Error{File: w.name, Got: "the sheets " + strings.Join(names, ", "), Want: "a sheet named " + strconv.Quote(named),
		Do: "correct sheet in [[log]] or leave it out"}
}

// scanAll checks the chosen sheets, several at a time. A sheet of which a cut
// left no whole row is lost.
func (w *workbook) scanAll(chosen []sheetPart, lost []string) ([]sheetPart, []string, error) {
	errs := make([]error, len(chosen))
	var wg sync.WaitGroup
	for i := range chosen {
		wg.Go(func() { chosen[i].scan, errs[i] = ooxml.ScanSheet(w.archive.Parts[chosen[i].part]) })
	}
	wg.Wait()
	var whole []sheetPart
	for i, s := range chosen {
		broken := w.archive.Partial == s.part
		switch err := errs[i]; {
		case err != nil && broken && len(chosen) > 1:
			lost = append(lost, s.name)
			continue
		case err != nil && broken:
			return nil, nil, inFile(w.cutOr(err), w.name, s.name)
		case err != nil:
			return nil, nil, damaged(w.name, s.name, err)
		}
		if err := w.complete(s); err != nil {
			return nil, nil, inFile(err, w.name, s.name)
		}
		whole = append(whole, s)
	}
	return whole, lost, nil
}

// complete checks that the parts which a sheet leans on are there: without
// the shared texts its words, without the styles its dates are lost.
func (w *workbook) complete(s sheetPart) error {
	if s.scan.MaxText >= max(w.texts, 0) {
		return w.cutOr(fmt.Errorf("text number %d is missing", s.scan.MaxText))
	}
	if s.scan.Styled && (w.archive.Parts["xl/styles.xml"] == nil || w.archive.Partial == "xl/styles.xml") {
		return w.cutOr(errors.New("the styles, which tell dates from numbers, are missing"))
	}
	return nil
}

// open hands the workbook to the library, with cut sheets closed behind their
// last whole row.
func (w *workbook) open(b []byte, chosen []sheetPart) (*excelize.File, error) {
	repack := w.archive.Cut
	for _, s := range chosen {
		if s.scan.Cut {
			w.archive.Parts[s.part] = s.scan.Repaired
			repack = true
		}
	}
	if repack {
		if w.archive.Partial != "" && strings.HasPrefix(w.archive.Partial, "xl/worksheets/") {
			w.archive.Partial = ""
		}
		var err error
		if b, err = w.archive.Pack(); err != nil {
			return nil, err
		}
	}
	book, err := excelize.OpenReader(bytes.NewReader(b), excelize.Options{RawCellValue: true, UnzipSizeLimit: ooxml.MaxUnpackedB, UnzipXMLSizeLimit: ooxml.MaxUnpackedB})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ooxml.ErrDamaged, err)
	}
	return book, nil
}

// readSheets reads every chosen sheet; where none was named, sheets without a
// stamped table are left out if another has one.
func (w *workbook) readSheets(book *excelize.File, chosen []sheetPart, lost []string, opt Options) ([]*Table, error) {
	var tables, unstamped []*Table
	var firstErr error
	for _, s := range chosen {
		found, err := w.readSheet(book, s, opt)
		if err != nil {
			if !errors.Is(err, errNoTable) || opt.Sheet != "" {
				return nil, err
			}
			if firstErr == nil {
				firstErr = err
			}
			continue
		}
		for _, t := range found {
			if len(t.Rows) > 0 && hasStamp(t) {
				tables = append(tables, t)
			} else {
				unstamped = append(unstamped, t)
			}
		}
	}
	if len(tables) == 0 || opt.Sheet != "" {
		tables = append(tables, unstamped...)
	}
	if len(tables) == 0 {
		return nil, firstErr
	}
	for _, name := range lost {
		tables[0].Problems = append(tables[0].Problems, Problem{Code: "workbook-cut",
			Text: fmt.Sprintf("the file ends too early: sheet %q is missing as a whole; export or copy the workbook again", name)})
	}
	return tables, nil
}

func hasStamp(t *Table) bool {
	for _, r := range t.Rows[:min(len(t.Rows), sampleRows)] {
		if shapeOf(r.Cells).stamps > 0 {
			return true
		}
	}
	return false
}
