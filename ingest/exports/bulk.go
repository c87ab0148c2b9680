package exports

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// Bulk is a long, regular export by which readers are compared: one table of
// tank probes with local stamps, two decimals, a thousandth of the cells empty
// and a thousandth of them a code for "no reading".
type Bulk struct {
	Name            string
	Rows, Channels  int
	Step            time.Duration
	Separator, Mark byte
	Layout          string // of package time
}

// Bulks are the sizes: a month at a minute, a year at a minute, the same with
// semicolons, decimal commas and stamps without seconds, and a year at ten
// seconds.
func Bulks() []Bulk {
	const local, german = "2006-01-02 15:04:05", "02.01.2006 15:04"
	return []Bulk{
		{"S", 43_200, 12, time.Minute, ',', '.', local},
		{"M", 525_600, 16, time.Minute, ',', '.', local},
		{"Mde", 525_600, 16, time.Minute, ';', ',', german},
		{"L", 3_153_600, 16, 10 * time.Second, ',', '.', local},
	}
}

// BulkTruth is what a right reading of a Bulk gives.
type BulkTruth struct {
	SizeB    int64
	Channels []BulkChannel
	// Bins are the quarter hours that hold a row; by the wall clock they are
	// fewer, as autumn repeats an hour.
	Bins, WallBins int
}

// BulkChannel is what the readings of one probe add up to, in hundredths.
type BulkChannel struct {
	Count          int
	Sum, Low, High int64
}

// Write writes the export and says what it holds.
func (l Bulk) Write(w io.Writer) (*BulkTruth, error) {
	zone, err := time.LoadLocation(FarmZone)
	if err != nil {
		return nil, fmt.Errorf("bulk export: %w", err)
	}
	truth := &BulkTruth{Channels: make([]BulkChannel, l.Channels)}
	for ch := range truth.Channels {
		truth.Channels[ch] = BulkChannel{Low: math.MaxInt64, High: math.MinInt64}
	}
	at := time.Date(2025, 1, 1, 0, 0, 0, 0, zone)
	bins, wallBins := map[int64]bool{}, map[int64]bool{}
	out := bufio.NewWriterSize(w, 1<<20)
	line := l.header()
	for i := -1; i < l.Rows; i++ {
		if i >= 0 {
			now := at.Add(time.Duration(i) * l.Step)
			_, aheadS := now.Zone()
			bins[now.Unix()/900], wallBins[(now.Unix()+int64(aheadS))/900] = true, true
			line = now.AppendFormat(line[:0], l.Layout)
			for ch := range truth.Channels {
				line = l.cell(append(line, l.Separator), i, ch, &truth.Channels[ch])
			}
		}
		n, err := out.Write(append(line, '\n'))
		truth.SizeB += int64(n)
		if err != nil {
			return nil, fmt.Errorf("bulk export: %w", err)
		}
	}
	truth.Bins, truth.WallBins = len(bins), len(wallBins)
	return truth, out.Flush()
}

func (l Bulk) header() []byte {
	line := []byte("Time")
	for ch := range l.Channels {
		line = fmt.Appendf(line, "%c%s", l.Separator, bulkHeader(ch))
	}
	return line
}

func bulkHeader(ch int) string { return fmt.Sprintf("T%d (°C)", ch+1) }

// cell writes the cell of a row and counts what it reads.
func (l Bulk) cell(line []byte, row, ch int, c *BulkChannel) []byte {
	n := int(uint32(row*16+ch)*2654435761>>8) % 1000
	if n == 1 {
		return line
	}
	if n == 2 {
		return append(append(line, "-127"...), l.Mark, '0', '0')
	}
	v := 4000 + int(900*math.Sin(float64(row%8640)/1375+float64(ch))) + n%13
	c.Count++
	c.Sum += int64(v)
	c.Low, c.High = min(c.Low, int64(v)), max(c.High, int64(v))
	line = strconv.AppendInt(line, int64(v/100), 10)
	return append(line, l.Mark, byte('0'+v/10%10), byte('0'+v%10))
}

// Farm is a farm file that reads the export under a name.
func (l Bulk) Farm(file string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "[farm]\nname = \"Bulk\"\ntimezone = %q\n\n[[log]]\nfiles = [%q]\n\n[log.columns]\n", FarmZone, file)
	for ch := range l.Channels {
		fmt.Fprintf(&b, "%q = \"tank_temp@p%d\"\n", bulkHeader(ch), ch+1)
	}
	return b.String()
}
