package simfarm

import (
	"fmt"
	"os"
	"path/filepath"
	"unicode/utf16"
)

// Write makes the farm folder dir: farm.toml, the milkings list and the logs.
// The same scenario gives the same bytes.
func (f *Farm) Write(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("simfarm: %w", err)
	}
	put := func(name string, data []byte) error {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			return fmt.Errorf("simfarm: %w", err)
		}
		return nil
	}
	if err := put("farm.toml", f.farmFile()); err != nil {
		return err
	}
	if err := put("milkings.csv", f.milkingsFile()); err != nil {
		return err
	}
	for i := range f.s.Loggers {
		files, err := f.logFiles(i)
		if err != nil {
			return err
		}
		for _, file := range files {
			if err := put(file.name, file.data); err != nil {
				return err
			}
		}
	}
	return nil
}

// file is one export.
type file struct {
	name string
	data []byte
}

func (f *Farm) logFiles(i int) ([]file, error) {
	l := &f.s.Loggers[i]
	rows := f.readings(i)
	if l.Format == "xlsx" {
		data, err := f.workbook(l, rows)
		return []file{{l.Name + ".xlsx", data}}, err
	}
	text := f.newText(l)
	text.rows(rows)
	if !l.Monthly {
		return []file{{l.Name + ".csv", text.encode(text.head, text.body)}}, nil
	}
	var files []file
	for _, p := range f.exports(rows, l.OverlapDays) {
		part := text.body[text.at[p.from]:text.at[p.to]]
		files = append(files, file{l.Name + "-" + p.month + ".csv", text.encode(text.head, part)})
	}
	return files, nil
}

// export is one month's rows.
type export struct {
	month    string
	from, to int
}

// exports cut rows by the month of their stamp, each running on into the next.
func (f *Farm) exports(rows *readings, overlapDays float64) []export {
	var out []export
	for i, s := range rows.stamp {
		m := formatLocal(s, f.zone, "2006-01")
		if len(out) == 0 || out[len(out)-1].month != m {
			out = append(out, export{month: m, from: i})
		}
	}
	for i := range out {
		if i+1 == len(out) {
			out[i].to = len(rows.stamp)
			continue
		}
		begin := rows.stamp[out[i+1].from]
		to := out[i+1].from
		for to < len(rows.stamp) && float64(rows.stamp[to]-begin) < overlapDays*86400 {
			to++
		}
		out[i].to = to
	}
	return out
}

// text is a log being written as text.
type text struct {
	l    *Logger
	f    *Farm
	head string
	body []byte
	at   []int // where each row begins; one more than rows
	eol  string
}

func (f *Farm) newText(l *Logger) *text {
	t := &text{l: l, f: f, eol: "\n"}
	if l.Latin || l.Format == "utf16" {
		t.eol = "\r\n"
	}
	sep := string(l.Separator)
	for _, p := range l.Preamble {
		t.head += p + t.eol
	}
	names, units := l.stampHeader(), ""
	for _, c := range l.Columns {
		names += sep + c.header(l)
		units += sep + c.Unit
	}
	t.head += names + t.eol
	if l.UnitRow {
		t.head += units + t.eol
	}
	return t
}

func (l *Logger) stampHeader() string {
	switch l.Stamp {
	case "epoch":
		return "ts"
	case "iso":
		return "Time"
	}
	return "Date and time"
}

// header is the column's header as written.
func (c *Column) header(l *Logger) string {
	if l.UnitRow || c.Unit == "" || l.Format == "xlsx" {
		return c.Header
	}
	return c.Header + " [" + c.Unit + "]"
}

// rows writes the body.
func (t *text) rows(r *readings) {
	t.body = make([]byte, 0, len(r.stamp)*(20+7*len(t.l.Columns)))
	t.at = make([]int, 0, len(r.stamp)+1)
	s := stamper{style: t.l.Stamp, zone: t.f.logZone(t.l)}
	mark := byte('.')
	if t.l.Comma {
		mark = ','
	}
	n := len(t.l.Columns)
	for i, at := range r.stamp {
		t.at = append(t.at, len(t.body))
		t.body = s.append(t.body, at)
		for c := range n {
			t.body = append(t.body, t.l.Separator)
			if bad, ok := r.bad(c, i); ok {
				t.body = append(t.body, bad...)
				continue
			}
			t.body = appendFixed(t.body, r.values[c][i], t.l.Columns[c].Decimals, mark)
		}
		t.body = append(t.body, t.eol...)
	}
	t.at = append(t.at, len(t.body))
}

// encode puts head and body into the log's bytes.
func (t *text) encode(head string, body []byte) []byte {
	switch {
	case t.l.Format == "utf16":
		return utf16le(head + string(body))
	case t.l.Latin:
		return append(latin(head), body...)
	}
	return append([]byte(head), body...)
}

// latin is Windows-1252 for what is in Latin-1 too.
func latin(s string) []byte {
	out := make([]byte, 0, len(s))
	for _, r := range s {
		if r > 0xff {
			r = '?'
		}
		out = append(out, byte(r))
	}
	return out
}

func utf16le(s string) []byte {
	units := utf16.Encode([]rune(s))
	out := make([]byte, 2, 2+2*len(units))
	out[0], out[1] = 0xff, 0xfe
	for _, u := range units {
		out = append(out, byte(u), byte(u>>8))
	}
	return out
}

// milkingsFile is the farm's own list, with the errors of its meter and probes.
func (f *Farm) milkingsFile() []byte {
	out := []byte("Date,Start,End,Milk [L],Milk in [°C],Milk out [°C]\n")
	for _, m := range f.milkings {
		if m.end > f.end {
			continue
		}
		out = append(out, formatLocal(m.start, f.zone, "2006-01-02,15:04,")...)
		out = append(out, formatLocal(m.end, f.zone, "15:04,")...)
		out = appendFixed(out, m.litres*(1+f.errs[gMilk]), 0, '.')
		out = append(out, ',')
		out = appendFixed(out, m.inC+f.errs[eMilkIn], 1, '.')
		out = append(out, ',')
		out = appendFixed(out, m.outC+f.errs[eMilkOut], 1, '.')
		out = append(out, '\n')
	}
	return out
}
