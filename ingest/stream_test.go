package ingest

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// longLog is an invented export, drawn by a seed: a layout, then now and then
// what makes a line or a cell odd.
type longLog struct {
	rng          *rand.Rand
	sep, dec     string
	layout       string
	quoted       bool
	b            strings.Builder
	newest, crlf bool
}

func (l *longLog) line(cells ...string) {
	for i := range cells {
		if l.quoted {
			cells[i] = `"` + cells[i] + `"`
		}
	}
	l.b.WriteString(strings.Join(cells, l.sep))
	if l.crlf {
		l.b.WriteByte('\r')
	}
	l.b.WriteByte('\n')
}

func (l *longLog) number(v float64, places int) string {
	return strings.Replace(fmt.Sprintf("%.*f", places, v), ".", l.dec, 1)
}

// odd lines and cells by kind; "" = none.
func (l *longLog) write(rows int, odd string) string {
	stampHeader := []string{"Time"}
	if strings.Contains(l.layout, "|") {
		stampHeader = []string{"Date", "Clock"}
	}
	l.line(append(stampHeader, "Out (°C)", "Note", "Flow (L/min)", "Pump")...)
	at := time.Date(2026, 1, 28, 22, 0, 0, 0, time.UTC)
	for i := range rows {
		k := i
		if l.newest {
			k = rows - i
		}
		now := at.Add(time.Duration(k) * 7 * time.Minute)
		cells := strings.Split(now.Format(l.layout), "|")
		cells = append(cells, l.number(40+5*math.Sin(float64(k)/40), 2), "ok", l.number(float64(k%5), 1), []string{"off", "on"}[k/5%2])
		if l.rng.IntN(60) == 0 {
			cells[len(cells)-4] = []string{"", "---", "NaN", "-127", "1e3", "x7", "ERR"}[l.rng.IntN(7)]
		}
		if i > 100 && l.rng.IntN(90) == 0 {
			switch odd {
			case "short":
				cells = cells[:len(cells)-2]
			case "long":
				cells = append(cells, "9")
			case "blank":
				l.b.WriteString("\n")
			case "header":
				l.line(append(append([]string{}, stampHeader...), "Out (°C)", "Note", "Flow (L/min)", "Pump")...)
			case "note":
				l.line("logger stopped")
			case "unit":
				cells[len(cells)-4] = l.number(41, 2) + " °C"
			case "other mark":
				cells[len(cells)-4] = "41" + map[string]string{".": ",", ",": "."}[l.dec] + "5"
			case "quote":
				cells[len(cells)-3] = `a "b`
			case "no stamp":
				cells[0] = "?"
			case "table":
				l.b.WriteString("\n\nOther table\n")
				l.line("Stamp", "a", "b")
				l.line("2026-03-03 10:00", "1", "2")
				l.line("2026-03-03 11:00", "1", "2")
			}
		}
		l.line(cells...)
	}
	text := l.b.String()
	switch odd {
	case "cut":
		return text[:len(text)-4]
	case "footer":
		return text + "Average" + l.sep + "41" + l.dec + "2\n"
	}
	return text
}

var oddKinds = []string{"", "short", "long", "blank", "header", "note", "unit", "other mark", "quote", "no stamp", "table", "cut", "footer"}

var longLayouts = []string{"2006-01-02 15:04:05", "02.01.2006 15:04", "01/02/2006 03:04:05 PM", "2006-01-02T15:04:05Z", "2006-01-02T15:04:05+01:00", "02/01/2006|15:04:05", "2-Jan-06 15:04", "20060102150405", "_2.1.2006|15:04",
	"2006-01-02_15-04-05", "2006-01-02 PM 03:04:05", "02-01-2006 15:04-15:04"}

// A long export read as a stream gives what it gives read whole: every series,
// every problem, every file, whatever is odd in it.
func TestAStreamReadsWhatTheWholeReads(t *testing.T) {
	streams := 0
	layouts := longLayouts
	if testing.Short() {
		layouts = layouts[:2]
	}
	for _, layout := range layouts {
		for _, odd := range oddKinds {
			for _, seps := range [][2]string{{",", "."}, {";", ","}, {"\t", "."}} {
				name := layout + " " + odd + " " + seps[0]
				rng := rand.New(rand.NewPCG(uint64(len(name)), 5))
				l := &longLog{rng: rng, sep: seps[0], dec: seps[1], layout: layout, quoted: rng.IntN(4) == 0, newest: rng.IntN(4) == 0, crlf: rng.IntN(2) == 0}
				farm := files{"a.csv": l.write(400+rng.IntN(200), odd),
					"farm.toml": toml("a.csv", "", "\"Out (°C)\" = \"loop_out_temp\"\n\"Flow (L/min)\" = \"loop_flow\"\n\"Pump\" = \"loop_pump\"")}
				dir := write(t, farm)
				opt := options()
				opt.StreamBytes = -1
				whole, errWhole := Load(dir, opt)
				opt.StreamBytes = 1
				got, err := Load(dir, opt)
				require.Equal(t, errWhole, err, name)
				if err != nil {
					continue
				}
				require.Equal(t, whole.Problems, got.Problems, name)
				require.Equal(t, fmt.Sprint(whole.Files), fmt.Sprint(got.Files), name)
				require.Equal(t, len(whole.Series), len(got.Series), name)
				for i, w := range whole.Series {
					g := got.Series[i]
					require.Equal(t, w.T, g.T, name)
					require.Equal(t, w.From, g.From, name)
					require.Equal(t, w.Flags.List(), g.Flags.List(), name)
					require.Equal(t, w.Missing, g.Missing, name)
					for k := range w.V {
						require.True(t, w.V[k] == g.V[k] || math.IsNaN(w.V[k]) && math.IsNaN(g.V[k]), "%s: %s at %d: %g and %g", name, w.Column, k, w.V[k], g.V[k])
						require.Equal(t, w.Origins.At(k), g.Origins.At(k), name)
					}
				}
				streams++
			}
		}
	}
	require.Greater(t, streams, 20*len(layouts))
}

// A long member of a packed file is read as a stream too, and its original is
// the packed file.
func TestAPackedStreamReadsWhatTheWholeReads(t *testing.T) {
	l := &longLog{rng: rand.New(rand.NewPCG(3, 3)), sep: ";", dec: ",", layout: "02.01.2006 15:04"}
	text := l.write(500, "short")
	var gz, zipped bytes.Buffer
	w := gzip.NewWriter(&gz)
	_, err := w.Write([]byte(text))
	require.NoError(t, err)
	require.NoError(t, w.Close())
	z := zip.NewWriter(&zipped)
	for _, name := range []string{"read me.txt", "a.csv"} {
		m, err := z.Create(name)
		require.NoError(t, err)
		if name == "a.csv" {
			_, err = m.Write([]byte(text))
		} else {
			_, err = m.Write([]byte("Dear farmer, here are your logs.\n"))
		}
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	columns := "\"Out (°C)\" = \"loop_out_temp\"\n\"Flow (L/min)\" = \"loop_flow\"\n\"Pump\" = \"loop_pump\""
	for name, packed := range map[string]string{"a.csv.gz": gz.String(), "a.zip": zipped.String()} {
		dir := write(t, files{name: packed, "farm.toml": toml(name, "", columns)})
		opt := options()
		opt.StreamBytes = -1
		whole, err := Load(dir, opt)
		require.NoError(t, err)
		opt.StreamBytes = 1000
		got, err := Load(dir, opt)
		require.NoError(t, err)
		require.Equal(t, fmt.Sprint(whole.Files), fmt.Sprint(got.Files), name)
		require.Equal(t, whole.Problems, got.Problems, name)
		for i, s := range whole.Series {
			require.Equal(t, s.T, got.Series[i].T, name)
			require.Equal(t, fmt.Sprint(s.V), fmt.Sprint(got.Series[i].V), name)
		}
	}
}
