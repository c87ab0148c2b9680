package pack

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
)

// Member is one export taken out of a file, or the file itself. Name is what
// messages call it: "exports.zip/yard.csv" for a member of a pack of files.
type Member struct {
	Name string
	Data []byte
}

// Error says which member cannot be taken out, why, and what to do.
type Error struct {
	Name string // of the file or "file/member"
	Got  string
	Do   string
	Err  error
}

// Error gives the whole message: place, finding, expectation, advice.
func (e *Error) Error() string {
	return fmt.Sprintf("%s: got %s; want exports, plain or packed once as .gz or .zip; %s", e.Name, e.Got, e.Do)
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

const (
	magicZip      = "PK\x03\x04"
	magicEmptyZip = "PK\x05\x06"
	magicGzip     = "\x1f\x8b"
)

// IsPacked tells by its first bytes whether b may be a pack; a workbook may.
func IsPacked(b []byte) bool { return isZip(b) || bytes.HasPrefix(b, []byte(magicGzip)) }

func isZip(b []byte) bool {
	return bytes.HasPrefix(b, []byte(magicZip)) || bytes.HasPrefix(b, []byte(magicEmptyZip))
}

// Open takes the exports out of b. What is no pack, and a workbook, comes back
// as it is, under its own name.
func Open(name string, b []byte) ([]Member, error) { return OpenChecked(name, b, nil) }

// OpenChecked is Open that calls check, where it is not nil, every few hundred
// kilobytes: it may leave by a panic.
func OpenChecked(name string, b []byte, check func()) ([]Member, error) {
	switch {
	case bytes.HasPrefix(b, []byte(magicGzip)):
		return openGzip(name, b, check)
	case isZip(b):
		return openZip(name, b, check)
	}
	return []Member{{Name: name, Data: b}}, nil
}

// openGzip unpacks a .gz; its one member keeps the file's name.
func openGzip(name string, b []byte, check func()) ([]Member, error) {
	data, err := gunzip(b, check)
	if err != nil {
		return nil, wordsFor(name, err)
	}
	if bytes.HasPrefix(data, []byte(magicGzip)) || isZip(data) && !looksLikeOffice(data) || isTar(data) {
		return nil, wordsFor(name, ErrNested)
	}
	return []Member{{Name: name, Data: data}}, nil
}

// gunzip unpacks within the bounds; the checksum and the length behind each
// stretch are held against its bytes. Where the length that the file states is
// not that of the whole, it is measured first, so that no memory is spent on
// growing.
func gunzip(b []byte, check func()) ([]byte, error) {
	limit := min(MaxMembersB, limitB(len(b)))
	var data []byte
	if len(b) >= 18 { // header and trailer
		if n := int64(binary.LittleEndian.Uint32(b[len(b)-4:])); n <= limit {
			data = make([]byte, n)
		}
	}
	n, err := gunzipInto(data, b, limit, check)
	if err == nil && n != int64(len(data)) {
		data = make([]byte, n)
		n, err = gunzipInto(data, b, limit, check)
	}
	return data[:min(n, int64(len(data)))], err
}

// gunzipInto fills data and counts what stands behind it without keeping it.
func gunzipInto(data, b []byte, limit int64, check func()) (int64, error) {
	in, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		return 0, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	r := &checkedReader{r: in, check: check}
	kept, err := io.ReadFull(r, data)
	n := int64(kept)
	if err == nil {
		var more int64
		more, err = io.Copy(io.Discard, io.LimitReader(r, limit+1-n))
		n += more
	} else if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		// ReadFull says so of any early end: ask the reader itself.
		_, err = r.Read(make([]byte, 1))
	}
	switch {
	case n > MaxMembersB:
		return 0, TooMuch(MaxMembersB)
	case n > limit:
		return 0, tooBig(n)
	case errors.Is(err, io.ErrUnexpectedEOF):
		return 0, fmt.Errorf("%w: it ends too early", ErrDamaged)
	case err != nil && !errors.Is(err, io.EOF):
		return 0, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return n, nil
}

// checkedReader calls check before reads, which it keeps short.
type checkedReader struct {
	r     io.Reader
	check func()
}

func (c *checkedReader) Read(p []byte) (int, error) {
	if c.check != nil {
		c.check()
		p = p[:min(len(p), 256<<10)]
	}
	return c.r.Read(p)
}

// isTar knows a tar archive by the mark at byte 257 (POSIX.1-2017, pax,
// "ustar Interchange Format").
func isTar(b []byte) bool { return len(b) > 262 && string(b[257:262]) == "ustar" }

// looksLikeOffice tells a workbook or other office file, which is a zip archive
// but no pack, by the parts that such a file must have.
func looksLikeOffice(b []byte) bool {
	a, _ := OpenArchive(b) // a damaged one may still show what it is
	return a != nil && a.isOffice()
}

func (a *Archive) isOffice() bool {
	for _, n := range a.Names {
		if n == "[Content_Types].xml" || n == "mimetype" {
			return true
		}
		switch dir, _, _ := strings.Cut(n, "/"); dir {
		case "xl", "word", "ppt", "_rels":
			return true
		}
	}
	return false
}

// openZip unpacks every export of a zip archive.
func openZip(name string, b []byte, check func()) ([]Member, error) {
	a, err := OpenArchive(b)
	if a != nil {
		a.Check = check
	}
	if a != nil && a.isOffice() {
		return []Member{{Name: name, Data: b}}, nil
	}
	switch {
	case err != nil:
		return nil, wordsFor(name, err)
	case a.Cut && a.Partial != "":
		return nil, wordsFor(name+"/"+a.Partial, fmt.Errorf("%w: the file ends within this member", ErrDamaged))
	case a.Cut:
		return nil, wordsFor(name, fmt.Errorf("%w: it ends behind %q, before its list of members", ErrDamaged, a.Names[len(a.Names)-1]))
	}
	var members []Member
	held := 0
	for _, n := range a.Names {
		if passedOver(n) {
			continue
		}
		data, err := a.Bytes(n)
		if err == nil && (IsPacked(data) && !looksLikeOffice(data) || isTar(data)) {
			err = ErrNested
		}
		if held += len(data); err == nil && held > MaxMembersB {
			err = TooMuch(MaxMembersB)
		}
		if err != nil {
			return nil, wordsFor(name+"/"+n, err)
		}
		members = append(members, Member{Name: name + "/" + n, Data: data})
	}
	if len(members) == 0 {
		return nil, &Error{Name: name, Got: "a zip archive without files", Do: "pack the exports again"}
	}
	return members, nil
}

// passedOver are the notes that file managers leave in archives.
func passedOver(name string) bool {
	base := path.Base(name)
	return strings.HasPrefix(name, "__MACOSX/") || strings.HasPrefix(base, ".") || strings.EqualFold(base, "thumbs.db") || strings.EqualFold(base, "desktop.ini")
}

// wordsFor puts an error into words.
func wordsFor(name string, err error) error {
	e := &Error{Name: name, Got: "an archive that cannot be read (" + err.Error() + ")", Do: "copy or export it again", Err: err}
	switch {
	case errors.Is(err, ErrNested):
		e.Got, e.Do = "an archive within an archive", "unpack it and give the exports in it"
	case errors.Is(err, ErrLocked):
		e.Got, e.Do = "an archive that is locked with a password", "unpack it with its password and give the exports in it"
	case errors.Is(err, ErrTooBig):
		e.Got, e.Do = "an archive that cannot be taken whole ("+err.Error()+")", "unpack it and give the exports one by one, shorter stretches each"
	}
	return e
}
