// Command make writes the list of licences that is embedded in the program:
// go generate ./cmd/yardheat/licences
package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"yardheat/cmd/yardheat/licences"
	"yardheat/cmd/yardheat/licences/collect"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "licences:", err)
		os.Exit(1)
	}
}

func run() error {
	mod, err := exec.Command("go", "env", "GOMOD").Output()
	if err != nil {
		return err
	}
	root := filepath.Dir(strings.TrimSpace(string(mod)))
	parts, err := collect.List(root)
	if err != nil {
		return err
	}
	b, err := encode(parts)
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(root, "cmd", "yardheat", "licences", "list.json"), b, 0o644)
}

func encode(parts []licences.Part) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	err := enc.Encode(parts)
	return b.Bytes(), err
}
