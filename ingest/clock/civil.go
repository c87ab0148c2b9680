package clock

// firstYear, lastYear bound the stamps that are read: a logger with a flat
// battery starts at 1970 or 2000, and one may run ahead, but a year 6202 is a
// slip of the reader or of the pen.
const firstYear, lastYear = 1900, 2199

var monthDays = [13]int{0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

func validDate(y, m, d int) bool {
	if y < firstYear || y > lastYear || m < 1 || m > 12 || d < 1 {
		return false
	}
	return d <= monthDays[m] || m == 2 && d == 29 && y%4 == 0 && (y%100 != 0 || y%400 == 0)
}

// wallMS is the wall clock's midnight of a valid date.
//
// Days from the civil date in the Gregorian calendar, years counted from 1
// March so that the leap day comes last: era arithmetic on 400 years =
// 146097 days; 719468 days lie between 0000-03-01 and 1970-01-01.
func wallMS(y, m, d int) int64 {
	if m <= 2 {
		y--
		m += 12
	}
	era := y / 400
	inEra := y - era*400
	day := (153*(m-3)+2)/5 + d - 1
	days := int64(era)*146097 + int64(inEra*365+inEra/4-inEra/100+day) - 719468
	return days * dayMS
}

// fullYear completes a year of two digits: 70 to 99 are 1970 to 1999.
func fullYear(y int16, digits uint8) int {
	if digits > 2 {
		return int(y)
	}
	if y < 70 {
		return int(y) + 2000
	}
	return int(y) + 1900
}

// ymd gives year, month and day of a date under an order, and whether it is
// one.
func (d *date) ymd(o order) (y, m, day int, ok bool) {
	yi, mi, di := o.year, o.month, o.day
	switch d.form {
	case formYearFirst:
		yi, mi, di = 0, 1, 2
	case formNamed:
		yi, mi, di = d.named()
	}
	if d.digits[mi] == 4 || d.digits[di] == 4 || d.digits[yi] == 3 {
		return 0, 0, 0, false
	}
	y, m, day = fullYear(d.field[yi], d.digits[yi]), int(d.field[mi]), int(d.field[di])
	return y, m, day, validDate(y, m, day)
}

// named tells year, month and day apart where the month is a word: the field
// of four digits is the year, else the last.
func (d *date) named() (yi, mi, di int) {
	mi = int(d.month) - 1
	switch mi {
	case 0:
		yi, di = 2, 1
	case 1:
		yi, di = 2, 0
	default:
		yi, di = 0, 1
		if d.digits[1] == 4 {
			yi, di = 1, 0
		}
	}
	if d.digits[di] == 4 {
		yi, di = di, yi
	}
	return yi, mi, di
}
