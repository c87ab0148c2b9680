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
func BenchmarkReport(b *testing.B) { benchReport(b, simfarm.Sample()) }

// The same on one logger of sixteen columns: a month and a year at a minute,
// a year at ten seconds (377 MB; making it takes a while and 2 GB).
func BenchmarkReportMonth60s(b *testing.B) { benchReport(b, simfarm.Long(31, 60, 1)) }
func BenchmarkReportYear60s(b *testing.B)  { benchReport(b, simfarm.Long(365, 60, 1)) }
func BenchmarkReportYear10s(b *testing.B)  { benchReport(b, simfarm.Long(365, 10, 1)) }

func benchReport(b *testing.B, scenario simfarm.Scenario) {
	dir := b.TempDir()
	writeFarm(b, scenario, dir)
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

// writeFarm is apart so that the simulation's memory is free again.
func writeFarm(b *testing.B, scenario simfarm.Scenario, dir string) {
	b.Helper()
	farm, err := simfarm.Run(scenario)
	if err != nil {
		b.Fatal(err)
	}
	if err := farm.Write(dir); err != nil {
		b.Fatal(err)
	}
}
