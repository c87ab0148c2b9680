package web

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/reports/record"
	"yardheat/reports/results/saved"
)

// What is kept of finished reports in memory. A report does not change once it
// stands, but its folder can be made anew: the file's time and size tell.
const (
	keptResults = 8
	keptRecords = 2
	// mostValues of one record, 4 bytes each: a season of 40 channels a minute.
	mostValues = 16 << 20
	// mostResultsB of a results.json that is read.
	mostResultsB = 64 << 20
)

// cached is what was read of one file.
type cached[T any] struct {
	name string
	at   time.Time
	size int64
	got  T
}

// cache keeps the last few files read, the last used first; one reads at a time,
// so that many asking at once do not read the same file many times.
type cache[T any] struct {
	mu   sync.Mutex
	most int
	kept []cached[T]
	read func(name string) (T, error)
}

func (c *cache[T]) get(name string) (T, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	var none T
	info, err := os.Lstat(name)
	if err != nil {
		return none, err
	}
	if !info.Mode().IsRegular() {
		return none, fs.ErrNotExist // no link leads out of the report
	}
	for i, k := range c.kept {
		if k.name != name {
			continue
		}
		c.kept = append(c.kept[:i], c.kept[i+1:]...)
		if k.at.Equal(info.ModTime()) && k.size == info.Size() {
			c.kept = append([]cached[T]{k}, c.kept...)
			return k.got, nil
		}
		break
	}
	for len(c.kept) >= c.most {
		c.kept = c.kept[:len(c.kept)-1] // before the next is read: both never stand in memory
	}
	got, err := c.read(name)
	if err != nil {
		return none, err
	}
	c.kept = append([]cached[T]{{name, info.ModTime(), info.Size(), got}}, c.kept...)
	return got, nil
}

// readings are the caches of a server.
type readings struct {
	results cache[*saved.Report]
	records cache[*record.Readings]
	cycles  cache[[]cycleRow]
}

func newReadings() *readings {
	return &readings{
		results: cache[*saved.Report]{most: keptResults, read: readResults},
		records: cache[*record.Readings]{most: keptRecords, read: func(name string) (*record.Readings, error) { return record.ReadRecord(name, mostValues) }},
		cycles:  cache[[]cycleRow]{most: keptResults, read: readCycles},
	}
}

var errResultsLarge = errors.New("results.json is larger than this page reads")

func readResults(name string) (*saved.Report, error) {
	info, err := os.Stat(name)
	if err != nil {
		return nil, err
	}
	if info.Size() > mostResultsB {
		return nil, errResultsLarge
	}
	b, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	return saved.Read(b)
}

func (d *readings) report(r farms.Report) (*saved.Report, error) {
	return d.results.get(filepath.Join(r.Dir, "results.json"))
}

func (d *readings) record(r farms.Report) (*record.Readings, error) {
	return d.records.get(filepath.Join(r.Dir, "record.csv"))
}

func (d *readings) cyclesOf(r farms.Report) ([]cycleRow, error) {
	return d.cycles.get(filepath.Join(r.Dir, "milkings.csv"))
}
