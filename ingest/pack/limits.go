package pack

import (
	"errors"
	"fmt"
)

// Bounds on what one packed file may unpack to; they hold for workbooks too,
// which are zip archives. They keep the whole program under 512 MB where a
// file is damaged or hostile; a year at one reading a minute with sixteen
// channels needs a third of them.
const (
	// MaxHeldB is what may be kept in memory of one file: the members of a
	// pack, the cells of a workbook.
	MaxHeldB = 384 << 20
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
	ErrTooBig  = errors.New("unpacks too far")
	ErrLocked  = errors.New("locked with a password")
	ErrNested  = errors.New("packed twice")
)

func tooBig(unpackedB int64) error {
	return fmt.Errorf("%w: to %d MB and more; at most %d MB and %d times its packed size are unpacked", ErrTooBig, unpackedB>>20, MaxUnpackedB>>20, maxRatio)
}

// TooMuchHeld is the error of a reader that would have to keep more than
// MaxHeldB of one file.
func TooMuchHeld() error {
	return fmt.Errorf("%w: more than %d MB would have to be kept in memory", ErrTooBig, MaxHeldB>>20)
}
