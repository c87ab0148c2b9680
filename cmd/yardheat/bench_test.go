package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"yardheat/ingest/simfarm"
)

// BenchmarkReport is the whole job on the sample farm, in one process: MB/s of
// raw logs.
func BenchmarkReport(b *testing.B) {
	dir := b.TempDir()
	farm, err := simfarm.Run(simfarm.Sample())
	if err != nil {
		b.Fatal(err)
	}
	if err := farm.Write(dir); err != nil {
		b.Fatal(err)
	}
	size := int64(0)
	names, _ := filepath.Glob(filepath.Join(dir, "*"))
	for _, n := range names {
		if info, err := os.Stat(n); err == nil {
			size += info.Size()
		}
	}
	b.SetBytes(size)
	for b.Loop() {
		var out strings.Builder
		if code := run([]string{"report", dir}, strings.NewReader(""), &out, io.Discard); code != exitDone {
			b.Fatal("exit ", code)
		}
		if !strings.Contains(out.String(), "kWh") {
			b.Fatal("no figure printed")
		}
	}
}
