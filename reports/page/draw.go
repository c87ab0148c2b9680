package page

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"

	"yardheat/analysis/season"
	"yardheat/reports/chart"
)

// pen writes an SVG for inside the page. Colours stand at least 4.5:1 against
// white in text and 3:1 elsewhere; nothing is told by colour alone.
type pen struct {
	b    strings.Builder
	w, h float64
}

const (
	ink, soft, green = "#1d241f", "#4c544e", "#17503a"
)

func (p *pen) text(x, y, size float64, anchor, colour, s string) {
	fmt.Fprintf(&p.b, `<text x="%.1f" y="%.1f" font-size="%.4g" text-anchor="%s" fill="%s">%s</text>`, x, y, size, anchor, colour, html.EscapeString(clean(s)))
}

func (p *pen) line(x1, y1, x2, y2, width float64, colour, dash string) {
	fmt.Fprintf(&p.b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="%s" stroke-width="%.4g"%s/>`, x1, y1, x2, y2, colour, width, dashed(dash))
}

func (p *pen) rect(x, y, w, h float64, fill, stroke string, width float64, dash string) {
	fmt.Fprintf(&p.b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="%s" stroke="%s" stroke-width="%.4g"%s/>`, x, y, w, h, fill, stroke, width, dashed(dash))
}

func (p *pen) polygon(fill, stroke string, points ...float64) {
	fmt.Fprintf(&p.b, `<polygon fill="%s" stroke="%s" points="`, fill, stroke)
	for i := 0; i+1 < len(points); i += 2 {
		fmt.Fprintf(&p.b, "%.1f,%.1f ", points[i], points[i+1])
	}
	p.b.WriteString(`"/>`)
}

// arrow ends in a head at (x2, y2); it runs level or upright.
func (p *pen) arrow(x1, y1, x2, y2 float64) {
	p.line(x1, y1, x2, y2, 2, ink, "")
	dx, dy := math.Copysign(1, x2-x1), 0.0
	if x1 == x2 {
		dx, dy = 0, math.Copysign(1, y2-y1)
	}
	p.polygon(ink, ink, x2, y2, x2-7*dx-4*dy, y2-7*dy-4*dx, x2-7*dx+4*dy, y2-7*dy+4*dx)
}

func dashed(dash string) string {
	if dash == "" {
		return ""
	}
	return ` stroke-dasharray="` + dash + `"`
}

// svg is the whole drawing, with its text alternative.
func (p *pen) svg(id, title, desc string) template.HTML {
	return template.HTML(fmt.Sprintf(`<svg viewBox="0 0 %.0f %.0f" width="%.0f" role="img" aria-labelledby="%s-t %s-d"><title id="%s-t">%s</title><desc id="%s-d">%s</desc>`,
		p.w, p.h, p.w, id, id, id, html.EscapeString(clean(title)), id, html.EscapeString(clean(desc))) + p.b.String() + "</svg>")
}

// chip is one meter's mark, by its kind.
func (p *pen) chip(x, y float64, kind, text string) {
	const r = 9
	switch kind {
	case "thermometer":
		fmt.Fprintf(&p.b, `<circle cx="%.1f" cy="%.1f" r="%d" fill="#fff" stroke="%s"/>`, x, y, r, ink)
	case "water meter":
		p.rect(x-r, y-r, 2*r, 2*r, "#fff", ink, 1, "")
	case "electricity":
		p.polygon("#fff", ink, x, y-r-3, x+r+3, y, x, y+r+3, x-r-3, y)
	default:
		p.polygon("#fff", ink, x-r-1, y+r-2, x+r+1, y+r-2, x, y-r-4)
	}
	p.text(x, y+3.5, 10, "middle", ink, text)
}

// The columns of the boundary drawing: sources outside, the water's way, what
// works on it inside.
const (
	leftW, midX, midW, rightX, rightW = 100.0, 124.0, 132.0, 274.0, 104.0
	chipsARow                         = 5
)

// drawnRow holds the stages of one row.
type drawnRow struct{ left, mid, right *season.Stage }

// Boundary is the drawing of the boundary with its meters; "" where the farm
// has no stage.
func (v *view) Boundary() template.HTML {
	kinds := map[int]string{}
	for _, m := range v.S.Audit.Meters {
		kinds[m.N] = m.Kind
	}
	rows := v.drawnRows()
	if rows == nil {
		return ""
	}
	p := &pen{w: rightX + rightW + 6}
	y, top, bottom, lastMid := 6.0, 0.0, 0.0, 0.0
	for _, r := range rows {
		h := r.height()
		if inside := r.mid != nil && r.mid.Inside || r.right != nil; inside {
			if top == 0 {
				top = y - 9
			}
			bottom = y + h + 9
		}
		if r.mid != nil && lastMid > 0 {
			p.arrow(midX+midW/2, lastMid, midX+midW/2, y)
		}
		p.row(r, y, h, kinds)
		if r.mid != nil {
			lastMid = y + h
		}
		y += h + 26
	}
	if top > 0 {
		p.rect(midX-12, top, rightX+rightW+4-midX+12, bottom-top, "none", green, 2, "7 4")
		p.text(rightX+rightW, top-4, 11, "end", green, "boundary")
	}
	p.legend(y)
	p.h = y + 44
	return p.svg("boundary", "Boundary of the account with the meters", v.BoundaryWords())
}

// height leaves room for the most meters of the row.
func (r drawnRow) height() float64 {
	h := 30.0
	for _, s := range []*season.Stage{r.left, r.mid, r.right} {
		if s != nil && len(s.Meters) > 0 {
			h = max(h, 34+26*float64((len(s.Meters)+chipsARow-1)/chipsARow))
		}
	}
	return h
}

// row draws a row's boxes, and the arrows between them.
func (p *pen) row(r drawnRow, y, h float64, kinds map[int]string) {
	if r.left != nil {
		p.stage(2, y, leftW, h, r.left, kinds)
		p.arrow(leftW+2, y+h/2, midX, y+h/2)
	}
	if r.right != nil {
		p.stage(rightX, y, rightW, h, r.right, kinds)
		if r.mid != nil {
			p.arrow(rightX, y+h/2, midX+midW, y+h/2)
		}
	}
	if r.mid != nil {
		p.stage(midX, y, midW, h, r.mid, kinds)
	}
}

// drawnRows are the rows from feed to wash.
func (v *view) drawnRows() []drawnRow {
	by := map[string]*season.Stage{}
	for i := range v.S.Audit.Drawing {
		by[v.S.Audit.Drawing[i].Key] = &v.S.Audit.Drawing[i]
	}
	var rows []drawnRow
	for _, k := range [][3]string{{"", "feed", ""}, {"bed", "loop", ""}, {"milk", "plate", ""}, {"", "tank", "element"}, {"", "", "pumps"}, {"", "wash", ""}, {"", "other", ""}} {
		r := drawnRow{by[k[0]], by[k[1]], by[k[2]]}
		if r.left != nil || r.mid != nil || r.right != nil {
			rows = append(rows, r)
		}
	}
	return rows
}

func (p *pen) stage(x, y, w, h float64, s *season.Stage, kinds map[int]string) {
	fill := "#fff"
	if !s.Inside {
		fill = "#efede3"
	}
	p.rect(x, y, w, h, fill, ink, 1.5, "")
	p.text(x+w/2, y+19, 12, "middle", ink, s.Label)
	n := min(len(s.Meters), chipsARow)
	for i, m := range s.Meters {
		row, at := i/chipsARow, i%chipsARow
		gap := min(24, (w-10)/float64(n))
		left := x + w/2 - gap*float64(n-1)/2
		p.chip(left+gap*float64(at), y+41+26*float64(row), kinds[m], fmt.Sprint(m))
	}
}

func (p *pen) legend(y float64) {
	for _, k := range []struct {
		x          float64
		kind, text string
	}{{12, "thermometer", "temperature"}, {126, "water meter", "water"}, {204, "electricity", "electricity"}, {302, "state", "state, other"}} {
		x := k.x
		p.chip(x, y+10, k.kind, "")
		p.text(x+15, y+14, 11, "start", ink, k.text)
	}
	p.text(2, y+38, 11, "start", soft, "Numbers: the table of meters. Grey: outside the boundary.")
}

// BoundaryWords is the drawing in words.
func (v *view) BoundaryWords() string {
	var inside, outside []string
	for _, s := range v.S.Audit.Drawing {
		text := s.Label
		if len(s.Meters) == 1 {
			text += fmt.Sprintf(" (meter %d)", s.Meters[0])
		} else if len(s.Meters) > 1 {
			text += " (meters " + strings.Trim(strings.ReplaceAll(fmt.Sprint(s.Meters), " ", ", "), "[]") + ")"
		}
		if s.Inside {
			inside = append(inside, text)
		} else {
			outside = append(outside, text)
		}
	}
	text := "The water runs from the cold feed to the taps."
	if inside != nil {
		text += " Inside the boundary: " + strings.Join(inside, ", ") + "."
	}
	if outside != nil {
		text += " Outside: " + strings.Join(outside, ", ") + "."
	}
	return text
}

// BalanceChart is what is unexplained, week by week; "" where no week has it.
func (v *view) BalanceChart() template.HTML {
	var weeks []season.BalanceWeek
	low, high := 0.0, 0.0
	for _, w := range v.S.Audit.Weeks {
		if f := weekFigure(w, "unexplained_kwh"); known(f) {
			weeks = append(weeks, w)
			low, high = min(low, f.Low), max(high, f.High)
		}
	}
	if len(weeks) == 0 || !(high > low) {
		return ""
	}
	const x0, y0, y1 = 46.0, 22.0, 172.0
	p := &pen{w: 420, h: 204}
	step := tick(high - low)
	low, high = math.Floor(low/step)*step, math.Ceil(high/step)*step
	at := func(x float64) float64 { return y1 - (x-low)/(high-low)*(y1-y0) }
	for x := low; x < high+step/2; x += step {
		p.line(x0, at(x), p.w-4, at(x), 1, "#dddfdc", "")
		p.text(x0-6, at(x)+4, 12, "end", soft, chart.Number(x+0, 0))
	}
	p.text(x0, 12, 12, "start", soft, "Unexplained, kWh a week, with 95 % interval")
	gap := (p.w - 4 - x0) / float64(len(weeks))
	for i, w := range weeks {
		f, mid := weekFigure(w, "unexplained_kwh"), x0+gap*(float64(i)+0.5)
		half := min(14, 0.35*gap)
		p.rect(mid-half, min(at(0), at(f.Value)), 2*half, math.Abs(at(f.Value)-at(0)), "#0072B2", "#0072B2", 1, "")
		if !math.IsNaN(f.Low) && !math.IsNaN(f.High) {
			p.line(mid, at(f.Low), mid, at(f.High), 1.5, ink, "")
			p.line(mid-3, at(f.Low), mid+3, at(f.Low), 1.5, ink, "")
			p.line(mid-3, at(f.High), mid+3, at(f.High), 1.5, ink, "")
		}
		if i%max(1, (len(weeks)+4)/5) == 0 {
			p.text(mid, p.h-14, 12, "middle", soft, v.format(w.From, "2 Jan"))
		}
	}
	p.line(x0, at(0), p.w-4, at(0), 1.5, ink, "")
	return p.svg("balance-chart", "What is unexplained in the heat balance, by week", clean(v.S.Audit.WeeksWords)+" The numbers stand in the table.")
}

// tick is a round step that gives three to seven over a span.
func tick(span float64) float64 {
	for step := math.Pow10(int(math.Floor(math.Log10(span))) - 1); ; step *= 10 {
		for _, m := range []float64{1, 2, 5} {
			if span/(m*step) <= 6 {
				return m * step
			}
		}
	}
}

// Tornado draws the assumptions that move the money (or the saving) the most;
// "" where none does.
func (v *view) Tornado() template.HTML {
	a := v.S.Audit
	most := 0.0
	of := func(i int) season.Effect {
		if a.TornadoOf == "money" {
			return a.Assumptions[i].Money
		}
		return a.Assumptions[i].Saved
	}
	for _, i := range a.Tornado {
		most = max(most, math.Abs(of(i).Less), math.Abs(of(i).More))
	}
	if len(a.Tornado) == 0 || !(most > 0) {
		return ""
	}
	const x0, row = 210.0, 52.0
	p := &pen{w: 420, h: 34 + row*float64(len(a.Tornado))}
	scale := 140 / most
	var words []string
	for k, i := range a.Tornado {
		e, y := of(i), 26+row*float64(k)
		id, _, _ := strings.Cut(a.Assumptions[i].ID, ":")
		p.text(2, y+10, 12, "start", ink, id)
		for _, side := range []struct {
			by   float64
			fill string
		}{{e.Less, "#fff"}, {e.More, "#0072B2"}} {
			x, w := x0, side.by*scale
			if w < 0 {
				x, w = x0+w, -w
			}
			p.rect(x, y+16, w, 16, side.fill, "#0072B2", 1.5, "")
			end, anchor := x0+side.by*scale+5, "start"
			if side.by < 0 {
				end, anchor = x0+side.by*scale-5, "end"
			}
			p.text(end, y+28, 11, anchor, ink, signed(side.by, 0))
		}
		p.line(x0, y+13, x0, y+35, 1.5, ink, "")
		words = append(words, id+" "+effect(e, 0, v.TornadoUnit()))
	}
	p.text(2, 12, 12, "start", soft, v.TornadoTitle()+", "+v.TornadoUnit())
	p.rect(222, 3, 10, 10, "#fff", "#0072B2", 1.5, "")
	p.text(237, 12, 11, "start", ink, "a fifth less")
	p.rect(312, 3, 10, 10, "#0072B2", "#0072B2", 1.5, "")
	p.text(327, 12, 11, "start", ink, "a fifth more")
	return p.svg("tornado", v.TornadoTitle()+" with each assumption a fifth less and a fifth more", strings.Join(words, "; "))
}

// TornadoTitle and TornadoUnit: what the drawing shows.
func (v *view) TornadoTitle() string {
	if v.S.Audit.TornadoOf == "money" {
		return "Change of the money saved"
	}
	return "Change of the energy saved"
}

// TornadoUnit: see TornadoTitle.
func (v *view) TornadoUnit() string {
	if v.S.Audit.TornadoOf == "money" {
		return clean(v.S.Saving.Currency)
	}
	return "kWh"
}
