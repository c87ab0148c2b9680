package ooxml

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"

	"yardheat/ingest/pack"
)

// Texts are the shared texts of a workbook, by number, in one piece of memory.
type Texts struct {
	all  []byte
	ends []int
}

// At gives a text by its number.
func (t *Texts) At(i int) ([]byte, bool) {
	if t == nil || i < 0 || i >= len(t.ends) {
		return nil, false
	}
	from := 0
	if i > 0 {
		from = t.ends[i-1]
	}
	return t.all[from:t.ends[i]:t.ends[i]], true
}

// HeldB is how much memory the texts take.
func (t *Texts) HeldB() int {
	if t == nil {
		return 0
	}
	return cap(t.all) + 8*cap(t.ends)
}

// ErrTexts are shared texts that are malformed or end early.
var ErrTexts = errors.New("damaged shared texts")

// ReadTexts reads the shared texts to their end.
func ReadTexts(in io.Reader) (*Texts, error) {
	src := newSource(in, "</si>")
	defer src.close()
	s := &textScanner{src: src, dec: xml.NewDecoder(src)}
	err := s.run()
	if broken := src.broken(); broken != nil {
		err = broken
	}
	return &s.Texts, err
}

type textScanner struct {
	Texts
	src    *source
	dec    *xml.Decoder
	open   []string
	rooted bool
	fast   bool
	from   int // where the text now read begins
}

func (s *textScanner) run() error {
	for {
		if s.fast {
			s.plainTexts()
			s.fast = false
		}
		if s.HeldB() > pack.MaxCellsB/2 { // growing takes as much again
			return pack.TooMuch(pack.MaxCellsB)
		}
		s.src.token = maxTokenB
		tok, err := s.dec.RawToken()
		switch {
		case errors.Is(err, io.EOF) && len(s.open) == 0 && s.rooted:
			return nil
		case err != nil:
			return fmt.Errorf("%w: behind text %d: %w", ErrTexts, len(s.ends), err)
		}
		switch t := tok.(type) {
		case xml.StartElement:
			err = s.start(t)
		case xml.EndElement:
			err = s.end(t.Name)
		case xml.CharData:
			if s.inText() {
				s.all = append(s.all, t...)
			}
		case xml.Directive:
			err = fmt.Errorf("%w: they have a document type", ErrTexts)
		}
		if err != nil {
			return err
		}
	}
}

func (s *textScanner) start(t xml.StartElement) error {
	s.open = append(s.open, fullName(t.Name))
	switch depth := len(s.open); {
	case depth > maxNesting || doubled(t.Attr):
		return fmt.Errorf("%w: <%s> behind text %d", ErrTexts, fullName(t.Name), len(s.ends))
	case depth == 1 && (s.rooted || t.Name.Local != "sst"):
		return fmt.Errorf("%w: <%s> where they should begin", ErrTexts, fullName(t.Name))
	case depth == 1:
		s.rooted = true
		s.fast = t.Name.Space == "" && s.src.prev != '/'
	case depth == 2 && t.Name.Local == "si":
		s.from = len(s.all)
	}
	return nil
}

// inText tells whether characters belong to a text: of the entry itself or of
// one of its runs, not of a reading aid.
func (s *textScanner) inText() bool {
	n := len(s.open)
	return (n == 3 || n == 4 && localName(s.open[2]) == "r") && localName(s.open[1]) == "si" && localName(s.open[n-1]) == "t"
}

func (s *textScanner) end(name xml.Name) error {
	depth := len(s.open)
	if depth == 0 || s.open[depth-1] != fullName(name) {
		return fmt.Errorf("%w: </%s> behind text %d closes nothing", ErrTexts, fullName(name), len(s.ends))
	}
	s.open = s.open[:depth-1]
	if depth == 2 && name.Local == "si" {
		s.close()
		s.fast = s.open[0] == "sst"
	}
	return nil
}

// close ends the text that begins at s.from.
func (s *textScanner) close() {
	if text := s.all[s.from:]; hasEscape(text) {
		s.all = append(s.all[:s.from], appendUnescaped(nil, text)...)
	}
	s.ends = append(s.ends, len(s.all))
}

// plainTexts takes texts as long as they are written in the plain way.
func (s *textScanner) plainTexts() {
	for (s.src.pos < len(s.src.cur) || s.src.more()) && s.HeldB() <= pack.MaxCellsB/2 {
		b, i := s.src.cur, skipBlanks(s.src.cur, s.src.pos)
		if i == len(b) {
			s.src.pos = i
			continue
		}
		next := -1
		for _, open := range [...]string{"<si><t>", `<si><t xml:space="preserve">`} {
			if !bytes.HasPrefix(b[i:], []byte(open)) {
				continue
			}
			text, end, ok := plainText(b, i+len(open))
			if ok && bytes.HasPrefix(b[end:], []byte("</t></si>")) {
				s.from = len(s.all)
				s.all = append(s.all, text...)
				s.close()
				next = end + len("</t></si>")
			}
			break
		}
		if next < 0 {
			return
		}
		s.src.pos = next
	}
}
