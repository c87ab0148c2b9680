package stream

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/clock"
	"yardheat/ingest/table/celltext"
)

// cell reads what is no plain number: "on" is 1, "--" missing, "?…" odd, what
// strconv reads a number, all else bad.
func cell(text string) (float64, Cell) {
	switch v, err := strconv.ParseFloat(text, 64); {
	case text == "on":
		return 1, Value
	case text == "--":
		return 0, Missing
	case strings.HasPrefix(text, "?"):
		return 0, Odd
	case err == nil && !math.IsNaN(v) && !math.IsInf(v, 0):
		return v, Value
	}
	return 0, Bad
}

// planOf reads stamp, number, words, number, and a cell that must be empty
// where ends is set.
func planOf(sep, dec byte, ends bool) *Plan {
	p := &Plan{Separator: sep, Decimal: dec, Width: 4, Named: 4, Stamp: []int{0}, FirstLine: 1,
		Columns: []Column{{Index: 3, Cell: cell}, {Index: 1, Cell: cell}}}
	if ends {
		p.Width++
	}
	return p
}

func TestRead(t *testing.T) {
	const a, b = "2026-01-28 10:00:00,1.5,w,-2\n", "2026-01-28 10:10:00,21.75,w,3\n"
	nan := math.NaN()
	for name, c := range map[string]struct {
		text      string
		first     []float64 // column 1 of the file by row
		odd       []int     // lines
		bad       int
		lines     int
		clockMS10 int64 // of the first row, since ten o'clock
	}{
		"two lines":             {a + b, []float64{1.5, 21.75}, nil, 0, 2, 0},
		"carriage returns":      {strings.ReplaceAll(a+b, "\n", "\r\n"), []float64{1.5, 21.75}, nil, 0, 2, 0},
		"no end":                {a + strings.TrimSuffix(b, "\n"), []float64{1.5, nan}, []int{2}, 0, 1, 0},
		"blank lines":           {a + "\n  \n" + b, []float64{1.5, nan, nan, 21.75}, nil, 0, 4, 0},
		"blanks at the end":     {a + "  ", []float64{1.5}, nil, 0, 1, 0},
		"short":                 {a + "2026-01-28 10:10:00,1\n" + b, []float64{1.5, nan, 21.75}, []int{2}, 0, 3, 0},
		"long":                  {a + "2026-01-28 10:10:00,1,w,2,9\n", []float64{1.5, nan}, []int{2}, 0, 2, 0},
		"quoted":                {`"2026-01-28 10:00:00","1.5","w, x",-2` + "\n", []float64{1.5}, nil, 0, 1, 0},
		"quote within":          {a + `2026-01-28 10:10:00,1.5,w "x",-2` + "\n", []float64{1.5, nan}, []int{2}, 0, 2, 0},
		"quote over lines":      {a + "2026-01-28 10:10:00,1.5,\"w\nx\",-2\n", []float64{1.5, nan, nan}, []int{2, 3}, 0, 3, 0},
		"missing, bad, on":      {a + "2026-01-28 10:10:00,,w,--\n2026-01-28 10:20:00,ERR,w,1\n2026-01-28 10:30:00,on,w,1\n", []float64{1.5, nan, nan, 1}, nil, 1, 4, 0},
		"bad in an odd line":    {a + "2026-01-28 10:10:00,ERR,w\n", []float64{1.5, nan}, []int{2}, 0, 2, 0},
		"no stamp":              {a + "noon,1,w,2\n,1,w,2\n", []float64{1.5, nan, nan}, []int{2, 3}, 0, 3, 0},
		"a cell to look at":     {a + "2026-01-28 10:10:00,?,w,2\n", []float64{1.5, nan}, []int{2}, 0, 2, 0},
		"signs and marks":       {strings.Replace(a, "1.5", "+1.5", 1) + strings.Replace(b, "21.75", "-.5", 1) + strings.Replace(b, "21.75", "7.", 1), []float64{1.5, -.5, 7}, nil, 0, 3, 0},
		"many digits":           {strings.Replace(a, "1.5", "0.1234567890123", 1) + strings.Replace(b, "21.75", "123456789012345678", 1), []float64{0.1234567890123, 123456789012345678}, nil, 0, 2, 0},
		"a bare return":         {a + "2026-01-28 10:10:00,1\r,w,2\n", []float64{1.5, nan}, []int{2}, 0, 2, 0},
		"stamp of another form": {"28.01.2026 10:05,1.5,w,-2\n" + b, []float64{1.5, 21.75}, nil, 0, 2, 5 * 60_000},
	} {
		for _, blockB := range []int64{1, 7, 64, blockBytes} {
			rows, err := readBlocks(strings.NewReader(c.text), int64(len(c.text)), planOf(',', '.', false), 2, blockB)
			require.NoError(t, err, name)
			require.Equal(t, fmt.Sprint(c.first), fmt.Sprint(rows.V[1]), name)
			var odd []int
			for _, o := range rows.Odd {
				odd = append(odd, o.Line)
				require.True(t, strings.HasPrefix(c.text[o.At:], o.Text), name)
			}
			require.Equal(t, c.odd, odd, name)
			require.Equal(t, c.bad, rows.BadCount[1], name)
			require.Len(t, rows.Bad[1], c.bad, name)
			require.Equal(t, c.lines, rows.Lines, name)
			require.Equal(t, int64(10*3_600_000)+c.clockMS10, rows.ClockMS[0], name)
		}
	}
}

// failing reads like its text up to byte n.
type failing struct {
	*strings.Reader
	n int64
}

var errDisk = errors.New("disk")

func (f failing) ReadAt(b []byte, at int64) (int, error) {
	if at+int64(len(b)) > f.n {
		return 0, errDisk
	}
	return f.Reader.ReadAt(b, at)
}

func TestReadFails(t *testing.T) {
	text := strings.Repeat("2026-01-28 10:00:00,1.5,w,-2\n", 3000)
	size := int64(len(text))
	for _, n := range []int64{0, 10, size / 2, size - 1} {
		_, err := readBlocks(failing{strings.NewReader(text), n}, size, planOf(',', '.', false), 2, 999)
		require.ErrorIs(t, err, errDisk, "byte %d", n)
	}
	_, err := Read(strings.NewReader(text), size+5, planOf(',', '.', false), 2)
	require.ErrorContains(t, err, "shorter than its size")
	long := text + strings.Repeat("x", mostLine+2000) + "\n" + text
	_, err = readBlocks(strings.NewReader(long), int64(len(long)), planOf(',', '.', false), 2, 1000)
	require.ErrorIs(t, err, ErrIrregular, "a line longer than any")
	short := strings.Repeat("1,2\n", mostOdd+1)
	_, err = Read(strings.NewReader(short), int64(len(short)), planOf(',', '.', false), 2)
	require.ErrorIs(t, err, ErrIrregular, "too many odd lines")
}

// Where the lines are more than pieces of the file let guess, they are counted.
func TestReadGuessesTooFew(t *testing.T) {
	long := "2026-01-28 10:00:00,1.5," + strings.Repeat("w", 1500) + ",-2\n"
	at := 300_000 / len(long)
	text := strings.Repeat(long, at) + strings.Repeat("\n", 5000) + strings.Repeat(long, 400)
	rows, err := readBlocks(strings.NewReader(text), int64(len(text)), planOf(',', '.', false), 2, 20_000)
	require.NoError(t, err)
	require.Equal(t, at+5400, rows.Lines)
	j := &job{file: strings.NewReader(text), size: int64(len(text)), blockB: 20_000, plan: planOf(',', '.', false)}
	guess, err := j.likelyLines()
	require.NoError(t, err)
	require.Less(t, guess, rows.Lines, "or this tests nothing")
	last := at + 5399
	require.Equal(t, 1.5, rows.V[1][last])
	require.Equal(t, int64(clock.Bad), rows.ClockMS[at])
}

func TestPlanValidate(t *testing.T) {
	require.NoError(t, planOf(',', '.', true).Validate())
	for name, spoil := range map[string]func(*Plan){
		"no stamp":       func(p *Plan) { p.Stamp = nil },
		"three stamps":   func(p *Plan) { p.Stamp = []int{0, 1, 2} },
		"stamp outside":  func(p *Plan) { p.Stamp = []int{4} },
		"column outside": func(p *Plan) { p.Columns[0].Index = -1 },
		"one mark":       func(p *Plan) { p.Decimal = p.Separator },
		"separator":      func(p *Plan) { p.Separator = 0 },
	} {
		p := planOf(',', '.', false)
		spoil(p)
		require.Error(t, p.Validate(), name)
		_, err := Read(strings.NewReader("x\n"), 2, p, 1)
		require.Error(t, err, name)
	}
}

// simply reads one line by cutting it into cells: the stamp and the values of
// the plan's columns, or neither where it is odd.
func simply(line string, p *Plan) (ms int64, v []float64, bad []bool, ok bool) {
	line = strings.TrimSuffix(line, "\r")
	if strings.ContainsRune(line, '\r') {
		return 0, nil, nil, false
	}
	var cells []string
	var quoted []bool
	for rest, more := line, true; more; {
		if inner, isQuoted := strings.CutPrefix(rest, `"`); isQuoted {
			text, after, closed := strings.Cut(inner, `"`)
			if !closed || after != "" && after[0] != p.Separator {
				return 0, nil, nil, false
			}
			cells, quoted = append(cells, text), append(quoted, true)
			more = after != ""
			rest = strings.TrimPrefix(after, string(rune(p.Separator)))
			continue
		}
		var text string
		text, rest, more = strings.Cut(rest, string(rune(p.Separator)))
		if strings.ContainsRune(text, '"') {
			return 0, nil, nil, false
		}
		cells, quoted = append(cells, text), append(quoted, false)
	}
	if len(cells) != p.Width {
		return 0, nil, nil, false
	}
	for _, c := range cells[p.Named:] {
		if c != "" {
			return 0, nil, nil, false
		}
	}
	for _, c := range p.Columns {
		x, isBad, fits := number(cells[c.Index], quoted[c.Index], p, c)
		if !fits {
			return 0, nil, nil, false
		}
		v, bad = append(v, x), append(bad, isBad)
	}
	var s clock.Stamper
	ms, ok = s.Add(0, celltext.Trim(cells[p.Stamp[0]]))
	return ms, v, bad, ok
}

// number reads a cell: digits about one mark at most, fifteen of them, else by
// the column.
func number(text string, quoted bool, p *Plan, c Column) (v float64, bad, fits bool) {
	digits := strings.TrimLeft(text, "+-")
	whole, part, _ := strings.Cut(digits, string(rune(p.Decimal)))
	n := len(whole) + len(part)
	if !quoted && len(text)-len(digits) <= 1 && n > 0 && n <= 15 && strings.Trim(whole+part, "0123456789") == "" {
		v, _ = strconv.ParseFloat(strings.Replace(text, string(rune(p.Decimal)), ".", 1), 64)
		return v, false, true
	}
	if text = celltext.Trim(text); text == "" {
		return math.NaN(), false, true
	}
	v, what := c.Cell(text)
	if what != Value {
		v = math.NaN()
	}
	return v, what == Bad, what != Odd
}

// holdAgainst reads a text in blocks and line by line, and wants the same; no
// line may be lost: kept, odd and blank ones are all there are.
func holdAgainst(t *testing.T, text []byte, p *Plan, workers int, blockB int64) {
	t.Helper()
	rows, err := readBlocks(bytes.NewReader(text), int64(len(text)), p, workers, blockB)
	lines := strings.Split(string(text), "\n")
	tail := lines[len(lines)-1]
	lines = lines[:len(lines)-1]
	if err != nil {
		require.ErrorIs(t, err, ErrIrregular)
		require.True(t, len(lines) > mostOdd || len(text) > mostLine)
		return
	}
	require.Equal(t, len(lines), rows.Lines)
	kept, blank, badCount := 0, 0, make([]int, len(p.Columns))
	odd := rows.Odd
	for i, line := range lines {
		ms, v, bad, ok := simply(line, p)
		switch {
		case ok:
			kept++
			require.Equal(t, ms, rows.ClockMS[i], "line %d: %q", i+1, line)
			for k, x := range v {
				if got := rows.V[k][i]; got != x && (got == got || x == x) || math.Signbit(got) != math.Signbit(x) && x == x {
					t.Fatalf("line %d: %q: column %d: got %g, want %g", i+1, line, k, got, x)
				}
				if bad[k] {
					badCount[k]++
				}
			}
		case celltext.Trim(line) == "":
			blank++
			require.Equal(t, int64(clock.Bad), rows.ClockMS[i])
		default:
			require.NotEmpty(t, odd, "line %d: %q", i+1, line)
			require.Equal(t, OddLine{Line: i + 1, At: odd[0].At, Text: line}, odd[0])
			require.Equal(t, int64(clock.Bad), rows.ClockMS[i])
			odd = odd[1:]
		}
	}
	if strings.TrimSpace(tail) != "" {
		require.Len(t, odd, 1)
		require.Equal(t, tail, odd[0].Text)
		require.Len(t, rows.ClockMS, len(lines)+1)
	} else {
		require.Empty(t, odd)
		require.Len(t, rows.ClockMS, len(lines))
	}
	require.Equal(t, badCount, rows.BadCount)
	inRuns := 0
	for _, r := range rows.Runs {
		inRuns += r.N
	}
	require.Equal(t, kept, inRuns)
	require.Equal(t, len(lines), kept+blank+len(rows.Odd)-len(odd))
}

// drawn is an invented text: columns written alike for a while, then otherwise,
// with now and then an odd cell or line.
func drawn(r *rand.Rand, sep, dec byte, ends bool) []byte {
	var b bytes.Buffer
	end := []string{"\n", "\r\n"}[r.IntN(2)]
	places := r.IntN(5)
	for i := range r.IntN(200) {
		if r.IntN(20) == 0 {
			places = r.IntN(9)
		}
		value := func() string {
			if r.IntN(15) == 0 {
				return []string{"", "--", "on", "?", "ERR", " 4 ", "+1", ".", "-", "1e3", "-0", "12345678901234567", `"7"`, `""`, `a"b`, "1.2.3", "007", "-.5", "5,"}[r.IntN(19)]
			}
			scale := []float64{1, 10, 100, 1000}[r.IntN(30)%4]
			text := strconv.FormatFloat((r.Float64()-0.2)*scale, 'f', places, 64)
			return strings.Replace(text, ".", string(rune(dec)), 1)
		}
		stamp := fmt.Sprintf("2026-01-%02d %02d:%02d:00", 1+i/144%28, i/6%24, i%6*10)
		cells := []string{stamp, value(), []string{"w", "", `"a, b"`, "0"}[r.IntN(4)], value()}
		if ends {
			cells = append(cells, "")
		}
		switch r.IntN(60) {
		case 0:
			cells = cells[:r.IntN(len(cells))]
		case 1:
			cells[0] = []string{"", "x", `"` + stamp + `"`, "28.01.2026 10:00", " " + stamp}[r.IntN(5)]
		case 2:
			cells = append(cells, "1")
		}
		b.WriteString(strings.Join(cells, string(rune(sep))) + end)
	}
	if r.IntN(3) == 0 && b.Len() > 0 {
		b.Truncate(b.Len() - r.IntN(min(30, b.Len())))
	}
	return b.Bytes()
}

func TestReadAsLineByLine(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 4))
	for range 1500 {
		marks := [][2]byte{{',', '.'}, {';', ','}, {'\t', '.'}, {';', 0x01}}[r.IntN(4)]
		ends := r.IntN(3) == 0
		text := drawn(r, marks[0], marks[1], ends)
		holdAgainst(t, text, planOf(marks[0], marks[1], ends), 1+r.IntN(3), 1+r.Int64N(400))
	}
}

func FuzzRead(f *testing.F) {
	r := rand.New(rand.NewPCG(2, 2))
	for range 20 {
		f.Add(drawn(r, ';', ',', true), true, uint16(r.IntN(300)))
		f.Add(drawn(r, ';', ',', false), false, uint16(r.IntN(300)))
	}
	f.Fuzz(func(t *testing.T, text []byte, ends bool, blockB uint16) {
		holdAgainst(t, text, planOf(';', ',', ends), 2, 1+int64(blockB))
	})
}
