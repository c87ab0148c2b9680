package bundle

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
	"yardheat/reports/record"
	"yardheat/reports/results"
	"yardheat/reports/workbook"
)

var seasons = map[string]func() *season.Season{"full": fixture.Season, "empty": fixture.Empty}

func entriesOf(t *testing.T, s *season.Season, file, table string) (names []string) {
	t.Helper()
	list, err := Dictionary(s)
	require.NoError(t, err)
	for _, e := range list {
		if e.File == file && (table == "" || e.Table == table) {
			names = append(names, e.Name)
		}
	}
	return names
}

func header(t *testing.T, b []byte) []string {
	t.Helper()
	row, err := csv.NewReader(bytes.NewReader(b)).Read()
	require.NoError(t, err)
	return row
}

// The dictionary lists the columns that stand in the files, in their order.
func TestDictionaryListsTheColumnsAsWritten(t *testing.T) {
	for name, of := range seasons {
		s := of()
		tables, err := record.Tables(s)
		require.NoError(t, err)
		require.Len(t, tables, 4)
		for _, table := range tables {
			var cells bytes.Buffer
			require.NoError(t, table.CSV(&cells))
			require.Equal(t, header(t, cells.Bytes()), entriesOf(t, s, table.Name+record.CSVTail, ""), name)
		}

		b, err := workbook.XLSX(s)
		require.NoError(t, err)
		book, err := excelize.OpenReader(bytes.NewReader(b))
		require.NoError(t, err)
		for _, sheet := range book.GetSheetList() {
			grid, err := book.GetRows(sheet)
			require.NoError(t, err)
			require.Contains(t, fmt.Sprint(grid), fmt.Sprint(entriesOf(t, s, workbookName, sheet)), "%s: headers of the sheet %s", name, sheet)
		}
		require.NoError(t, book.Close())
	}
}

// Every key that stands in results.json has a line, at its place.
func TestDictionaryListsTheKeysAsWritten(t *testing.T) {
	for name, of := range seasons {
		s := of()
		list, err := Dictionary(s)
		require.NoError(t, err)
		listed := map[string]Entry{}
		for _, e := range list {
			if e.File == resultsName {
				listed[strings.TrimPrefix(e.Table+"."+e.Name, ".")] = e
			}
		}
		b, err := results.JSON(s)
		require.NoError(t, err)
		var v any
		require.NoError(t, json.Unmarshal(b, &v))
		n := 0
		requireListed(t, listed, "", v, &n)
		require.Greater(t, n, 130, name)
	}
}

func requireListed(t *testing.T, listed map[string]Entry, above string, v any, n *int) {
	t.Helper()
	switch x := v.(type) {
	case map[string]any:
		if above == "settings" { // its keys are the program's options
			return
		}
		for key, inner := range x {
			at := strings.TrimPrefix(above+"."+key, ".")
			e, ok := listed[at]
			require.True(t, ok, "results.json has %s and the dictionary does not: see reports/results/keys.go", at)
			*n++
			if e.Type == "figure" {
				require.Contains(t, inner, "shown", at)
				continue
			}
			requireListed(t, listed, at, inner, n)
		}
	case []any:
		for _, inner := range x {
			requireListed(t, listed, above+"[]", inner, n)
		}
	}
}

// No line without a meaning and a type, whatever the farm has.
func TestDictionaryLeavesNothingUnsaid(t *testing.T) {
	for name, of := range seasons {
		list, err := Dictionary(of())
		require.NoError(t, err)
		for _, e := range list {
			const hint = "describe it: a sheet's header in reports/bundle/sheets.go, a column of package rows in about.go there, a key in reports/results/keys.go"
			require.NotEmpty(t, e.Meaning, "%s: %s %s %q: %s", name, e.File, e.Table, e.Name, hint)
			require.NotEmpty(t, e.Type, "%s: %s %s %q: %s", name, e.File, e.Table, e.Name, hint)
		}
	}
}

// What sheets.go says is said of a header that stands in the workbook.
func TestNoHeaderIsDescribedInVain(t *testing.T) {
	sheets, err := workbook.Sheets(fixture.Season())
	require.NoError(t, err)
	for _, a := range heads {
		require.True(t, slices.ContainsFunc(sheets, func(s workbook.Sheet) bool {
			return (a.sheet == "" || a.sheet == s.Name) && slices.ContainsFunc(s.Heads, a.heads)
		}), "no sheet %q has the header %q: take it out of reports/bundle/sheets.go", a.sheet, a.head)
	}
}

// Names that farms give are text in both forms: no formula, no markup, no new
// cell.
func TestDictionaryIsOnlyText(t *testing.T) {
	s := fixture.Season()
	s.Record.Channels[0].Place = "a|b`c\n<script>"
	s.Record.Channels[1].Probe = "=1+1|x"
	list, err := Dictionary(s)
	require.NoError(t, err)
	list = append(list, Entry{File: "x", Name: "=1+1", Type: "@t", Meaning: "-m", Made: "\ttab"})
	b, err := dictionaryCSV(list)
	require.NoError(t, err)
	all, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	require.NoError(t, err)
	require.Equal(t, dictionaryHead, all[0])
	require.Len(t, all, len(list)+1)
	for _, row := range all {
		for _, c := range row {
			require.False(t, c != "" && strings.ContainsAny(c[:1], "=+-@\t\r\x00"), "%q", c)
		}
	}
	md := string(dictionaryMD(list))
	require.NotContains(t, md, "<script>")
	for _, line := range strings.Split(md, "\n") {
		if strings.HasPrefix(line, "| ") {
			require.Equal(t, 6, strings.Count(strings.ReplaceAll(line, `\|`, ""), "|"), line)
		}
	}
}
