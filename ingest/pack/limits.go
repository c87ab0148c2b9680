package pack

import (
	"errors"
	"fmt"
)

// Bounds on what one packed file may unpack to; they hold for workbooks too,
// which are zip archives. They keep the whole program under 512 MB where a
// small file is made to exhaust memory.
const (
	// MaxCellsB is what the cells of one workbook or page may take in memory: a
	// full sheet of 1,048,576 rows and twelve columns of readings.
	MaxCellsB = 320 << 20
	// MaxMembersB is what the members of one pack may unpack to, which are kept
	// whole: a year at ten seconds with sixteen channels.
	MaxMembersB = 384 << 20
	// MaxUnpackedB is what may be unpacked in all, kept or not: a sheet is read
	// as it unpacks, and a hostile one must still end soon.
	MaxUnpackedB = 2 << 30
	// maxRatio is how many times its packed size a part may grow. A sheet of
	// equal rows reaches about 100; the packing itself can reach 1032.
	maxRatio = 400
	// smallB is what any part may unpack to, whatever its packed size.
	smallB = 8 << 20
	// smallFileB is the same for all parts of a file together.
	smallFileB = 64 << 20
	// MaxParts is how many entries an archive may list.
	MaxParts = 10_000
)

// What is wrong with a packed file; errors wrap one of these.
var (
	ErrDamaged = errors.New("damaged archive")
	ErrTooBig  = errors.New("too large")
	ErrLocked  = errors.New("locked with a password")
	ErrNested  = errors.New("packed twice")
)

func tooBig(unpackedB int64) error {
	return fmt.Errorf("%w: it unpacks to %d MB and more; at most %d MB and %d times its packed size are unpacked", ErrTooBig, unpackedB>>20, MaxUnpackedB>>20, maxRatio)
}

// TooMuch is the error of a reader that would have to keep more than mostB of
// one file.
func TooMuch(mostB int64) error {
	return fmt.Errorf("%w: more than %d MB would have to be kept in memory", ErrTooBig, mostB>>20)
}
