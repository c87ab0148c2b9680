package retrace

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
)

// workbook holds a workbook against the one made anew: cell by cell, with
// formulas, then part by part.
func (c *comparer) workbook(name, wasPath, nowPath string) error {
	now, err := readWorkbook(nowPath)
	if err != nil {
		return fmt.Errorf("%s made anew: %w", name, err)
	}
	was, err := readWorkbook(wasPath)
	if err != nil {
		c.v.say(KindFileChanged, name, "can't be read as a workbook: %s", err)
		return nil
	}
	n := 0
	for _, sheet := range now.sheets {
		if _, ok := was.cells[sheet]; !ok {
			c.v.say(KindFileChanged, name, "has no sheet %q", sheet)
			n++
		}
	}
	for _, sheet := range was.sheets {
		if _, ok := now.cells[sheet]; !ok {
			c.v.say(KindFileChanged, name, "the sheet %q does not follow from the originals", sheet)
			n++
			continue
		}
		n += c.sheet(name, sheet, was.cells[sheet], now.cells[sheet])
	}
	if n == 0 && c.mode == exact {
		c.parts(name, was, now)
	}
	return nil
}

// sheet lists the cells that differ, by row and column.
func (c *comparer) sheet(name, sheet string, was, now map[string]string) int {
	var at []string
	for ref, v := range was {
		if w := now[ref]; v != w && !(c.mode != exact && alikeText(v, w)) {
			at = append(at, ref)
		}
	}
	for ref := range now {
		if _, ok := was[ref]; !ok {
			at = append(at, ref)
		}
	}
	slices.SortFunc(at, byPlace)
	for i, ref := range at {
		if i == mostCells {
			c.v.say(KindFileChanged, name, "%d cells of the sheet %q differ in all", len(at), sheet)
			break
		}
		c.v.add(Difference{Kind: KindFileChanged, File: name, Where: fmt.Sprintf("sheet %q, %s", sheet, ref), Report: was[ref], Originals: now[ref],
			Text: fmt.Sprintf("sheet %q, %s: %q in the report, %q by the originals", sheet, ref, was[ref], now[ref])})
	}
	return len(at)
}

// byPlace orders cells by row, then column.
func byPlace(a, b string) int {
	split := func(ref string) (letters string, row string) {
		i := strings.IndexAny(ref, "0123456789")
		if i < 0 {
			return ref, ""
		}
		return ref[:i], ref[i:]
	}
	la, ra := split(a)
	lb, rb := split(b)
	if ra != rb {
		if len(ra) != len(rb) {
			return len(ra) - len(rb)
		}
		return strings.Compare(ra, rb)
	}
	if len(la) != len(lb) {
		return len(la) - len(lb)
	}
	return strings.Compare(la, lb)
}

// parts names the parts of the file that differ although every cell agrees.
func (c *comparer) parts(name string, was, now *book) {
	var differ []string
	for _, part := range sortedKeys(now.parts) {
		if !bytes.Equal(was.parts[part], now.parts[part]) {
			differ = append(differ, part)
		}
	}
	for _, part := range sortedKeys(was.parts) {
		if _, ok := now.parts[part]; !ok {
			differ = append(differ, part)
		}
	}
	if len(differ) > 0 {
		c.v.say(KindFileChanged, name, "every cell agrees, but these parts of the file differ: %s", strings.Join(differ[:min(6, len(differ))], ", "))
	}
}

// book is a workbook's cells by sheet and place; a formula stands before its
// value.
type book struct {
	sheets []string
	cells  map[string]map[string]string
	parts  map[string][]byte
}

// mostBookB is what a workbook's parts may unpack to: a report of ten years at
// ten seconds has a tenth of it.
const mostBookB = 512 << 20

func readWorkbook(at string) (*book, error) {
	z, err := zip.OpenReader(at)
	if err != nil {
		return nil, err
	}
	defer func() { _ = z.Close() }() // read only
	b := &book{cells: map[string]map[string]string{}, parts: map[string][]byte{}}
	left := int64(mostBookB)
	for _, f := range z.File {
		if _, twice := b.parts[f.Name]; twice {
			return nil, fmt.Errorf("the part %q stands there twice", f.Name)
		}
		r, err := f.Open()
		if err != nil {
			return nil, err
		}
		part, err := io.ReadAll(io.LimitReader(r, left+1))
		if err = errors.Join(err, r.Close()); err != nil {
			return nil, fmt.Errorf("%s: %w", f.Name, err)
		}
		if left -= int64(len(part)); left < 0 {
			return nil, fmt.Errorf("unpacks to more than %d MB", mostBookB>>20)
		}
		b.parts[f.Name] = part
	}
	return b, b.read()
}

// read reads the sheets that the workbook lists.
func (b *book) read() error {
	var list struct {
		Sheets []struct {
			Name string `xml:"name,attr"`
			ID   string `xml:"http://schemas.openxmlformats.org/officeDocument/2006/relationships id,attr"`
		} `xml:"sheets>sheet"`
	}
	if err := xml.Unmarshal(b.parts["xl/workbook.xml"], &list); err != nil {
		return fmt.Errorf("xl/workbook.xml: %w", err)
	}
	var rels struct {
		All []struct {
			ID     string `xml:"Id,attr"`
			Target string `xml:"Target,attr"`
		} `xml:"Relationship"`
	}
	if err := xml.Unmarshal(b.parts["xl/_rels/workbook.xml.rels"], &rels); err != nil {
		return fmt.Errorf("xl/_rels/workbook.xml.rels: %w", err)
	}
	shared, err := sharedStrings(b.parts["xl/sharedStrings.xml"])
	if err != nil {
		return err
	}
	for _, s := range list.Sheets {
		for _, r := range rels.All {
			if r.ID != s.ID {
				continue
			}
			target := strings.TrimPrefix(r.Target, "/")
			if !strings.HasPrefix(r.Target, "/") {
				target = path.Join("xl", r.Target)
			}
			cells, err := sheetCells(b.parts[target], shared)
			if err != nil {
				return fmt.Errorf("%s: %w", target, err)
			}
			b.sheets = append(b.sheets, s.Name)
			b.cells[s.Name] = cells
		}
	}
	return nil
}

// rich is a text, in one piece or several.
type rich struct {
	T string `xml:"t"`
	R []struct {
		T string `xml:"t"`
	} `xml:"r"`
}

func (r rich) text() string {
	out := r.T
	for _, part := range r.R {
		out += part.T
	}
	return out
}

func sharedStrings(part []byte) ([]string, error) {
	if part == nil {
		return nil, nil
	}
	var all struct {
		SI []rich `xml:"si"`
	}
	if err := xml.Unmarshal(part, &all); err != nil {
		return nil, fmt.Errorf("xl/sharedStrings.xml: %w", err)
	}
	out := make([]string, len(all.SI))
	for i, s := range all.SI {
		out[i] = s.text()
	}
	return out, nil
}

func sheetCells(part []byte, shared []string) (map[string]string, error) {
	out := map[string]string{}
	dec := xml.NewDecoder(bytes.NewReader(part))
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		start, ok := tok.(xml.StartElement)
		if !ok || start.Name.Local != "c" {
			continue
		}
		var c struct {
			Ref  string `xml:"r,attr"`
			Type string `xml:"t,attr"`
			F    string `xml:"f"`
			V    string `xml:"v"`
			IS   rich   `xml:"is"`
		}
		if err := dec.DecodeElement(&c, &start); err != nil {
			return nil, err
		}
		v := c.V
		switch c.Type {
		case "s":
			k := 0
			if _, err := fmt.Sscan(v, &k); err != nil || k < 0 || k >= len(shared) {
				return nil, fmt.Errorf("%s: there is no text %q", c.Ref, v)
			}
			v = shared[k]
		case "inlineStr":
			v = c.IS.text()
		}
		if c.F != "" {
			v = "=" + c.F + " → " + v
		}
		if v != "" {
			out[c.Ref] = v
		}
	}
}
