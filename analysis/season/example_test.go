package season_test

import (
	"fmt"
	"os"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/simfarm"
)

// Compute makes every figure of a farm's season, each with its interval. The farm
// here is simulated, so that the truth is known too.
func ExampleCompute() {
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
	truth := farm.Truth()
	for _, n := range s.Heat.Seen {
		if n.Key == "loop_kwh" {
			fmt.Println(n.Label+":", n.Figure.Shown, "("+n.Figure.Basis+")")
			fmt.Println("the interval holds the truth:", n.Figure.Low <= truth.LoopKWh && truth.LoopKWh <= n.Figure.High)
		}
	}
	fmt.Println(len(s.Cycles), "cycles,", len(s.Draws), "draws,", len(s.Washes.List), "washes")
	// Output:
	// Heat from the yard: 1 017 ± 39 kWh (metered)
	// the interval holds the truth: true
	// 67 cycles, 66 draws, 132 washes
}
