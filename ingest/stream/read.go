package stream

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"

	"yardheat/ingest/clock"
	"yardheat/ingest/series/room"
	"yardheat/ingest/work"
)

// Read reads a file of size bytes by a plan, on some workers. The error wraps
// ErrIrregular where the file has to be read in another way; where the plan's
// context has ended it is the context's.
func Read(r io.ReaderAt, size int64, plan *Plan, workers int) (*Rows, error) {
	return readBlocks(r, size, plan, workers, blockBytes)
}

// readBlocks is Read with blocks of some size.
func readBlocks(r io.ReaderAt, size int64, plan *Plan, workers int, blockB int64) (*Rows, error) {
	if err := plan.Validate(); err != nil {
		return nil, err
	}
	// To count the lines beforehand takes as long as to read them from memory once
	// more; where a guess is too low, they are counted after all.
	for _, lines := range [...]func(*job) (int, error){(*job).likelyLines, (*job).mostLines} {
		j := &job{file: r, size: size, blockB: blockB, plan: plan, rows: &Rows{FirstLine: plan.FirstLine, SizeB: size}}
		if rows, err := j.read(lines, workers); !errors.Is(err, errMoreLines) {
			return rows, err
		}
	}
	return nil, irregular(plan.FirstLine, "it was written to while it was read")
}

// errMoreLines are more lines than there is room for.
var errMoreLines = errors.New("more lines than were expected")

// read reads the file into room for so many lines.
func (j *job) read(lines func(*job) (int, error), workers int) (*Rows, error) {
	n, err := lines(j)
	if err == nil {
		err = j.room(n)
	}
	if err != nil {
		return nil, err
	}
	full, free := make(chan *block, blocksAhead), make(chan []byte, blocksAhead+workers+1)
	var done work.Group
	for range max(1, workers) {
		done.Go(func() {
			// Whatever happens, what is dealt is taken: the dealer must not wait for ever.
			defer func() {
				for b := range full {
					free <- b.bytes[:0]
				}
			}()
			w := newReader(j.plan, j.rows)
			for b := range full {
				buf := b.bytes
				w.read(b)
				free <- buf[:0]
			}
		})
	}
	err = j.deal(full, free)
	close(full)
	done.Wait()
	if err != nil {
		return nil, err
	}
	return j.rows, j.gather()
}

// job is one file while it is read.
type job struct {
	file   io.ReaderAt
	size   int64
	blockB int64
	plan   *Plan
	rows   *Rows
	blocks []*block
	tail   *OddLine // the last line, where no line break ends it
	end    int      // rows in whole lines
}

// tooMany tells whether so many lines would take more room than they may.
func (j *job) tooMany(n int) bool {
	room := int64(n) * int64(8*(len(j.plan.Columns)+1))
	return room > mostRoomB && room > mostRoomTimes*j.size
}

// room makes the columns so many lines long.
func (j *job) room(n int) error {
	if j.tooMany(n) {
		return irregular(j.plan.FirstLine, "%d lines in %d MB are too many to keep", n, j.size>>20)
	}
	r := j.rows
	r.ClockMS = make([]int64, n)
	room.Large(r.ClockMS)
	r.V = make([][]float64, len(j.plan.Columns))
	for k := range r.V {
		// Columns that began at the same place of a page would drive each other
		// out of the processor's cache, row by row.
		ahead := k * stagger
		r.V[k] = make([]float64, ahead+n)[ahead:]
		room.Large(r.V[k])
	}
	return nil
}

// stagger is by how many values each column begins further on than the one
// before it: three cache lines.
const stagger = 24

// deal reads the file once, hashes it, and hands it out in blocks of whole
// lines.
func (j *job) deal(full chan<- *block, free <-chan []byte) error {
	hash := sha256.New()
	head := make([]byte, 64<<10)
	for at := int64(0); at < j.plan.FirstByte; {
		n, err := j.file.ReadAt(head[:min(int64(len(head)), j.plan.FirstByte-at)], at)
		if n == 0 {
			return fmt.Errorf("file shorter than its size: %w", err)
		}
		hash.Write(head[:n])
		at += int64(n)
	}
	line, at := j.plan.FirstLine, j.plan.FirstByte
	var rest []byte
	made := 0
	for at < j.size {
		var buf []byte
		select {
		case buf = <-free:
		default:
			if made < cap(free) {
				buf = make([]byte, 0, j.blockB+mostLine+padding)
				made++
			} else {
				buf = <-free
			}
		}
		buf = append(buf, rest...)
		start := at - int64(len(rest))
		n, err := j.file.ReadAt(buf[len(buf):len(buf)+int(min(j.blockB, j.size-at))], at)
		if n == 0 {
			return fmt.Errorf("file shorter than its size: %w", err)
		}
		if err := work.Err(j.plan.Context); err != nil {
			return err
		}
		if j.plan.Told != nil {
			j.plan.Told(at)
		}
		hash.Write(buf[len(buf) : len(buf)+n])
		buf, at = buf[:len(buf)+n], at+int64(n)
		end := bytes.LastIndexByte(buf, '\n') + 1
		lines := bytes.Count(buf[:end], []byte{'\n'})
		if line+lines-j.plan.FirstLine >= len(j.rows.ClockMS) {
			return errMoreLines
		}
		if at == j.size {
			j.lastLine(buf[end:], start+int64(end), line+lines)
			rest = nil
		} else {
			rest = append(rest[:0], buf[end:]...)
		}
		if len(rest) >= mostLine {
			return irregular(line, "it is longer than %d bytes", mostLine)
		}
		b := &block{index: len(j.blocks), bytes: buf[:end], at: start, line: line}
		j.blocks = append(j.blocks, b)
		line += lines
		full <- b
	}
	j.rows.Lines = line - 1
	j.rows.SHA256 = hex.EncodeToString(hash.Sum(nil))
	return nil
}

// lastLine keeps a line without an end: it may have been cut, which package
// table judges.
func (j *job) lastLine(text []byte, at int64, line int) {
	j.end = line - j.plan.FirstLine
	if len(bytes.TrimSpace(text)) > 0 {
		j.tail = &OddLine{Line: line, At: at, Text: string(text)}
	}
}

// trim cuts the columns to the lines that there are. The workers must be done.
func (j *job) trim() {
	r, n := j.rows, j.end
	if j.tail != nil {
		n++
	}
	r.ClockMS = r.ClockMS[:n]
	for k := range r.V {
		r.V[k] = r.V[k][:n]
	}
	if j.tail == nil {
		return
	}
	r.ClockMS[j.end] = clock.Bad
	for k := range r.V {
		r.V[k][j.end] = math.NaN()
	}
}

// gather brings together what the blocks found, in their order.
func (j *job) gather() error {
	j.trim()
	r := j.rows
	n := len(j.plan.Columns)
	r.Bad, r.BadCount, r.Failed = make([][]BadCell, n), make([]int, n), make([]FailedCells, n)
	for _, b := range j.blocks {
		if err := j.take(b); err != nil {
			return err
		}
	}
	if j.tail != nil {
		r.Odd = append(r.Odd, *j.tail)
	}
	return nil
}

func (j *job) take(b *block) error {
	r := j.rows
	if b.err != nil {
		return b.err
	}
	r.Runs = append(r.Runs, b.runs...)
	r.Odd = append(r.Odd, b.odd...)
	if len(r.Odd) > mostOdd {
		return irregular(b.line, "more than %d lines do not fit the others", mostOdd)
	}
	for k := range r.V {
		r.BadCount[k] += b.badN[k]
		if f := b.fails[k]; f.Count > 0 {
			if r.Failed[k].Count == 0 {
				r.Failed[k].First = f.First
			}
			r.Failed[k].Count += f.Count
		}
		for _, c := range b.bad[k] {
			if len(r.Bad[k]) < shownOfBad {
				r.Bad[k] = append(r.Bad[k], c)
			}
		}
	}
	return nil
}
