package exports

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"
)

// All is every row of the truth, in the layout's order.
func (l Layout) All() []int {
	var out []int
	for i := 0; i < rows; i += max(1, l.Every) {
		out = append(out, i)
	}
	switch l.Order {
	case "newest first":
		slices.Reverse(out)
	case "shuffled":
		Shuffle(out)
	}
	return out
}

// Shuffle turns a seeded disorder into rows.
func Shuffle(of []int) {
	r := rand.New(rand.NewPCG(Seed, 99))
	r.Shuffle(len(of), func(i, j int) { of[i], of[j] = of[j], of[i] })
}

// Write writes a file of the truth's rows, by index, in the order given.
func (l Layout) Write(of []int) []byte {
	l.init()
	var lines []string
	if l.SepLine {
		lines = append(lines, "sep="+l.Sep)
	}
	lines = append(lines, l.Preamble...)
	if l.Shape == Apart {
		for n := range l.Channels {
			one := l
			one.Shape, one.Channels = Wide, l.Channels[n:n+1]
			if l.Names != nil {
				one.Names = l.Names[n : n+1]
			}
			if n > 0 {
				lines = append(lines, "")
			}
			lines = append(lines, one.table(of)...)
		}
	} else {
		lines = append(lines, l.table(of)...)
	}
	lines = append(lines, l.Footer...)
	return l.encode(lines)
}

// table writes header and rows, a line each.
func (l *Layout) table(of []int) []string {
	zone, err := time.LoadLocation(l.Zone)
	if err != nil {
		zone = time.UTC
	}
	head := l.headerRows()
	var body [][]string
	for n, i := range of {
		if l.Again > 0 && n > 0 && n%l.Again == 0 {
			body = append(body, head...)
		}
		body = append(body, l.rowsAt(i, n, zone)...)
	}
	all := append(slices.Clone(head), body...)
	if l.Sep == Fixed {
		return slices.Insert(fixed(all), len(head), l.Below...)
	}
	lines := make([]string, len(all))
	for i, cells := range all {
		lines[i] = l.line(cells, i < len(head))
	}
	return slices.Insert(lines, len(head), l.Below...)
}

// line joins one row's cells.
func (l *Layout) line(cells []string, header bool) string {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = c
		number := c != "" && strings.Trim(c, "+-.,0123456789") == ""
		if l.Quotes == "all" || l.Quotes == "header" && header || l.Quotes == "text" && (header || !number) ||
			l.Sep != Blanks && strings.Contains(c, l.Sep) {
			out[i] = `"` + strings.ReplaceAll(c, `"`, `""`) + `"`
		}
	}
	text := strings.Join(out, l.Sep)
	if l.Trailing {
		text += l.Sep
	}
	return text
}

// fixed pads cells to columns, two blanks between them, numbers to the right.
func fixed(all [][]string) []string {
	width := map[int]int{}
	for _, cells := range all {
		for i, c := range cells {
			width[i] = max(width[i], utf8.RuneCountInString(c))
		}
	}
	lines := make([]string, len(all))
	for n, cells := range all {
		var b strings.Builder
		for i, c := range cells {
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(c))
			if i == 0 {
				b.WriteString(c + pad)
			} else {
				b.WriteString("  " + pad + c)
			}
		}
		lines[n] = b.String()
	}
	return lines
}

// headerRows are the groups above, the names, the unit row.
func (l *Layout) headerRows() [][]string {
	if l.NoHeader {
		return nil
	}
	heads := make([]string, len(l.Stamp.Heads))
	for i, h := range l.Stamp.Heads {
		heads[i] = strings.ReplaceAll(h, "{zone}", l.Zone)
	}
	var names, units []string
	switch l.Shape {
	case Long, Events:
		names = []string{l.Tag, "Value"}
	default:
		for _, k := range l.Channels {
			names = append(names, l.header(k))
			units = append(units, l.truth.Channels[k].Unit)
		}
	}
	out := slices.Clone(l.Above)
	out = append(out, l.withStamp(heads, names, "No."))
	if l.UnitsIn == "row" {
		out = append(out, l.withStamp(make([]string, len(heads)), units, ""))
	}
	return out
}

// withStamp puts the stamp's cells among the others.
func (l *Layout) withStamp(stamp, cells []string, lead string) []string {
	var out []string
	if l.Lead {
		out = append(out, lead)
	}
	out = append(out, cells...)
	return slices.Insert(out, max(l.StampAt, len(out)-len(cells)), stamp...)
}

// rowsAt are the lines of one time: one, or one a channel.
func (l *Layout) rowsAt(i, n int, zone *time.Location) [][]string {
	at := l.truth.At[i].In(zone)
	lead := fmt.Sprint(n + 1)
	var cells []string
	for _, k := range l.Channels {
		cells = append(cells, l.cell(k, i))
	}
	switch l.Shape {
	case Events:
		if v := l.truth.Channels[l.Channels[0]].V; i > 0 && v[i] == v[i-1] {
			return nil
		}
		fallthrough
	case Long:
		var out [][]string
		for m, c := range cells {
			out = append(out, l.withStamp(l.Stamp.Cells(at), []string{l.header(l.Channels[m]), c}, lead))
		}
		return out
	case Staggered:
		var out [][]string
		for m, c := range cells {
			row := make([]string, len(cells))
			row[m] = c
			out = append(out, l.withStamp(l.Stamp.Cells(at.Add(stagger(m))), row, lead))
		}
		return out
	}
	return [][]string{l.withStamp(l.Stamp.Cells(at), cells, lead)}
}

func stagger(channel int) time.Duration { return time.Duration(channel) * 7 * time.Second }

// cell writes one reading.
func (l *Layout) cell(k, i int) string {
	c := &l.truth.Channels[k]
	v := c.V[i]
	switch {
	case v == None:
		return l.Missing[(i+k)%len(l.Missing)]
	case c.State:
		return [...]string{"off", "on"}[v]
	}
	text := l.numberText(v, c.Places)
	if l.UnitsIn == "cells" {
		text += " " + c.Unit
	}
	return text
}

// encode turns lines into the bytes of the file.
func (l *Layout) encode(lines []string) []byte {
	var b strings.Builder
	for i, line := range lines {
		b.WriteString(line)
		switch l.LineEnd {
		case "":
			b.WriteByte('\n')
		case "mixed":
			b.WriteString([...]string{"\n", "\r\n", "\r"}[i%3])
		default:
			b.WriteString(l.LineEnd)
		}
	}
	text := b.String()
	if l.Spoil != nil {
		text = l.Spoil(text)
	}
	if l.BOM {
		text = "\ufeff" + text
	}
	switch l.Encoding {
	case "UTF-16LE", "UTF-16BE":
		return wide(text, l.Encoding == "UTF-16BE")
	case "Windows-1252", "ISO-8859-1":
		return narrow(text)
	}
	return []byte(text)
}

func wide(text string, big bool) []byte {
	var out []byte
	for _, u := range utf16.Encode([]rune(text)) {
		if big {
			out = append(out, byte(u>>8), byte(u))
		} else {
			out = append(out, byte(u), byte(u>>8))
		}
	}
	return out
}

// narrow writes one byte a character: the layouts use none that Windows-1252
// places elsewhere than ISO 8859-1.
func narrow(text string) []byte {
	var out []byte
	for _, r := range text {
		out = append(out, byte(r))
	}
	return out
}
