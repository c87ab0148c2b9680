package workbook

import (
	"fmt"
	"strings"

	"yardheat/analysis/season"
)

// The columns of the sheet Assumptions that formulas reach into.
const (
	assumedValue    = 2
	assumedReported = 4
	assumedChanged  = 5
)

// input is a cell that is there to be changed.
type input float64

// assumptions lists what no log gives: each in a cell that the totals follow,
// beside what it was when the report was made.
func assumptions(s *season.Season) table {
	t := table{name: assumptionsName, wraps: true, heads: []head{{"Key in farm.toml", 34}, {"What it is", 60}, {"Value: change it here", 14}, {"Unit", 12}, {"As reported", 12}, {"Changed (1)", 9},
		{"Who states it", 15}, {"Where it comes from", 50}, {"What follows", 60}}}
	for _, a := range s.Ledger.Assumptions {
		row := []any{a.Key, a.What, number{a.Value, mostDecimals}, a.Unit, plain(a.Value), nil, a.By, a.Source,
			"Nothing here: it was used on the readings, before the cycles were summed. Change farm.toml and report anew."}
		if a.Live {
			row[assumedValue] = input(a.Value)
			row[assumedChanged] = byRow(func(r int) any {
				return formula{fmt.Sprintf("IF(%s%d=%s%d,0,1)", letter(assumedValue), r, letter(assumedReported), r), 0, 0}
			})
			row[len(row)-1] = follow(a.Key)
		} else {
			row[assumedValue] = plain(a.Value)
		}
		t.rows = append(t.rows, row)
	}
	t.rows = append(t.rows, []any{nil, "Low and high ends, on every sheet, are values: what the trials gave with the figures as reported. Where a figure above is changed they hold no longer."})
	return t
}

// follow says what goes with an assumption.
func follow(key string) string {
	switch {
	case strings.Contains(key, "price"), strings.HasPrefix(key, "electricity.rate"):
		return "Money, by cycle and in total. Which kWh stand at this price (its dates and hours) does not change here."
	case strings.Contains(key, "co2"):
		return "CO2."
	case strings.HasPrefix(key, "instead."):
		return "What the alternative would have used, saving, money and CO2, by cycle, by month and in total."
	case strings.HasPrefix(key, "plant."), strings.HasPrefix(key, "milk."):
		return "The plant's totals and shares, by month too. Its fits (changes per kelvin, the line, weeks) stay as reported."
	}
	return "The bed's figures."
}

// plain is a number shown with all of its digits.
type plain float64

// checkRow stands above the Summary: how many assumptions are not as reported.
func checkRow(s *season.Season) []any {
	n := len(s.Ledger.Assumptions)
	if n == 0 {
		return nil
	}
	c := letter(assumedChanged)
	return []any{"Assumptions changed since the report (above 0: low and high ends hold no longer)", nil, nil,
		formula{fmt.Sprintf("SUM(%s!$%s$%d:$%s$%d)", assumptionsName, c, firstRow, c, n-1+firstRow), 0, 0}}
}
