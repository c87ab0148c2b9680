package clock

import "fmt"

// fewOfAForm rows of a second form are strays, not half of a column.
const fewOfAForm = 3

// twoForms reads a column in which some stamps begin with the year and others
// are three numbers. A spreadsheet set to another country leaves that behind:
// it turns "03/02/2026" into a real date, day and month swapped, and keeps
// "23/02/2026" as text, because there is no month 23. The texts prove their
// order; the run of all rows tells whether the real dates were swapped.
func twoForms(rows []stamp, texts []string, opt Options) (order, string, error) {
	triples := make([]stamp, len(rows))
	for i := range rows {
		switch rows[i].form {
		case formTriple:
			triples[i] = rows[i]
		case formYearFirst:
		default:
			rows[i] = stamp{offsetMS: NoOffset}
		}
	}
	o, because, err := decide(triples, texts, opt.Order)
	if err != nil {
		return o, "", err
	}
	asWritten := runOf(rows, o, formYearFirst)
	turned := make([]stamp, len(rows))
	copy(turned, rows)
	for i := range turned {
		if d := &turned[i].date; d.form == formYearFirst {
			d.field[1], d.field[2] = d.field[2], d.field[1]
		}
	}
	swapped := runOf(turned, o, formYearFirst)
	switch {
	case asWritten.on() && swapped.off():
		return o, because + "; other rows begin with the year", nil
	case swapped.on() && asWritten.off():
		copy(rows, turned)
		return o, because + "; day and month had been swapped in the rows that begin with the year, as a spreadsheet does: only swapped back do the rows run on", nil
	case opt.Order != "":
		return o, because + "; rows that begin with the year are taken as written", nil
	}
	i := firstOf(rows, formYearFirst)
	return o, "", &OrderError{Example: texts[i], Orders: []string{"ymd", o.name},
		Reason: fmt.Sprintf("other rows are written as %q, and a spreadsheet may have swapped day and month in some: export the log again as text", texts[firstOf(rows, formTriple)])}
}

func firstOf(rows []stamp, f form) int {
	for i := range rows {
		if rows[i].form == f {
			return i
		}
	}
	return 0
}
