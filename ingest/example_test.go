package ingest_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"yardheat/ingest"
)

// folder makes a farm folder of its files' texts; clean removes it.
func folder(files map[string]string) (dir string, clean func(), err error) {
	dir, err = os.MkdirTemp("", "farm")
	if err != nil {
		return "", nil, err
	}
	clean = func() { _ = os.RemoveAll(dir) }
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			clean()
			return "", nil, err
		}
	}
	return dir, clean, nil
}

const tinyFarm = `[farm]
name = "Two probes and a meter"
timezone = "Europe/Berlin"

[loop]
length_m = 400
bore_mm = 26

[[log]]
files = ["yard.csv"]
[log.columns]
"Loop out (°C)" = "loop_out_temp"
"Bed (°C)" = "bed_temp@north"
"Meter (L)" = "loop_volume"
`

const tinyLog = `Time;Loop out (°C);Bed (°C);Meter (L)
15.01.2026 06:00;41,5;45,2;10000
15.01.2026 06:01;41,3;45,2;10009
15.01.2026 06:02;ERR;45,1;10018
15.01.2026 06:03;40,8;45,1;10027
15.01.2026 06:04;-127;45,1;10027
15.01.2026 06:05;40,2;45,0;10027
`

// Load reads a folder: each probe is a series in base units and true UTC, a bad
// reading keeps its place and carries a flag, and what was doubtful is listed.
func Example() {
	dir, clean, err := folder(map[string]string{"farm.toml": tinyFarm, "yard.csv": tinyLog})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer clean()

	rec, err := ingest.Load(dir, ingest.DefaultLoadOptions())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(rec.Farm.Name, "from", time.UnixMilli(rec.First).UTC().Format(time.RFC3339))
	for _, s := range rec.Series {
		fmt.Printf("%s, read by %s: %d readings, %d kept\n", s.Quantity, s.Probe, s.Samples(), s.Kept())
	}
	for _, p := range rec.Problems {
		fmt.Printf("%s (%s)\n", p.Code, p.Severity)
	}
	// Output:
	// Two probes and a meter from 2026-01-15T05:00:00Z
	// loop_out_temp, read by yard: Loop out (°C): 5 readings, 4 kept
	// bed_temp, read by yard: Bed (°C): 6 readings, 6 kept
	// loop_volume, read by yard: Meter (L): 5 readings, 5 kept
	// error-words (left out)
	// counter-found (note)
}

// What can't be used comes back as one error with every fault of the run: file,
// place, what stood there, what was expected and what to do.
func ExampleLoad_fault() {
	dir, clean, err := folder(map[string]string{"yard.csv": tinyLog, "farm.toml": "[farm]\nname = \"X\"\ntimezone = \"Europe/Berlin\"\n[loop]\nlenght_m = 400\n"})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer clean()

	_, err = ingest.Load(dir, ingest.DefaultLoadOptions())
	var input *ingest.InputError
	if errors.As(err, &input) {
		for _, f := range input.Faults {
			fmt.Printf("%s %s: got %s; want %s; %s\n", f.File, f.Where, f.Got, f.Want, f.Do)
		}
	}
	// Output:
	// farm.toml line 4, loop.bore_mm: got nothing; want the inside diameter of the pipe in mm; add the key bore_mm to [loop]
	// farm.toml line 5, loop.lenght_m: got an unknown key; want a key that is known here; did you mean length_m?
	// farm.toml key log: got nothing; want at least one [[log]] with files = ["…"]; add a [[log]] table for each logger
}
