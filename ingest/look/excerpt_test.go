package look

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

func badLog(sep, nl string) string {
	text := "Zeit" + sep + "Rücklauf (°C)" + sep + "Fluss" + nl
	for i := range 30 {
		cell := fmt.Sprintf("%d.5", 30+i%4)
		if i == 20 {
			cell = "kälte\u202e!"
		}
		text += fmt.Sprintf("2026-02-13 10:%02d", i) + sep + cell + sep + fmt.Sprint(i%3) + nl
	}
	return text
}

// at shows the first problem of a file's first table that has a line and column.
func at(t *testing.T, name string, b []byte) (Shown, *Table) {
	t.Helper()
	tables, err := Bytes(name, b, Options{})
	require.NoError(t, err)
	for i := range tables {
		for _, p := range tables[i].Problems {
			if p.Line > 0 && p.Column > 0 && p.Code == "bad-cell" {
				s, ok := Excerpt(b, &tables[i], p.Line, p.Column)
				require.True(t, ok)
				require.Equal(t, p.Cell, s.Cell)
				return s, &tables[i]
			}
		}
	}
	t.Fatal("no problem with a place")
	return Shown{}, nil
}

func TestExcerptOfTexts(t *testing.T) {
	for _, nl := range []string{"\n", "\r\n", "\r"} {
		for _, sep := range []string{";", "\t", ","} {
			s, tab := at(t, "a.csv", []byte(badLog(sep, nl)))
			before, cell, after := s.Marked()
			require.Equal(t, "2026-02-13 10:20"+sep, before)
			require.Equal(t, "kälte\ufffd!", cell)
			require.Equal(t, sep+"2", after)
			require.False(t, s.Before || s.After)
			_, ok := Excerpt([]byte(badLog(sep, nl)), tab, 99, 1)
			require.False(t, ok)
			s, ok = Excerpt([]byte(badLog(sep, nl)), tab, 22, 9)
			require.True(t, ok)
			require.Equal(t, s.From, s.To)
		}
	}
	plain := strings.ReplaceAll(badLog(";", "\n"), "\u202e", "")
	latin, err := charmap.Windows1252.NewEncoder().Bytes([]byte(plain))
	require.NoError(t, err)
	wide, err := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().Bytes([]byte(plain))
	require.NoError(t, err)
	for _, b := range [][]byte{latin, wide} {
		s, _ := at(t, "a.csv", b)
		_, cell, _ := s.Marked()
		require.Equal(t, "kälte!", cell)
	}
}

func TestExcerptOfPacked(t *testing.T) {
	var g bytes.Buffer
	w := gzip.NewWriter(&g)
	_, err := w.Write([]byte(badLog(";", "\n")))
	require.NoError(t, err)
	require.NoError(t, w.Close())
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range [][2]string{{"good.csv", "Zeit;T (°C)\n2026-02-13 10:00;1\n2026-02-13 10:01;2\n"}, {"sub/bad.csv", badLog(";", "\n")}} {
		m, err := z.Create(f[0])
		require.NoError(t, err)
		_, err = m.Write([]byte(f[1]))
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	for name, b := range map[string][]byte{"a.csv.gz": g.Bytes(), "in/b.zip": b.Bytes()} {
		s, _ := at(t, name, b)
		_, cell, _ := s.Marked()
		require.Equal(t, "kälte\ufffd!", cell)
	}
}

func TestExcerptOfWorkbookAndLongLine(t *testing.T) {
	f := excelize.NewFile()
	for r, line := range strings.Split(strings.TrimSpace(badLog(";", "\n")), "\n") {
		for c, text := range strings.Split(line, ";") {
			cell, _ := excelize.CoordinatesToCellName(c+1, r+1)
			require.NoError(t, f.SetCellValue("Sheet1", cell, text))
		}
	}
	var b bytes.Buffer
	require.NoError(t, f.Write(&b))
	s, _ := at(t, "a.xlsx", b.Bytes())
	_, cell, after := s.Marked()
	require.Equal(t, "kälte\ufffd!", cell)
	require.Equal(t, " | 2", after)
	require.Equal(t, "B22", s.Cell)

	long := "a;\"" + strings.Repeat("ü", 5000) + "\";x;" + strings.Repeat("y", 5000)
	s, ok := Excerpt([]byte(long), &Table{File: "a.csv", Separator: ";", Encoding: "UTF-8"}, 1, 3)
	require.True(t, ok)
	before, cell, after := s.Marked()
	require.Equal(t, "x", cell)
	require.True(t, s.Before && s.After)
	require.Len(t, []rune(before), shownBefore)
	require.Len(t, []rune(before+cell+after), shownMost)
}

func FuzzExcerpt(f *testing.F) {
	f.Add([]byte(badLog(";", "\r\n")), ";", "UTF-8", 22, 2)
	f.Add([]byte("\"a;\"\"b\"; c\r\r\nx"), " ", "Windows-1252", 1, 2)
	f.Fuzz(func(t *testing.T, b []byte, sep, enc string, line, column int) {
		s, ok := Excerpt(b, &Table{File: "a", Separator: sep, Encoding: enc}, line, column)
		if ok && (s.From < 0 || s.To < s.From || s.To > len(s.Text) || len([]rune(s.Text)) > shownMost) {
			t.Fatalf("%+v", s)
		}
	})
}
