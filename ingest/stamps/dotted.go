package stamps

// dottedBesideDates finds the times of day of a table that has dates and no
// times with colons: hours and minutes with a point ("12.15").
func (t *Table) dottedBesideDates(free []int, kinds []stampKind) {
	date := -1
	for _, i := range free {
		switch kinds[i] {
		case timeOnly, dateTime:
			return
		case dateOnly:
			if date < 0 {
				date = i
			}
		}
	}
	if date < 0 {
		return
	}
	for _, i := range free {
		if kinds[i] == noStamp && t.DottedClock(date, i) {
			kinds[i] = timeOnly
			return
		}
	}
}
