package reports_test

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/simfarm"
	"yardheat/reports"
)

// Write makes a report whole or not at all; the clock is passed in, for the same
// season gives the same bytes.
func ExampleWrite() {
	dir, err := os.MkdirTemp("", "farm")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer func() { _ = os.RemoveAll(dir) }()
	farm, err := simfarm.Run(simfarm.Short(3))
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := farm.Write(dir); err != nil {
		fmt.Println(err)
		return
	}

	rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
	if err != nil {
		fmt.Println(err)
		return
	}
	s, err := season.Compute(rec, season.DefaultOptions())
	if err != nil {
		fmt.Println(err)
		return
	}
	out := filepath.Join(dir, "report")
	if err := reports.Write(out, s, reports.Options{Now: time.Now(), Version: "example"}); err != nil {
		fmt.Println(err)
		return
	}
	files, err := reports.Files(out)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, name := range files {
		if filepath.Dir(name) == "." { // not the charts
			fmt.Println(name)
		}
	}
	// Output:
	// draws.csv
	// draws.csv-metadata.json
	// draws.parquet
	// milkings.csv
	// milkings.csv-metadata.json
	// milkings.parquet
	// record.csv
	// record.csv-metadata.json
	// record.parquet
	// report.html
	// results.json
	// season.xlsx
	// sources.json
	// washes.csv
	// washes.csv-metadata.json
	// washes.parquet
}
