package table

import (
	"fmt"

	"yardheat/ingest/table/celltext"
)

// unitChanges lists columns of units that say another unit from some row on, as
// where a display was set to another one: the readings beside are then mixed.
// Units that go to and fro are those of a long log's tags.
func unitChanges(t *Table) []Problem {
	var out []Problem
	for col, h := range t.Header {
		if !celltext.IsUnitLead(h) || len(t.Rows) < 10 {
			continue
		}
		last, changes := "", 0
		first := Problem{}
		for _, r := range t.Rows {
			c := r.Cells[col]
			if c == "" || c == last {
				continue
			}
			if !celltext.IsUnit(c) {
				changes = len(t.Rows)
				break
			}
			if changes++; changes == 2 {
				first = Problem{Code: CodeUnitChanges, Line: r.Line, Column: col + 1,
					Text: fmt.Sprintf("%s says %s up to here and %s from here on: the readings beside it are in both units; make two files of it, one a unit", quote(h), quote(last), quote(c))}
			}
			last = c
		}
		if changes >= 2 && changes <= 4 {
			out = append(out, first)
		}
	}
	return out
}

// CodeUnitChanges: a column of units says another one from some row on.
const CodeUnitChanges = "unit-changes"
