package workbook

import (
	"fmt"
	"time"

	"yardheat/analysis/season"
)

// Sheet is a sheet's name and its headers in their order.
type Sheet struct {
	Name  string
	Heads []string
}

// Sheets are the workbook's sheets as it holds them for this season.
func Sheets(s *season.Season) ([]Sheet, error) {
	zone, err := time.LoadLocation(s.ZoneName)
	if err != nil {
		return nil, fmt.Errorf("time zone of the farm: %w", err)
	}
	var out []Sheet
	for _, t := range sheets(s, zone) {
		one := Sheet{Name: t.name}
		for _, h := range t.heads {
			one.Heads = append(one.Heads, h.text)
		}
		out = append(out, one)
	}
	return out, nil
}
