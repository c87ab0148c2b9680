package record

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Readings are a record.csv read back: a value a cell of the grid and channel, NaN
// where it is not known. Flags are not kept. It does not change.
type Readings struct {
	StartMS, StepMS int64
	N               int
	Columns         []Column
	// Values by column, N each, in the unit of the column; 7 digits are more than
	// the eye reads off a chart.
	Values [][]float32
}

// ErrNotRecord: the file is no record.csv of ours.
var ErrNotRecord = errors.New("not a record.csv of a report")

// ErrTooLong: the record holds more values than the caller takes.
var ErrTooLong = errors.New("the record is too long to be read at once")

// ReadRecord reads a record.csv. most bounds the values kept (4 bytes each).
func ReadRecord(name string, most int) (*Readings, error) {
	info, err := os.Stat(name)
	if err != nil {
		return nil, err
	}
	if info.Size() > 16*int64(most) { // a value takes two bytes at the least, mostly five
		return nil, ErrTooLong
	}
	b, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	return parseRecord(b, most)
}

func parseRecord(b []byte, most int) (*Readings, error) {
	line, body, ok := bytes.Cut(b, []byte("\n"))
	if !ok {
		return nil, ErrNotRecord
	}
	if bytes.IndexByte(line, '"') >= 0 {
		return parseQuoted(b, most)
	}
	t := &Readings{}
	if err := t.head(strings.Split(string(line), ",")); err != nil {
		return nil, err
	}
	t.N = bytes.Count(body, []byte("\n"))
	if len(body) > 0 && body[len(body)-1] != '\n' {
		return nil, fmt.Errorf("%w: it ends within a row", ErrNotRecord)
	}
	if err := t.grow(most); err != nil || t.N == 0 {
		return t, err
	}
	first, rest, _ := bytes.Cut(body, []byte("\n"))
	second, _, _ := bytes.Cut(rest, []byte("\n"))
	if err := t.times(stampOf(first), stampOf(second)); err != nil {
		return nil, err
	}
	return t, t.fill(body)
}

// head reads the names of the columns.
func (t *Readings) head(names []string) error {
	if len(names) < 3 || names[0] != "time_utc" || names[1] != "time_local" || names[len(names)-1] != "flags" {
		return ErrNotRecord
	}
	for _, name := range names[2 : len(names)-1] {
		t.Columns = append(t.Columns, columnOf(name))
	}
	return nil
}

// columnOf takes a name apart: quantity[@place][#n]_unit.
func columnOf(name string) Column {
	c := Column{Name: name}
	at := strings.LastIndexByte(name, '_')
	if at < 0 {
		return c
	}
	c.Quantity, c.Unit = name[:at], name[at+1:]
	if cut := strings.LastIndexByte(c.Quantity, '#'); cut >= 0 {
		c.Quantity = c.Quantity[:cut]
	}
	c.Quantity, c.Place, _ = strings.Cut(c.Quantity, "@")
	return c
}

func (t *Readings) grow(most int) error {
	if t.N*len(t.Columns) > most {
		return ErrTooLong
	}
	t.Values = make([][]float32, len(t.Columns))
	for i := range t.Values {
		t.Values[i] = make([]float32, t.N)
	}
	return nil
}

func stampOf(row []byte) string {
	cell, _, _ := bytes.Cut(row, []byte(","))
	return string(cell)
}

func (t *Readings) times(first, second string) error {
	at, err := time.Parse(time.RFC3339, first)
	if err != nil {
		return fmt.Errorf("%w: time %.40q", ErrNotRecord, first)
	}
	t.StartMS, t.StepMS = at.UnixMilli(), 60_000
	if t.N < 2 {
		return nil
	}
	next, err := time.Parse(time.RFC3339, second)
	if err != nil || !next.After(at) {
		return fmt.Errorf("%w: time %.40q", ErrNotRecord, second)
	}
	t.StepMS = next.UnixMilli() - t.StartMS
	return nil
}

// fill reads the rows, a stretch a worker.
func (t *Readings) fill(body []byte) error {
	workers := max(1, runtime.GOMAXPROCS(0))
	errs := make([]error, workers)
	var wg sync.WaitGroup
	row, from := 0, 0
	for k := range workers {
		to := len(body) * (k + 1) / workers
		if to < from {
			to = from
		}
		if at := bytes.IndexByte(body[to:], '\n'); k < workers-1 && at >= 0 {
			to += at + 1
		} else {
			to = len(body)
		}
		part, start := body[from:to], row
		row += bytes.Count(part, []byte("\n"))
		from = to
		wg.Go(func() { errs[k] = t.rows(part, start) })
	}
	wg.Wait()
	return errors.Join(errs...)
}

func (t *Readings) rows(b []byte, row int) error {
	for len(b) > 0 {
		end := bytes.IndexByte(b, '\n')
		line := b[:end]
		b = b[end+1:]
		for range 2 { // the stamps
			at := bytes.IndexByte(line, ',')
			if at < 0 {
				return fmt.Errorf("%w: row %d is short", ErrNotRecord, row+1)
			}
			line = line[at+1:]
		}
		for k := range t.Values {
			v, n := number(line)
			if n >= len(line) || line[n] != ',' {
				return fmt.Errorf("%w: row %d, column %q", ErrNotRecord, row+1, t.Columns[k].Name)
			}
			t.Values[k][row] = v
			line = line[n+1:]
		}
		row++
	}
	return nil
}

// number reads a number as appendFixed writes it, up to the comma; NaN of
// nothing. n is how many bytes it took.
func number(b []byte) (v float32, n int) {
	neg := len(b) > 0 && b[0] == '-'
	i := 0
	if neg {
		i = 1
	}
	start := i
	var m int64
	for i < len(b) && b[i]-'0' < 10 {
		m = m*10 + int64(b[i]-'0')
		i++
	}
	x, below := float64(m), 1.0
	if i < len(b) && b[i] == '.' {
		i++
		for i < len(b) && b[i]-'0' < 10 {
			m = m*10 + int64(b[i]-'0')
			below *= 10
			i++
		}
		x = float64(m) / below
	}
	if i == start {
		return float32(math.NaN()), i
	}
	if i-start > 17 { // more than a whole number holds
		x, _ = strconv.ParseFloat(string(b[start:i]), 64)
	}
	if neg {
		x = -x
	}
	return float32(x), i
}

// parseQuoted is the plain way, for names that hold commas or quotes.
func parseQuoted(b []byte, most int) (*Readings, error) {
	all, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNotRecord, err)
	}
	t := &Readings{N: len(all) - 1}
	if err := t.head(all[0]); err != nil {
		return nil, err
	}
	if err := t.grow(most); err != nil || t.N == 0 {
		return t, err
	}
	if err := t.times(all[1][0], all[min(2, t.N)][0]); err != nil {
		return nil, err
	}
	for i, row := range all[1:] {
		for k := range t.Values {
			t.Values[k][i] = float32(math.NaN())
			if cell := row[2+k]; cell != "" {
				v, err := strconv.ParseFloat(cell, 32)
				if err != nil {
					return nil, fmt.Errorf("%w: row %d, column %q", ErrNotRecord, i+1, t.Columns[k].Name)
				}
				t.Values[k][i] = float32(v)
			}
		}
	}
	return t, nil
}

// Cell is the cell that holds a time, within 0 to N.
func (t *Readings) Cell(ms int64) int {
	if t.StepMS <= 0 || ms <= t.StartMS {
		return 0
	}
	return int(min((ms-t.StartMS)/t.StepMS, int64(t.N)))
}
