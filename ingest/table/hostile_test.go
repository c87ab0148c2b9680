package table

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// capB is what the whole program may take where a file is damaged or hostile.
const capB = 512 << 20

// hostileSheet puts rows into a workbook, blanks of random number between them,
// so that it does not pack too well to be unpacked.
func hostileSheet(t *testing.T, dimension string, rows int, row func(i int, blanks string) string) []byte {
	t.Helper()
	rng := rand.New(rand.NewPCG(5, 5))
	var b strings.Builder
	b.WriteString(`<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><dimension ref="` + dimension + `"/><sheetData>`)
	for i := range rows {
		b.WriteString(row(i, strings.Repeat(" ", rng.IntN(4))))
	}
	b.WriteString(`</sheetData></worksheet>`)
	return withPart(t, sheet1, b.String())
}

// withPart replaces a part of a small workbook.
func withPart(t *testing.T, part, text string) []byte {
	t.Helper()
	return repack(t, seasonBook(t, 3), map[string]func([]byte) []byte{part: func([]byte) []byte { return []byte(text) }})
}

// Small files made to exhaust memory or to be read short are refused in words,
// soon, and within the cap: each is read by a process of its own, as a user's
// would be.
func TestHostileFiles(t *testing.T) {
	if testing.Short() {
		t.Skip("makes large files")
	}
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		make func() []byte
		word string
	}{
		"4 M rows without numbers": {func() []byte {
			return hostileSheet(t, "A1", 4_000_000, func(_ int, b string) string { return "<row" + b + "/>" })
		}, "1048576"},
		"4 M rows, packed too well": {func() []byte {
			return withPart(t, sheet1, "<worksheet><sheetData>"+strings.Repeat("<row/>", 4_000_000)+"</sheetData></worksheet>")
		}, "1048576"},
		"a cell in the last column": {func() []byte {
			return hostileSheet(t, "A1", 1500, func(i int, b string) string {
				return fmt.Sprintf(`<row r="%d"%s><c r="XFD%d"><v>1</v></c></row>`, i+1, b, i+1)
			})
		}, "512 columns"},
		"10,000 columns": {func() []byte {
			return hostileSheet(t, "A1", 3, func(_ int, b string) string {
				return "<row" + b + ">" + strings.Repeat("<c><v>1</v></c>", 10_000) + "</row>"
			})
		}, "512 columns"},
		"wide only at the end": {func() []byte {
			return hostileSheet(t, "A1", 1_000_000, func(i int, b string) string {
				if i == 999_999 {
					return `<row><c r="SR1000000"><v>1</v></c></row>` // column 512
				}
				return "<row" + b + "><c><v>1</v></c></row>"
			})
		}, "320 MB"},
		"wide from the beginning": {func() []byte {
			return hostileSheet(t, "A1", 300_000, func(i int, b string) string {
				return fmt.Sprintf(`<row%s><c r="SR%d"><v>1</v></c></row>`, b, i+1)
			})
		}, "320 MB"},
		"one text without end": {func() []byte {
			return withPart(t, sheet1, `<worksheet><sheetData><row><c t="str"><v>`+strings.Repeat("0123456789abcdef", 500_000)+`</v></c></row></sheetData></worksheet>`)
		}, "4 MB"},
		"texts of nothing": {func() []byte {
			texts := func([]byte) []byte { return []byte("<sst>" + strings.Repeat("<si/>", 10_000_000) + "</sst>") }
			return repack(t, book(t, [][]any{{"time", "T"}}, nil), map[string]func([]byte) []byte{"xl/sharedStrings.xml": texts})
		}, "packed size"},
		"page of cells": {func() []byte {
			return []byte("<table>" + strings.Repeat("<tr><td colspan=512>a", 300_000))
		}, "320 MB"},
		"text of empty lines":      {longText("\n"), "192 MB"},
		"text of one line of cuts": {longText(","), "192 MB"},
		"text of lines of cuts":    {longText(",,,,,,,,,,,,,,,\n"), "192 MB"},
		"text of short rows":       {longText("2\n"), "192 MB"},
		"text of quoted nothing":   {longText(`"",`), "192 MB"},
		"text too long":            {func() []byte { return make([]byte, MaxTextB+1) }, "at most"},
		"page of rows":             {func() []byte { return []byte("<table>" + strings.Repeat("<tr>", 2_000_000)) }, "1048576"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "hostile.xlsx")
			data := c.make()
			if err := os.WriteFile(path, data, 0o600); err != nil {
				t.Fatal(err)
			}
			ctx, stop := context.WithTimeout(t.Context(), time.Minute)
			defer stop()
			child := exec.CommandContext(ctx, program, "-test.run=^TestHostileChild$", "-test.v")
			child.Env = append(os.Environ(), hostileFile+"="+path)
			out, err := child.CombinedOutput()
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			_, report, _ := strings.Cut(string(out), "report: ")
			var sysB uint64
			if _, err := fmt.Sscanf(report, "%d ", &sysB); err != nil {
				t.Fatalf("%v in %s", err, out)
			}
			if !strings.Contains(report, c.word) {
				t.Errorf("want an error with %q, got %s", c.word, report)
			}
			if sysB > capB {
				t.Errorf("the program took %d MB; want at most %d", sysB>>20, capB>>20)
			}
			t.Logf("%d kB, %d MB: %s", len(data)>>10, sysB>>20, report)
		})
	}
}

// longText is a short log and then, as long as a text may be, one thing over
// and over.
func longText(part string) func() []byte {
	const head = "Time,a\n2026-01-01 10:00,1\n2026-01-01 10:01,2\n2026-01-01 10:02,2\n"
	return func() []byte {
		return append([]byte(head), bytes.Repeat([]byte(part), (MaxTextB-len(head))/len(part))...)
	}
}

// hostileFile names, for a child of the test, the file that it is to read.
const hostileFile = "YARDHEAT_TEST_HOSTILE"

func TestHostileChild(t *testing.T) {
	path := os.Getenv(hostileFile)
	if path == "" {
		t.Skip("reads a file for TestHostileFiles")
	}
	_, err := Read(path, Options{})
	var e *Error
	if !errors.As(err, &e) || e.Do == "" {
		t.Fatalf("want an error that says what to do, got %v", err)
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	t.Logf("report: %d %v", m.Sys, err)
}

// A dimension that lies upward is listed, one that lies downward changes
// nothing: the rows are counted.
func TestLyingDimension(t *testing.T) {
	stamp := func(i int) string { return fmt.Sprintf("2026-01-05 %02d:%02d", i/60%24, i%60) }
	for dimension, codes := range map[string]string{"A1:XFD1048576": "workbook-short", "A1:B2": "", "nonsense": ""} {
		data := hostileSheet(t, dimension, 20, func(i int, _ string) string {
			if i == 0 {
				return `<row><c t="str"><v>time</v></c><c t="str"><v>T</v></c></row>`
			}
			return `<row><c t="str"><v>` + stamp(i) + `</v></c><c><v>1.5</v></c></row>`
		})
		got := mustRead(t, "lying.xlsx", data, Options{})[0]
		same(t, dimension, codes, codesOf(got.Problems))
		same(t, "rows", 19, len(got.Rows))
	}
}
