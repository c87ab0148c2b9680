package simfarm

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/xuri/excelize/v2"
)

// dataSheet is the workbook's sheet with the readings; a notes sheet comes
// before it.
const dataSheet = "Readings"

// workbook writes a controller's export: a sheet of notes, and the readings
// under two header rows, with real dates.
func (f *Farm) workbook(l *Logger, r *readings) (data []byte, err error) {
	x := excelize.NewFile()
	defer func() {
		if e := x.Close(); err == nil && e != nil {
			err = fmt.Errorf("simfarm: workbook %s: %w", l.Name, e)
		}
	}()
	if err = f.notes(x, l); err == nil {
		err = f.readingsSheet(x, l, r)
	}
	if err != nil {
		return nil, fmt.Errorf("simfarm: workbook %s: %w", l.Name, err)
	}
	var b bytes.Buffer
	if err = x.Write(&b); err != nil {
		return nil, fmt.Errorf("simfarm: workbook %s: %w", l.Name, err)
	}
	return b.Bytes(), nil
}

func (f *Farm) notes(x *excelize.File, l *Logger) error {
	if err := x.SetSheetName("Sheet1", "Notes"); err != nil {
		return err
	}
	lines := append([]string{f.s.Name, "Plant controller, export of all readings", "Invented: simulated readings"}, l.Preamble...)
	for i, line := range lines {
		if err := x.SetCellValue("Notes", fmt.Sprintf("A%d", i+1), line); err != nil {
			return err
		}
	}
	_, err := x.NewSheet(dataSheet)
	return err
}

func (f *Farm) readingsSheet(x *excelize.File, l *Logger, r *readings) error {
	layout := "yyyy-mm-dd hh:mm"
	style, err := x.NewStyle(&excelize.Style{CustomNumFmt: &layout})
	if err != nil {
		return err
	}
	w, err := x.NewStreamWriter(dataSheet)
	if err != nil {
		return err
	}
	if err := w.SetColWidth(1, 1, 17); err != nil {
		return err
	}
	if err := sheetHead(w, l); err != nil {
		return err
	}
	zone := f.logZone(l)
	row := make([]any, len(l.Columns)+1)
	for i, s := range r.stamp {
		row[0] = excelize.Cell{StyleID: style, Value: excelSerial(s, zone)}
		for c := range l.Columns {
			row[c+1] = rounded(r.values[c][i], l.Columns[c].Decimals)
			if bad, ok := r.bad(c, i); ok {
				row[c+1] = bad
			}
		}
		if err := w.SetRow(fmt.Sprintf("A%d", i+3), row); err != nil {
			return err
		}
	}
	return w.Flush()
}

// sheetHead writes two header rows: a header "Plate|in °C" is split at the
// bar; joined by one space it is the header that farm.toml names.
func sheetHead(w *excelize.StreamWriter, l *Logger) error {
	upper, lower := []any{"Stamp"}, []any{"local time"}
	for _, c := range l.Columns {
		a, b, _ := strings.Cut(c.Header, "|")
		upper, lower = append(upper, a), append(lower, b)
	}
	if err := w.SetRow("A1", upper); err != nil {
		return err
	}
	return w.SetRow("A2", lower)
}

func rounded(x float64, decimals int) float64 {
	if x < 0 {
		return -rounded(-x, decimals)
	}
	return float64(int64(x*tens[decimals]+0.5)) / tens[decimals]
}
