package bundle

import (
	"fmt"
	"strings"
	"time"

	"yardheat/analysis/season"
)

// readme is README.txt: what a person needs who has nothing but the bundle.
func readme(s *season.Season) []byte {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		zone = time.UTC
	}
	day := func(ms int64) string { return time.UnixMilli(ms).In(zone).Format(time.DateOnly) }
	return fmt.Appendf(nil, readmeText, oneLine(s.Farm), day(s.Period.Start), day(s.Period.End-1), len(s.Originals))
}

// oneLine keeps a name from starting lines of its own.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

const readmeText = `A season of heat-recovery hot water: %s
%s to %s

This archive holds a report and all that it was made from, so that somebody who
was not there can follow every figure back.

  report/                 the report: open report.html in a browser
  farm/                   farm.toml, which says what the logs are, and the %d
                          files that were read, itself among them, byte for byte
                          as they were exported
  dictionary.md, .csv     what every column and key of the report means
  results.schema.json     JSON Schema (2020-12) of report/results.json
  ro-crate-metadata.json  every file with its size and SHA-256, and the run that
                          made the report, in the form of RO-Crate 1.1 (JSON-LD)

How to check it

  yardheat retrace THIS.zip

makes the report again from farm/ and says whether every file and figure still
agrees. Without Yardheat: the SHA-256 of every file stands in
ro-crate-metadata.json, and that of every original in report/sources.json too,
as it was when the report was made.

Good to know

  Every original stands under its own name, relative to the farm folder; a link
  in that folder became the file that it led to. Files that were read but moved
  no figure are there too: the report says so of each.
  Times in the archive are all 1980-01-01, so that the same season gives the
  same archive. When the report was made stands in report/sources.json.
  Whose data these are, and what may be done with them, the farm decides: no
  licence is stated.
`
