package table

import (
	"reflect"
	"strings"
	"testing"
)

// same fails the test where got differs from want.
func same(t testing.TB, what string, want, got any) {
	t.Helper()
	if !reflect.DeepEqual(want, got) {
		t.Errorf("%s:\nwant %q\n got %q", what, want, got)
	}
}

// mustRead reads a text or workbook that must be readable.
func mustRead(t testing.TB, name string, b []byte, opt Options) []*Table {
	t.Helper()
	tables, err := ReadBytes(name, b, opt)
	if err != nil {
		t.Fatal(err)
	}
	return tables
}

func codesOf(probs []Problem) string {
	var codes []string
	for _, p := range probs {
		codes = append(codes, p.Code)
	}
	return strings.Join(codes, " ")
}

func joined(cells []string) string { return strings.Join(cells, " | ") }
