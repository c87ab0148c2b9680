package edit

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
)

// newline is the line end that the text uses first.
func (d *Doc) newline() string {
	k := bytes.IndexAny(d.src, "\r\n")
	switch {
	case k < 0 || d.src[k] == '\n':
		return "\n"
	case k+1 < len(d.src) && d.src[k+1] == '\n':
		return "\r\n"
	}
	return "\r"
}

// lines puts whole lines in front of an offset that begins one.
func (d *Doc) lines(at int, text string) cut {
	nl := d.newline()
	text = strings.ReplaceAll(strings.TrimRight(text, "\n"), "\n", nl) + nl
	if at > 0 && at == len(d.src) && !isBreak(d.src[at-1]) && at > len(d.src)-len(bytes.TrimPrefix(d.src, bom)) {
		text = nl + text
	}
	return cut{at, at, text}
}

// insert writes a new key into a table that stands.
func (d *Doc) insert(t *node, path []step, key, value string) []cut {
	return d.insertText(t, path, Key(key), value)
}

// insertText is insert with the key as written.
func (d *Doc) insertText(t *node, path []step, key, value string) []cut {
	line := key + " = " + value
	switch {
	case t.braced:
		return []cut{d.intoBraces(t, line)}
	case t.block != nil:
		return d.intoBlock(t.block, key, line)
	case len(t.through) > 0:
		s := t.through[len(t.through)-1]
		line = string(d.src[s.parts[0].from:s.parts[t.depth-1].to]) + "." + line
		if s.in != nil {
			return []cut{{s.val.to, s.val.to, ", " + line}}
		}
		return []cut{d.lines(nextLine(d.src, s.val.to), d.indent(s)+line)}
	}
	// Only headers of tables below it make this one: its own goes above them.
	c := d.lines(d.lead(d.firstBlock(t)), "["+strings.Join(quotedNames(path), ".")+"]\n"+line)
	c.with += d.newline()
	return []cut{c}
}

// intoBraces adds to an inline table.
func (d *Doc) intoBraces(t *node, line string) cut {
	if n := len(t.inner); n > 0 {
		to := t.inner[n-1].val.to
		return cut{to, to, ", " + line}
	}
	return cut{t.from, t.to, "{ " + line + " }"}
}

// indent is the blank space in front of a statement.
func (d *Doc) indent(s *statement) string {
	start := lineStart(d.src, s.from())
	text := string(d.src[start:s.from()])
	if strings.Trim(text, " \t") != "" {
		return ""
	}
	return text
}

// intoBlock adds a line below a header: behind a comment that shows the key as
// an example, else behind the last statement. A mark "# check" right above that
// example is taken off.
func (d *Doc) intoBlock(b *block, key, line string) []cut {
	at, indent := b.headEnd, ""
	if n := len(b.statements); n > 0 {
		at, indent = nextLine(d.src, b.statements[n-1].val.to), d.indent(b.statements[n-1])
	}
	shown := d.example(b, key)
	if shown < 0 {
		return []cut{d.lines(at, indent+line)}
	}
	out := []cut{d.lines(shown, indent+line)}
	above := lineStart(d.src, before(d.src, lineStart(d.src, before(d.src, shown))))
	text := d.src[above:lineEnd(d.src, above)]
	if m := mark.Find(text); m != nil && above >= b.headEnd && !d.within(b, above) {
		out = append(out, cut{above, above + len(m), "# "})
	}
	return out
}

// example finds a comment of a block that reads "# key = …", and gives the start
// of the line below; -1 = none.
func (d *Doc) example(b *block, key string) int {
	for at := b.headEnd; at < b.end; at = nextLine(d.src, at) {
		text := strings.TrimSpace(string(d.src[at:lineEnd(d.src, at)]))
		rest, ok := strings.CutPrefix(text, "#")
		if !ok {
			continue
		}
		rest, ok = strings.CutPrefix(strings.TrimLeft(rest, " \t"), key)
		if !ok && !strings.HasPrefix(key, `"`) {
			rest, ok = strings.CutPrefix(strings.TrimLeft(text, "# \t"), `"`+key+`"`)
		}
		if ok && strings.HasPrefix(strings.TrimLeft(rest, " \t"), "=") && !d.within(b, at) && at < d.content(b) {
			return nextLine(d.src, at)
		}
	}
	return -1
}

// within tells whether an offset lies inside a statement of several lines.
func (d *Doc) within(b *block, at int) bool {
	return slices.ContainsFunc(b.statements, func(s *statement) bool { return s.from() < at && at < s.val.to })
}

// floor is where the last statement of a block is over.
func (d *Doc) floor(b *block) int {
	if n := len(b.statements); n > 0 {
		return nextLine(d.src, b.statements[n-1].val.to)
	}
	return b.headEnd
}

// content is where a block's own text ends: the blank lines and the comment
// right above the next header left out.
func (d *Doc) content(b *block) int {
	at := d.lead(d.after(b))
	if d.after(b) == nil {
		at = len(d.src)
	}
	for floor := d.floor(b); at > floor; {
		start := lineStart(d.src, before(d.src, at))
		if start >= at || strings.TrimSpace(string(d.src[start:at])) != "" {
			break
		}
		at = start
	}
	return max(at, d.floor(b))
}

// before is an offset in the line above the one that begins at at.
func before(src []byte, at int) int {
	at--
	if at > 0 && src[at] == '\n' && src[at-1] == '\r' {
		at--
	}
	return max(at, 0)
}

func (d *Doc) after(b *block) *block {
	if k := slices.Index(d.blocks, b); k+1 < len(d.blocks) {
		return d.blocks[k+1]
	}
	return nil
}

// lead is where the comment right above a header begins.
func (d *Doc) lead(b *block) int {
	if b == nil {
		return len(d.src)
	}
	floor := 0
	if k := slices.Index(d.blocks, b); k > 0 {
		floor = d.floor(d.blocks[k-1])
	}
	at := b.line
	for at > floor {
		start := max(lineStart(d.src, before(d.src, at)), floor)
		if start >= at || !strings.HasPrefix(strings.TrimSpace(string(d.src[start:at])), "#") {
			break
		}
		at = start
	}
	return at
}

// firstBlock is the first header of a table or of one below it.
func (d *Doc) firstBlock(t *node) *block {
	all := d.under(t)
	for _, b := range d.blocks {
		if slices.Contains(all, b) {
			return b
		}
	}
	return nil
}

// under lists the blocks of a table and of all below it.
func (d *Doc) under(t *node) []*block {
	var out []*block
	if t.block != nil {
		out = append(out, t.block)
	}
	for _, i := range t.items {
		out = append(out, d.under(i)...)
	}
	for _, e := range t.keys {
		out = append(out, d.under(e.val)...)
	}
	return out
}

// newTable writes a key into a table that is absent.
func (d *Doc) newTable(at *node, path, left []step, line string) []cut {
	if at.braced || len(at.through) > 0 {
		key, value, _ := strings.Cut(line, " = ")
		// The key may hold " = " in quotes: cut behind it.
		if strings.HasPrefix(line, `"`) {
			s := &scanner{src: []byte(line)}
			s.quoted('"')
			key, value = line[:s.at], strings.TrimPrefix(line[s.at:], " = ")
		}
		return d.insertText(at, path[:len(path)-len(left)], strings.Join(quotedNames(left), ".")+"."+key, value)
	}
	return []cut{d.place(path, "["+strings.Join(quotedNames(path), ".")+"]\n"+line)}
}

// order is the farm file's usual order of tables.
var order = strings.Fields("farm loop plate tank wash mains milk plant element pumps instead electricity cost baseline milkings season event errors matched flags record log")

func rank(name string) int {
	if k := slices.Index(order, name); k >= 0 {
		return k
	}
	return len(order)
}

// place puts a new block where it belongs: behind the blocks of its like, or
// where a comment shows it, or in the usual order.
func (d *Doc) place(path []step, text string) cut {
	at := d.placeOf(path)
	pre, post := "\n", ""
	if at == 0 || at <= len(bom) && bytes.HasPrefix(d.src, bom) || d.blankAbove(at) {
		pre = ""
	}
	if end := lineEnd(d.src, at); at < len(d.src) && strings.TrimSpace(string(d.src[at:end])) != "" {
		post = "\n"
	}
	c := d.lines(at, pre+text)
	if post != "" {
		c.with += d.newline()
	}
	return c
}

func (d *Doc) blankAbove(at int) bool {
	start := lineStart(d.src, before(d.src, at))
	return strings.TrimSpace(string(d.src[start:at])) == "" && start > 0
}

func (d *Doc) placeOf(path []step) int {
	name := path[0].name
	if last := d.lastOf(path); last != nil {
		return d.content(last)
	}
	if at := d.shown(path); at >= 0 {
		return at
	}
	var above *block
	for _, b := range d.blocks[1:] {
		if rank(b.path[0]) <= rank(name) {
			above = b
		}
	}
	switch {
	case above != nil:
		return d.content(above)
	case len(d.blocks) > 1:
		return d.lead(d.blocks[1])
	}
	return len(d.src)
}

// lastOf is the last block under the same first name; under the same table of a
// list where the path says which.
func (d *Doc) lastOf(path []step) *block {
	e := d.root.find(path[0].name)
	if e == nil {
		return nil
	}
	of := e.val
	if n := path[0].n; of.headed && n >= 0 && n < len(of.items) {
		of = of.items[n]
	}
	all := d.under(of)
	var last *block
	for _, b := range d.blocks[1:] {
		if slices.Contains(all, b) {
			last = b
		}
	}
	return last
}

// shown finds a comment that shows the header as an example, and gives the line
// below that comment; -1 = none where a header could go.
func (d *Doc) shown(path []step) int {
	head := strings.Join(quotedNames(path), ".")
	for _, b := range d.blocks {
		for at := d.floor(b); at < b.end; at = nextLine(d.src, at) {
			text := strings.TrimLeft(string(d.src[at:lineEnd(d.src, at)]), "# \t")
			if d.src[at] != '#' || !strings.HasPrefix(text, "["+head+"]") && !strings.HasPrefix(text, "[["+head+"]]") {
				continue
			}
			for at < b.end && d.src[at] == '#' {
				at = nextLine(d.src, at)
			}
			return at
		}
	}
	return -1
}

// without takes an entry out.
func (d *Doc) without(e *entry) []cut {
	if e.by != nil {
		return []cut{d.dropStatement(e.by)}
	}
	out := d.blocksOf(e.val)
	for _, s := range e.val.through {
		out = append(out, d.dropStatement(s))
	}
	return out
}

// blocksOf are the cuts that take every block of a table out, and the statements
// that pass through it outside of them.
func (d *Doc) blocksOf(t *node) []cut {
	var out []cut
	for _, b := range d.under(t) {
		to := d.lead(d.after(b))
		if d.after(b) == nil {
			to = len(d.src)
		}
		out = append(out, cut{b.line, max(to, d.floor(b)), ""})
	}
	return out
}

// dropStatement takes a statement out: its lines, or its place in braces.
func (d *Doc) dropStatement(s *statement) cut {
	if s.in == nil {
		return cut{lineStart(d.src, s.from()), nextLine(d.src, s.val.to), ""}
	}
	spans := make([][2]int, len(s.in.inner))
	for i, o := range s.in.inner {
		spans[i] = [2]int{o.from(), o.val.to}
	}
	return d.outOf(s.in, spans, slices.Index(s.in.inner, s))
}

func spansOf(items []*node) [][2]int {
	out := make([][2]int, len(items))
	for i, n := range items {
		out[i] = [2]int{n.from, n.to}
	}
	return out
}

// outOf takes the n-th of what stands between brackets or braces out, with one
// comma.
func (d *Doc) outOf(in *node, spans [][2]int, n int) cut {
	switch {
	case n+1 < len(spans):
		return cut{spans[n][0], spans[n+1][0], ""}
	case n > 0:
		return cut{spans[n-1][1], spans[n][1], ""}
	}
	return cut{in.from + 1, in.to - 1, ""}
}

// addItem puts one more value behind those of an array, on a line of its own
// where the others have one.
func (d *Doc) addItem(l *node, text string) []cut {
	if len(l.items) == 0 {
		return []cut{{l.to - 1, l.to - 1, text}}
	}
	last := l.items[len(l.items)-1]
	trailing := len(l.commas) > 0 && l.commas[len(l.commas)-1] >= last.to
	close := lineStart(d.src, l.to-1)
	if close > last.to && strings.TrimSpace(string(d.src[close:l.to-1])) == "" {
		start := lineStart(d.src, last.from)
		indent := string(d.src[start:last.from])
		if indent = indent[:len(indent)-len(strings.TrimLeft(indent, " \t"))]; start <= l.from {
			indent = "  "
		}
		out := []cut{d.lines(close, indent+text+",")}
		if !trailing {
			out = append(out, cut{last.to, last.to, ","})
		}
		return out
	}
	if trailing {
		at := l.commas[len(l.commas)-1] + 1
		return []cut{{at, at, " " + text}}
	}
	return []cut{{last.to, last.to, ", " + text}}
}

// mark is how a guess or placeholder is marked in a comment.
var mark = regexp.MustCompile(`^#[ \t]*check\b:?[ \t]*(?:placeholder\b;?[ \t]*)?`)

// unmark takes the mark "# check" off behind a statement, and off the comment
// above an example of the same key; nil where there is none.
func (d *Doc) unmark(s *statement) []cut {
	from, to, rest, ok := d.marked(s)
	if !ok {
		return nil
	}
	if rest != "" {
		return []cut{{from, to, "# " + rest}}
	}
	for from > s.val.to && (d.src[from-1] == ' ' || d.src[from-1] == '\t') {
		from--
	}
	return []cut{{from, to, ""}}
}

// marked gives the comment behind a statement, and what is left of it without
// the mark.
func (d *Doc) marked(s *statement) (from, to int, rest string, ok bool) {
	if s.in != nil {
		return 0, 0, "", false
	}
	to = lineEnd(d.src, s.val.to)
	k := bytes.IndexByte(d.src[s.val.to:to], '#')
	if k < 0 {
		return 0, 0, "", false
	}
	from = s.val.to + k
	text := string(d.src[from:to])
	m := mark.FindString(text)
	return from, to, strings.TrimSpace(text[len(m):]), m != ""
}
