package main

import (
	"encoding/json"
	"strings"
	"testing"
)

// notebook is one code cell with the outputs given as JSON.
func notebook(t *testing.T, count, outputs string) object {
	t.Helper()
	var nb object
	if err := json.Unmarshal([]byte(`{"cells":[{"cell_type":"code","execution_count":`+count+`,"outputs":[`+outputs+`]}]}`), &nb); err != nil {
		t.Fatal(err)
	}
	return nb
}

const (
	printed  = `{"output_type":"stream","name":"stdout","text":["UA 634\n","done\n"]}`
	inPieces = `{"output_type":"stream","name":"stdout","text":"UA 634\n"},{"output_type":"stream","name":"stdout","text":"done\n"}`
	other    = `{"output_type":"stream","name":"stdout","text":["UA 635\n","done\n"]}`
	panicked = `{"output_type":"stream","name":"stderr","text":["panic: a breach\n"]}`
	raised   = `{"output_type":"error","traceback":["no"]}`
	// A PNG of one pixel, and what is none.
	one = `{"output_type":"display_data","data":{"image/png":"iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="}}`
	bad = `{"output_type":"display_data","data":{"image/png":"bm8="}}`
)

func TestRan(t *testing.T) {
	for _, c := range []struct {
		count, outputs, want string
	}{
		{"1", printed, ""}, {"1", one, ""},
		{"1", printed + "," + panicked, "a breach"}, {"1", raised, "failed"}, {"null", printed, "not executed"}, {"1", "", "no cell"},
	} {
		err := ran(notebook(t, c.count, c.outputs))
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.outputs, err, c.want)
		}
	}
}

func TestDiffer(t *testing.T) {
	for _, c := range []struct {
		a, b, want string
	}{
		{printed, printed, ""}, {printed, inPieces, ""}, {one, one, ""},
		{printed, other, "UA 634"}, {printed, "", "UA 634"}, {printed, printed + "," + one, "image 1 x 1"}, {one, bad, "executed"},
	} {
		err := differ(notebook(t, "1", c.a), notebook(t, "1", c.b))
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s against %s: %v, want %q", c.a, c.b, err, c.want)
		}
	}
}
