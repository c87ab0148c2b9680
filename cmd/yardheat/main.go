// Command yardheat turns the logs of a farm's heat-recovery hot water into a
// seasonal account. It holds flags, files, the clock and the exit codes, one
// file per command, and no physics: ingest reads, analysis computes, reports
// writes.
package main

import (
	"io"
	"os"
	"runtime/debug"
	_ "time/tzdata" // Windows has no zone files
)

// The exit codes of interfaces.md section 3.
const (
	exitDone     = 0
	exitOther    = 1
	exitUsage    = 2
	exitBadInput = 3
	exitDiffers  = 4
)

// gcPercent: memory here is long rows of numbers, in which there is nothing to
// look for: collecting it often costs little and keeps the peak low.
const gcPercent = 30

func main() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run is the whole program without the process around it.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	app := newApp(stdin, stdout, stderr)
	return app.run(args)
}
