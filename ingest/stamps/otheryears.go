package stamps

import (
	"fmt"
	"strconv"

	"yardheat/ingest/series"
	"yardheat/ingest/table/celltext"
)

// otherYears names dates that count their years otherwise: from the year 543
// before ours in Thailand, from 622 in Iran. "" = there are none.
func (t *Table) otherYears(free []int) string {
	for _, i := range free {
		cells := t.sample(i)
		if len(cells) == 0 {
			continue
		}
		year, ok := yearOf(cells[0])
		for _, c := range cells {
			y, also := yearOf(c)
			ok = ok && also && y-year <= 20 && year-y <= 20
		}
		switch {
		case !ok:
		case year >= 2440 && year < 2643:
			return fmt.Sprintf("dates of the year %d in %s, which is %d where years are counted from the birth of Christ (Buddhist years are 543 more): write them so", year, series.Quoted(t.nameOf(i)), year-543)
		case year >= 1300 && year < 1480:
			return fmt.Sprintf("dates of the year %d in %s, which is none of the Gregorian calendar (solar Hijri years begin in spring and are 621 or 622 less): write them in that", year, series.Quoted(t.nameOf(i)))
		}
	}
	return ""
}

// yearOf is the number of four digits in a date of three numbers.
func yearOf(cell string) (int, bool) {
	year, parts := 0, 0
	for i := 0; i < len(cell) && parts < 3; parts++ {
		n := celltext.LeadingDigits(cell[i:])
		if n == 4 {
			year, _ = strconv.Atoi(cell[i : i+n])
		} else if n == 0 || n > 2 {
			return 0, false
		}
		if i += n; i < len(cell) && parts < 2 {
			if c := cell[i]; c != '/' && c != '-' && c != '.' {
				return 0, false
			}
			i++
		}
	}
	return year, parts == 3 && year > 0
}
