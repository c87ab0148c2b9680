package table

import (
	"encoding/xml"
	"errors"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"

	"yardheat/ingest/pack"
	"yardheat/ingest/table/celltext"
	"yardheat/ingest/table/ooxml"
)

// workbook is one workbook while it is read.
type workbook struct {
	name     string
	form     string // what Table.Encoding calls it
	main     string // part that lists the sheets
	archive  *pack.Archive
	sheets   []sheetPart
	date1904 bool
	texts    *ooxml.Texts // nil = there is no such part, or a cut took it
	styles   ooxml.Styles // nil likewise
	heldB    int          // memory that its texts and cells take
}

// sheetPart is one sheet: its name and the part of the archive it stands in.
type sheetPart struct {
	name, part string
	hidden     bool // from who opens the workbook
}

// readWorkbook reads the sheets of a workbook that opt selects. Nothing is
// given back before every part of the archive, read or not, was checked.
func readWorkbook(name string, b []byte, opt Options) ([]*Table, error) {
	w, chosen, lost, err := openWorkbook(name, b, opt)
	if err != nil {
		return nil, err
	}
	readers, lost, err := w.readCells(chosen, lost)
	if err != nil {
		return nil, err
	}
	return w.readSheets(readers, lost, opt)
}

// openWorkbook reads and checks all but the chosen sheets.
func openWorkbook(name string, b []byte, opt Options) (w *workbook, chosen []sheetPart, lost []string, err error) {
	w = &workbook{name: name, form: "XLSX"}
	if w.archive, err = pack.OpenArchive(b); err != nil {
		return nil, nil, nil, damaged(name, "", err)
	}
	w.archive.Check = opt.check()
	if err := w.readParts(); err != nil {
		return nil, nil, nil, err
	}
	if chosen, lost, err = w.choose(opt.Sheet); err != nil {
		return nil, nil, nil, err
	}
	var parts []string
	for _, s := range chosen {
		parts = append(parts, s.part)
	}
	if err := w.archive.VerifyRest(parts...); err != nil {
		return nil, nil, nil, damaged(name, "", err)
	}
	return w, chosen, lost, nil
}

// damaged puts an error of archive or sheet into words.
func damaged(name, sheet string, err error) error {
	e := &Error{File: name, Sheet: sheet, Got: "a damaged workbook (" + err.Error() + ")", Want: "a whole .xlsx workbook",
		Do: "export or copy it again; if it opens in a spreadsheet program, save it there under a new name", Err: err}
	switch {
	case errors.Is(err, pack.ErrTooBig):
		e.Got, e.Do = "a workbook that cannot be read whole ("+err.Error()+")", "export shorter stretches, one workbook each, or as CSV"
	case errors.Is(err, ooxml.ErrTooWide):
		e.Got, e.Want, e.Do = err.Error(), "readings near the sheet's left edge", "delete what stands far to the right of the readings, and save it under a new name"
	case errors.Is(err, pack.ErrLocked):
		e.Got, e.Do = "a workbook locked with a password", "open it in a spreadsheet program and save it without a password"
	}
	return e
}

// readParts reads the list of sheets, the shared texts and the styles.
func (w *workbook) readParts() error {
	w.findMain()
	if err := w.refuseOther(); err != nil {
		return err
	}
	var list struct {
		Props struct {
			Date1904 string `xml:"date1904,attr"`
		} `xml:"workbookPr"`
		Sheets []struct {
			Name  string     `xml:"name,attr"`
			State string     `xml:"state,attr"`
			Attr  []xml.Attr `xml:",any,attr"`
		} `xml:"sheets>sheet"`
	}
	if err := w.unmarshal(w.main, &list); err != nil {
		return w.cutOr(fmt.Errorf("list of sheets: %w", err))
	}
	rels, err := w.relations(w.main)
	if err != nil {
		return w.cutOr(fmt.Errorf("list of parts: %w", err))
	}
	w.date1904 = list.Props.Date1904 == "1" || list.Props.Date1904 == "true"
	for _, s := range list.Sheets {
		for _, r := range rels {
			if r.ID == relationID(s.Attr) && strings.HasSuffix(r.Type, "/worksheet") {
				w.sheets = append(w.sheets, sheetPart{name: s.Name, part: partPath(w.main, r.Target), hidden: strings.Contains(strings.ToLower(s.State), "hidden")})
			}
		}
	}
	if len(w.sheets) == 0 {
		return &Error{File: w.name, Got: "a workbook without worksheets", Want: "a sheet that holds readings", Do: "export the log again"}
	}
	return w.readShared(rels)
}

// unmarshal reads a part that is XML.
func (w *workbook) unmarshal(part string, into any) error {
	data, err := w.archive.Bytes(part)
	if err != nil {
		return err
	}
	return xml.Unmarshal(data, into)
}

// relationID is the id that names a sheet's entry in the list of parts.
func relationID(attrs []xml.Attr) string {
	for _, a := range attrs {
		if a.Name.Local == "id" && a.Name.Space != "" {
			return a.Value
		}
	}
	return ""
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
	err := w.unmarshal(dir+"_rels/"+base+".rels", &list)
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
		if p := partPath("", r.Target); strings.HasSuffix(r.Type, "/officeDocument") && w.archive.Has(p) {
			w.main = p
		}
	}
}

// refuseOther tells a zip archive that is no .xlsx workbook.
func (w *workbook) refuseOther() error {
	a := w.archive
	rels, err := w.relations(w.main)
	if a.Whole(w.main) && err == nil && len(rels) > 0 && strings.HasPrefix(w.main, "xl/") && !strings.HasSuffix(w.main, ".bin") {
		return nil
	}
	e := &Error{File: w.name, Want: "a text export (CSV) or an .xlsx workbook"}
	switch {
	case a.Has("xl/workbook.bin"):
		e.Got, e.Do = "a binary workbook (.xlsb)", "open it in a spreadsheet program and save it as .xlsx"
	case w.mimetype("opendocument"):
		e.Got, e.Do = "an OpenDocument file", "open it in a spreadsheet program and save it as .xlsx or CSV"
	case a.Has("word/document.xml") || a.Has("ppt/presentation.xml"):
		e.Got, e.Do = "an office document without sheets", "export the readings as CSV or .xlsx"
	case a.Cut:
		return w.cutOr(errors.New("its list of sheets is missing"))
	default:
		e.Got, e.Do = fmt.Sprintf("a zip archive (%d files, the first %q)", len(a.Names), strings.Join(a.Names[:min(1, len(a.Names))], "")), "unpack it and name the files in it"
	}
	return e
}

// mimetype tells whether the archive calls itself so.
func (w *workbook) mimetype(word string) bool {
	b, err := w.archive.Bytes("mimetype")
	return err == nil && strings.Contains(string(b), word)
}

// cutOr words an error that a cut file explains, else as damage.
func (w *workbook) cutOr(err error) error {
	if !w.archive.Cut || errors.Is(err, pack.ErrTooBig) {
		return damaged(w.name, "", fmt.Errorf("%w: %w", pack.ErrDamaged, err))
	}
	return &Error{File: w.name, Got: "a workbook that ends too early (" + err.Error() + ")", Want: "a whole .xlsx workbook",
		Do: "the file was cut while it was copied or written: export or copy it again", Err: err}
}

// readShared reads what cells point to: shared texts and styles. Where a cut
// took one of them, only sheets that use it are lost.
func (w *workbook) readShared(rels []relation) error {
	texts, styles := "xl/sharedStrings.xml", "xl/styles.xml"
	for _, r := range rels {
		switch {
		case strings.HasSuffix(r.Type, "/sharedStrings"):
			texts = partPath(w.main, r.Target)
		case strings.HasSuffix(r.Type, "/styles"):
			styles = partPath(w.main, r.Target)
		}
	}
	var err error
	if w.archive.Whole(texts) {
		if w.texts, err = ooxml.ReadTexts(w.archive.Stream(texts)); err != nil {
			return damaged(w.name, "", err)
		}
		w.heldB += w.texts.HeldB()
	}
	if w.archive.Whole(styles) {
		data, err := w.archive.Bytes(styles)
		if err == nil {
			w.styles, err = ooxml.ReadStyles(data)
		}
		if err != nil {
			return damaged(w.name, "", err)
		}
	}
	return nil
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
		if !w.archive.Has(s.part) {
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

// readCells reads the cells of the chosen sheets. A sheet of which a cut left
// no whole row is lost.
func (w *workbook) readCells(chosen []sheetPart, lost []string) ([]*sheetReader, []string, error) {
	var readers []*sheetReader
	for _, s := range chosen {
		r := newSheetReader(w, s)
		err := r.read()
		broken := w.archive.Partial == s.part
		switch {
		case err == nil:
			readers = append(readers, r)
		case errors.Is(err, pack.ErrTooBig):
			return nil, nil, damaged(w.name, s.name, err)
		case errors.Is(err, errLack):
			return nil, nil, inFile(w.cutOr(err), w.name, s.name)
		case broken && len(chosen) > 1:
			lost = append(lost, s.name)
		case broken:
			return nil, nil, inFile(w.cutOr(err), w.name, s.name)
		default:
			return nil, nil, damaged(w.name, s.name, err)
		}
	}
	return readers, lost, nil
}

// readSheets reads every chosen sheet; where none was named, sheets without a
// stamped table are left out if another has one, and particulars ("Exported on
// …") if another has readings.
func (w *workbook) readSheets(readers []*sheetReader, lost []string, opt Options) ([]*Table, error) {
	var tables, unstamped []*Table
	var firstErr error
	for _, r := range readers {
		found, err := r.tables(opt)
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
			if len(t.Rows) > 0 && hasStamp(t) && !(len(t.Rows) < 3 && !hasNumber(t)) {
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

func hasNumber(t *Table) bool {
	return slices.ContainsFunc(t.Rows, func(r Row) bool { return shapeOf(r.Cells).numbers > 0 })
}

func hasStamp(t *Table) bool {
	for _, r := range t.Rows[:min(len(t.Rows), sampleRows)] {
		if shapeOf(r.Cells).stamps > 0 {
			return true
		}
	}
	return false
}
