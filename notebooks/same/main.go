// Command same holds an executed notebook against the committed one: the text
// outputs must be equal, images of one size.
//
//	same COMMITTED EXECUTED          compare; exit 1 where they differ
//	same -ran NOTEBOOK               exit 1 where a cell failed: the kernel reports a cell that panicked as done,
//	                                 and only its stderr tells
//	same -clean NOTEBOOK             take out times of execution, in place
package main

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"image/png"
	"os"
	"reflect"
	"strings"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) == 2 && args[0] == "-clean" {
		return clean(args[1])
	}
	if len(args) == 2 && args[0] == "-ran" {
		nb, err := read(args[1])
		if err != nil {
			return err
		}
		return ran(nb)
	}
	if len(args) != 2 {
		return fmt.Errorf("usage: same COMMITTED EXECUTED | same -ran NOTEBOOK | same -clean NOTEBOOK")
	}
	a, err := read(args[0])
	if err != nil {
		return err
	}
	b, err := read(args[1])
	if err != nil {
		return err
	}
	return differ(a, b)
}

type object = map[string]any

func read(name string) (object, error) {
	raw, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	var nb object
	if err := json.Unmarshal(raw, &nb); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return nb, nil
}

func cells(nb object) []object {
	list, _ := nb["cells"].([]any)
	var out []object
	for _, c := range list {
		if o, ok := c.(object); ok {
			out = append(out, o)
		}
	}
	return out
}

// ran names the first cell that was not executed, failed, or wrote to stderr,
// where panics and exit codes end up; a notebook without outputs ran nothing.
func ran(nb object) error {
	some := false
	for i, c := range cells(nb) {
		if c["cell_type"] != "code" {
			continue
		}
		if c["execution_count"] == nil {
			return fmt.Errorf("cell %d was not executed", i+1)
		}
		list, _ := c["outputs"].([]any)
		for _, v := range list {
			o, _ := v.(object)
			if o["output_type"] == "error" || o["name"] == "stderr" {
				return fmt.Errorf("cell %d failed:\n%s%s", i+1, text(o["text"]), text(o["traceback"]))
			}
			some = true
		}
	}
	if !some {
		return fmt.Errorf("no cell printed or showed anything")
	}
	return nil
}

// differ names the first cell whose outputs are not those of the other notebook.
func differ(a, b object) error {
	x, y := cells(a), cells(b)
	if len(x) != len(y) {
		return fmt.Errorf("%d cells committed, %d executed", len(x), len(y))
	}
	for i := range x {
		p, err := outputs(x[i])
		if err != nil {
			return fmt.Errorf("cell %d, committed: %w", i+1, err)
		}
		q, err := outputs(y[i])
		if err != nil {
			return fmt.Errorf("cell %d, executed: %w", i+1, err)
		}
		if !reflect.DeepEqual(p, q) {
			return fmt.Errorf("cell %d: outputs are not those committed (notebooks/run -update writes them anew)\n%s", i+1, firstLine(p, q))
		}
	}
	return nil
}

// outputs are a cell's outputs as texts: streams joined (how they were cut is
// chance), each image as its size.
func outputs(cell object) ([]string, error) {
	list, _ := cell["outputs"].([]any)
	texts := map[string]string{}
	var out []string
	for _, v := range list {
		o, _ := v.(object)
		if name, ok := o["name"].(string); ok {
			texts[name] += text(o["text"])
			continue
		}
		data, _ := o["data"].(object)
		if data == nil {
			return nil, fmt.Errorf("an output of type %v", o["output_type"])
		}
		for kind, d := range data {
			if kind != "image/png" {
				out = append(out, kind+": "+text(d))
				continue
			}
			raw, err := base64.StdEncoding.DecodeString(strings.ReplaceAll(text(d), "\n", ""))
			if err != nil {
				return nil, err
			}
			c, err := png.DecodeConfig(bytes.NewReader(raw))
			if err != nil {
				return nil, err
			}
			out = append(out, fmt.Sprintf("image %d x %d", c.Width, c.Height))
		}
	}
	return append(out, texts["stdout"], texts["stderr"]), nil
}

// text is a string or a list of strings, as the format allows both.
func text(v any) string {
	if s, ok := v.(string); ok {
		return s
	}
	var b strings.Builder
	list, _ := v.([]any)
	for _, s := range list {
		b.WriteString(fmt.Sprint(s))
	}
	return b.String()
}

func firstLine(p, q []string) string {
	a, b := strings.Split(strings.Join(p, "\n"), "\n"), strings.Split(strings.Join(q, "\n"), "\n")
	for i := range max(len(a), len(b)) {
		x, y := "(nothing)", "(nothing)"
		if i < len(a) {
			x = a[i]
		}
		if i < len(b) {
			y = b[i]
		}
		if x != y {
			return fmt.Sprintf("  committed: %s\n  executed:  %s", x, y)
		}
	}
	return ""
}

// clean takes out when cells were executed, which says nothing.
func clean(name string) error {
	nb, err := read(name)
	if err != nil {
		return err
	}
	for _, c := range cells(nb) {
		c["metadata"] = object{}
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	if err := e.Encode(nb); err != nil {
		return err
	}
	return os.WriteFile(name, b.Bytes(), 0o644)
}
