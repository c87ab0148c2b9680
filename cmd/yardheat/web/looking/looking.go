// Package looking describes files in the background: a few at a time, each once,
// and so that a file which brings the reader down is a file that cannot be used
// and nothing worse.
//
// What was found is kept in memory by what the file holds and how it was asked to
// be read; the oldest goes first. Whoever asks again gets the same answer at once.
package looking

import (
	"bytes"
	"container/list"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"sync"
	"time"

	"yardheat/ingest/logs"
	"yardheat/ingest/look"
	"yardheat/ingest/series"
	"yardheat/ingest/table"
)

// Ask is one file to describe, and how to read it.
type Ask struct {
	// Path is where it lies, Name what it is called.
	Path, Name string
	// Hash tells contents apart: what has the same hash is the same file.
	Hash string
	// Sum asks for the SHA-256, where Hash is something else.
	Sum   bool
	SizeB int64
	// Dates, Decimal, Separator, Encoding, Zone and Header as a [[log]] states them;
	// "" = as found.
	Dates, Decimal, Separator, Encoding, Zone, Header string
}

func (a Ask) key() string {
	return strings.Join([]string{a.Hash, a.Name, a.Dates, a.Decimal, a.Separator, a.Encoding, a.Zone, a.Header}, "\x00")
}

// Found is what a file holds. It is shared: nothing in it may be changed.
type Found struct {
	// Tables are called by Ask.Name.
	Tables []look.Table
	// SHA256 of the bytes in hex, if asked for.
	SHA256 string
	// Fault says why the file cannot be used, nil where it can.
	Fault *series.Fault
	// Line is the number of the line that the fault names, 0 = none.
	Line int
	// Took is how long the looking took.
	Took time.Duration
	// Lines are the lines that faults and problems speak of, by number, as they
	// stand in a text file.
	Lines map[int]string
	// Head are the first lines of a text file.
	Head []string
	// Shown are the lines that problems speak of, with the cell marked, by table and
	// problem; a file that was described in pieces has none.
	Shown map[[2]int]look.Shown
}

// Options of a Looker; zero values are replaced by defaults.
type Options struct {
	AtOnce  int // files read at the same time; default 2
	Keep    int // descriptions kept; default 400
	Now     func() time.Time
	Explain func(text string) // takes what a reader's panic said; may be nil
}

// Looker describes files. Its methods may be called from everywhere.
type Looker struct {
	opt   Options
	slots chan struct{}
	mu    sync.Mutex
	all   map[string]*entry
	order *list.List // of keys, the last asked for in front
}

type entry struct {
	done  chan struct{}
	found *Found
	at    *list.Element
}

// New prepares a Looker.
func New(opt Options) *Looker {
	if opt.AtOnce <= 0 {
		opt.AtOnce = 2
	}
	if opt.Keep <= 0 {
		opt.Keep = 400
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	return &Looker{opt: opt, slots: make(chan struct{}, opt.AtOnce), all: map[string]*entry{}, order: list.New()}
}

// Get is what the file holds; nil while it is being read, which this call begins
// where nobody has.
func (l *Looker) Get(a Ask) *Found {
	e := l.ask(a)
	select {
	case <-e.done:
		return e.found
	default:
		return nil
	}
}

// Wait is Get that waits, at most so long; nil = it is not done by then.
func (l *Looker) Wait(a Ask, most time.Duration) *Found {
	e := l.ask(a)
	t := time.NewTimer(most)
	defer t.Stop()
	select {
	case <-e.done:
		return e.found
	case <-t.C:
		return nil
	}
}

func (l *Looker) ask(a Ask) *entry {
	l.mu.Lock()
	defer l.mu.Unlock()
	key := a.key()
	if e := l.all[key]; e != nil {
		l.order.MoveToFront(e.at)
		return e
	}
	e := &entry{done: make(chan struct{}), at: l.order.PushFront(key)}
	l.all[key] = e
	l.forget()
	go l.run(a, e)
	return e
}

// forget drops the oldest descriptions that are done. The lock is held.
func (l *Looker) forget() {
	for at := l.order.Back(); at != nil && l.order.Len() > l.opt.Keep; {
		before := at.Prev()
		key := at.Value.(string)
		select {
		case <-l.all[key].done:
			l.order.Remove(at)
			delete(l.all, key)
		default:
		}
		at = before
	}
}

func (l *Looker) run(a Ask, e *entry) {
	l.slots <- struct{}{}
	defer func() { <-l.slots }()
	began := time.Now()
	found := l.look(a)
	found.Took = time.Since(began)
	e.found = found
	close(e.done)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.forget()
}

// look never fails: what goes wrong is the file's fault. A panic of a reader is
// one too; the page goes on.
func (l *Looker) look(a Ask) (f *Found) {
	f = &Found{}
	defer func() {
		if r := recover(); r != nil {
			buf := make([]byte, 8<<10)
			if l.opt.Explain != nil {
				l.opt.Explain(fmt.Sprintf("looking at %s: %v\n%s", a.Name, r, buf[:runtime.Stack(buf, false)]))
			}
			f = &Found{Fault: &series.Fault{File: a.Name, Got: "a file that the reader cannot cope with", Want: "an export of a logger", Do: "leave it out, and keep it: it is a fault of this program"}}
		}
	}()
	tables, b, err := l.tables(a)
	if err != nil {
		fault := logs.AsFault(a.Name, err)
		f.Fault = &fault
		var e *table.Error
		if errors.As(err, &e) {
			f.Line = e.Line
		}
	}
	for i := range tables {
		tables[i].File = a.Name
	}
	f.Tables = tables
	if a.Sum {
		f.SHA256 = sum(a.Path)
	}
	f.Shown = shown(b, tables)
	l.lines(a, f)
	return f
}

// tables describes the file; b are its bytes where they were read at once.
func (l *Looker) tables(a Ask) (tables []look.Table, b []byte, err error) {
	opt := look.Options{Zone: a.Zone, Dates: a.Dates, Now: l.opt.Now()}
	opt.Table = table.Options{Decimal: a.Decimal, Separator: a.Separator, Encoding: a.Encoding}
	if a.Header != "" {
		var n int
		if _, err := fmt.Sscanf(a.Header, "%d", &n); err == nil {
			opt.Table.Header = &n
		}
	}
	if a.SizeB > inMemoryB {
		tables, err = look.File(a.Path, opt)
		return tables, nil, err
	}
	if b, err = os.ReadFile(a.Path); err != nil {
		return nil, nil, err
	}
	tables, err = look.Bytes(a.Name, b, opt)
	return tables, b, err
}

// shown fetches the lines that problems speak of. A workbook is read again for
// each, so they are few.
func shown(b []byte, tables []look.Table) map[[2]int]look.Shown {
	out := map[[2]int]look.Shown{}
	if b == nil {
		return out
	}
	for i := range tables {
		most := mostLines
		if tables[i].Sheet != "" || tables[i].Member != "" {
			most = 2
		}
		for k, p := range tables[i].Problems {
			if p.Line < 1 || most == 0 {
				continue
			}
			if s, ok := look.Excerpt(b, &tables[i], p.Line, p.Column); ok {
				out[[2]int{i, k}] = s
				most--
			}
		}
	}
	return out
}

// sum is the SHA-256 of a file, "" where it can't be read.
func sum(path string) string {
	file, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer func() { _ = file.Close() }() // read only
	h := sha256.New()
	if _, err := io.Copy(h, file); err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}

// inMemoryB: a larger file is described in pieces (look.File), and words of its
// name then say nothing of its columns.
const inMemoryB = 40 << 20

// The lines that are shown of a text file: few, and none of them long.
const (
	headLines  = 3
	mostLines  = 12
	mostRunes  = 300
	mostReadB  = 64 << 20
	longestRow = 1 << 20
)

// lines fetches the lines that are spoken of, where the file is a text.
func (l *Looker) lines(a Ask, f *Found) {
	want := map[int]bool{}
	if f.Line > 0 {
		want[f.Line] = true
	}
	for i := range f.Tables {
		t := &f.Tables[i]
		if t.Sheet != "" || t.Member != "" {
			continue
		}
		for _, p := range t.Problems {
			if p.Line > 0 && len(want) < mostLines {
				want[p.Line] = true
			}
		}
		if t.FirstRow > 0 {
			want[t.FirstRow] = true
		}
		if t.HeaderLine > 0 {
			want[t.HeaderLine] = true
		}
	}
	file, err := os.Open(a.Path)
	if err != nil {
		return
	}
	defer func() { _ = file.Close() }() // read only
	f.Head, f.Lines = excerpt(io.LimitReader(file, mostReadB), want)
}

// excerpt reads the first lines and those asked for. A file that is no text of
// one byte a character has none.
func excerpt(r io.Reader, want map[int]bool) (head []string, lines map[int]string) {
	last := headLines
	for n := range want {
		last = max(last, n)
	}
	lines = map[int]string{}
	s := newRows(r)
	for n := 1; n <= last; n++ {
		row, ok := s.next()
		if !ok {
			break
		}
		if n == 1 && !plainText(row) {
			return nil, nil
		}
		if n <= headLines {
			head = append(head, short(row))
		}
		if want[n] {
			lines[n] = short(row)
		}
	}
	return head, lines
}

func plainText(b []byte) bool {
	return bytes.IndexByte(b, 0) < 0 && !bytes.HasPrefix(b, []byte("PK\x03\x04")) && !bytes.HasPrefix(b, []byte{0x1f, 0x8b}) && !bytes.HasPrefix(b, []byte{0xd0, 0xcf, 0x11, 0xe0})
}

// short is a line fit to show: in Unicode, and not too long. Bytes that are no
// UTF-8 are taken for those of Western Europe.
func short(b []byte) string {
	s := strings.TrimPrefix(string(b), "\ufeff")
	if strings.ToValidUTF8(s, "") != s {
		runes := make([]rune, 0, len(s))
		for i := 0; i < len(s); i++ {
			runes = append(runes, rune(s[i]))
		}
		s = string(runes)
	}
	if r := []rune(s); len(r) > mostRunes {
		return string(r[:mostRunes]) + "…"
	}
	return s
}
