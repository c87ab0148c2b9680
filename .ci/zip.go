//go:build ignore

// Packs files into a zip that is the same whenever and wherever it is made:
// go run .ci/zip.go OUT.zip FILE... ; the first file may be run.
package main

import (
	"archive/zip"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

func main() {
	if err := pack(os.Args[1], os.Args[2:]); err != nil {
		fmt.Fprintln(os.Stderr, "zip:", err)
		os.Exit(1)
	}
}

func pack(out string, files []string) error {
	f, err := os.Create(out)
	if err != nil {
		return err
	}
	w := zip.NewWriter(f)
	for i, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		h := &zip.FileHeader{Name: filepath.Base(name), Method: zip.Deflate, Modified: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)}
		h.SetMode(0o644)
		if i == 0 {
			h.SetMode(0o755)
		}
		to, err := w.CreateHeader(h)
		if err != nil {
			return err
		}
		if _, err := to.Write(b); err != nil {
			return err
		}
	}
	if err := w.Close(); err != nil {
		return err
	}
	return f.Close()
}
