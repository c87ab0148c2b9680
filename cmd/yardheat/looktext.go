package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"unicode/utf8"

	"yardheat/ingest/look"
)

// textWidth is how wide a line of a description is, at least as far as words
// can be broken.
const textWidth = 96

// asciiOnly: a terminal that cannot be trusted with block characters.
func asciiOnly() bool { return os.Getenv("TERM") == "dumb" }

// printTable describes one table for a terminal.
func printTable(w io.Writer, t *look.Table, ascii bool) {
	title := filepath.Base(t.File)
	if t.Member != "" {
		title += ", in it " + t.Member
	}
	if t.Sheet != "" {
		title += ", sheet " + strconv.Quote(t.Sheet)
	}
	if t.Of > 1 {
		title += fmt.Sprintf(", table %d of %d", t.Number, t.Of)
	}
	fmt.Fprintf(w, "%s\n", title)
	row := func(label, text string) {
		if text != "" {
			wrapped(w, "  "+pad(label, 10), text)
		}
	}
	row("written", layoutText(t))
	row("above it", strings.Join(t.Preamble[:min(2, len(t.Preamble))], " / "))
	row("stamps", stampText(t))
	row("time", spanText(t))
	row("order", orderText(t))
	printColumns(w, t, ascii)
	if len(t.Unsure) > 0 {
		fmt.Fprintln(w, "\n  Not settled by the file:")
		for _, u := range t.Unsure {
			printDoubt(w, u)
		}
	}
	printProblems(w, t)
}

func layoutText(t *look.Table) string {
	parts := []string{t.Encoding}
	if t.Separator != "" {
		parts = append(parts, map[string]string{"\t": "tab", ",": "comma", ";": "semicolon", "|": "|", " ": "blanks"}[t.Separator]+" between cells")
	}
	if t.Decimal != "" && t.Sheet == "" {
		mark := "decimal " + strconv.Quote(t.Decimal)
		if t.Thousands != "" {
			mark += ", thousands " + strconv.Quote(t.Thousands)
		}
		parts = append(parts, mark)
	}
	switch {
	case t.HeaderLine == 0:
		parts = append(parts, fmt.Sprintf("no header, first row in line %d", t.FirstRow))
	case t.FirstRow > t.HeaderLine+1:
		parts = append(parts, fmt.Sprintf("header in line %d, first row in line %d", t.HeaderLine, t.FirstRow))
	default:
		parts = append(parts, fmt.Sprintf("header in line %d", t.HeaderLine))
	}
	return strings.Join(parts, "; ")
}

func stampText(t *look.Table) string {
	if len(t.Stamp.Columns) == 0 {
		return "none found"
	}
	quoted := make([]string, len(t.Stamp.Columns))
	for i, c := range t.Stamp.Columns {
		quoted[i] = strconv.Quote(c)
	}
	text := strings.Join(quoted, " and ") + " as " + t.Stamp.Format
	if t.Stamp.Zone != "" {
		text += ", zone " + t.Stamp.Zone
	} else {
		text += ", zone not stated"
	}
	return text + " (" + t.Stamp.Because + ")"
}

func spanText(t *look.Table) string {
	if t.First == "" {
		return ""
	}
	text := fmt.Sprintf("%s to %s; %s", human(t.First), human(t.Last), counted(t.Rows, "row", "rows"))
	if t.EventRows > 0 {
		text += fmt.Sprintf(", %d of them events without a reading", t.EventRows)
	}
	switch {
	case t.IntervalS == 0:
	case t.Regular:
		text += ", every " + span(t.IntervalS)
	default:
		text += ", at irregular times, mostly about " + span(t.IntervalS)
	}
	if t.Gaps > 0 {
		text += fmt.Sprintf("; %s, longest %s", counted(t.Gaps, "gap", "gaps"), span(t.LongestS))
	}
	return text
}

func human(stamp string) string { return strings.Replace(stamp, "T", " ", 1) }

func orderText(t *look.Table) string {
	var parts []string
	if t.NewestFirst {
		parts = append(parts, "newest first")
	}
	if t.OutOfOrder > 0 {
		parts = append(parts, counted(t.OutOfOrder, "row stands", "rows stand")+" before an earlier one")
	}
	if t.Duplicates > 0 {
		parts = append(parts, counted(t.Duplicates, "row repeats", "rows repeat")+" a stamp")
	}
	return strings.Join(parts, "; ")
}

// span is a time as a person says it.
func span(s float64) string {
	switch {
	case s < 120:
		return strconv.FormatFloat(s, 'g', 4, 64) + " s"
	case s < 7200:
		return strconv.FormatFloat(s/60, 'g', 3, 64) + " min"
	case s < 48*3600:
		return strconv.FormatFloat(s/3600, 'g', 3, 64) + " h"
	}
	return strconv.FormatFloat(s/86400, 'g', 3, 64) + " days"
}

// printColumns prints a line a column: name, kind, picture, range, readings,
// and under it the guess.
func printColumns(w io.Writer, t *look.Table, ascii bool) {
	if len(t.Columns) == 0 {
		return
	}
	fmt.Fprintln(w)
	width := 6
	for _, c := range t.Columns {
		width = max(width, min(32, utf8.RuneCountInString(named(c))))
	}
	for _, c := range t.Columns {
		line := fmt.Sprintf("  %s  %-7s  %s  %s", pad(named(c), width), c.Kind, picture(c.Points, ascii), rangeText(c))
		fmt.Fprintln(w, strings.TrimRight(line, " "))
		guess := "→ "
		if ascii {
			guess = "-> "
		}
		switch {
		case c.Quantity != "" && c.Place != "":
			guess += c.Quantity + "@" + c.Place + " (" + c.Because + ")"
		case c.Quantity != "":
			guess += c.Quantity + " (" + c.Because + ")"
		case c.Because != "":
			guess += "no guess (" + c.Because + ")"
		default:
			continue
		}
		if c.Kind == look.Index || c.Kind == look.Event || c.Kind == look.Text {
			guess = c.Because
		}
		wrapped(w, strings.Repeat(" ", width+4), guess)
	}
}

func named(c look.Column) string {
	if c.Tag {
		return "= " + c.Name
	}
	return c.Name
}

func rangeText(c look.Column) string {
	var parts []string
	if c.Min != nil {
		text := fmt.Sprintf("%s to %s", shortNumber(*c.Min), shortNumber(*c.Max))
		if c.Unit != "" {
			text += " " + c.Unit
		} else if c.Kind != look.State && c.Kind != look.Index {
			text += " (no unit)"
		}
		parts = append(parts, text)
	}
	parts = append(parts, counted(c.Readings, "reading", "readings"))
	if c.Missing > 0 {
		parts = append(parts, fmt.Sprintf("%d missing", c.Missing))
	}
	if c.Implausible > 0 {
		parts = append(parts, fmt.Sprintf("%d not plausible", c.Implausible))
	}
	return strings.Join(parts, ", ")
}

func shortNumber(v float64) string {
	if math.Abs(v) >= 1e6 {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}

// picture draws ten points from the least to the most of them.
func picture(points [10]*float64, ascii bool) string {
	levels, none := []rune("▁▂▃▄▅▆▇█"), '·'
	if ascii {
		levels, none = []rune("_.-~=+*#"), ' '
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		if p != nil {
			low, high = min(low, *p), max(high, *p)
		}
	}
	out := make([]rune, 0, len(points))
	for _, p := range points {
		switch {
		case p == nil:
			out = append(out, none)
		case high <= low:
			out = append(out, levels[3])
		default:
			k := int(math.Round((*p - low) / (high - low) * float64(len(levels)-1)))
			out = append(out, levels[k])
		}
	}
	return string(out)
}

func printDoubt(w io.Writer, u look.Doubt) {
	text := u.Text
	if u.Assumed != "" && u.Assumed != "none" {
		text += ". Assumed: " + u.Assumed
	}
	wrapped(w, "  ? ", text+".")
	settle := u.Settle
	if u.Flag != "" {
		settle += "   (here: " + u.Flag + ")"
	}
	fmt.Fprintf(w, "      %s\n", settle)
}

// shownProblems is how many problems are printed before they are counted.
const shownProblems = 12

func printProblems(w io.Writer, t *look.Table) {
	if len(t.Problems) == 0 {
		return
	}
	fmt.Fprintln(w, "\n  Problems:")
	for i, p := range t.Problems {
		if i == shownProblems {
			fmt.Fprintf(w, "  … and %d more: --json lists them all\n", len(t.Problems)-i)
			break
		}
		where := ""
		switch {
		case p.Cell != "":
			where = p.Cell + ": "
		case p.Line > 0 && p.Column > 0:
			where = fmt.Sprintf("line %d, column %d: ", p.Line, p.Column)
		case p.Line > 0:
			where = fmt.Sprintf("line %d: ", p.Line)
		}
		wrapped(w, "  ! ", where+p.Text)
	}
}

// pad fills a text with blanks to a width in characters, or cuts it.
func pad(s string, width int) string {
	n := utf8.RuneCountInString(s)
	if n > width {
		return string([]rune(s)[:width-1]) + "…"
	}
	return s + strings.Repeat(" ", width-n)
}

// wrapped prints a text behind a lead, broken between words.
func wrapped(w io.Writer, lead, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line, n := lead, utf8.RuneCountInString(lead)
	for i, word := range strings.Fields(text) {
		k := utf8.RuneCountInString(word)
		if i > 0 && n+1+k > textWidth {
			fmt.Fprintln(w, strings.TrimRight(line, " "))
			line, n = indent, len(indent)
		} else if i > 0 {
			line, n = line+" ", n+1
		}
		line, n = line+word, n+k
	}
	fmt.Fprintln(w, line)
}
