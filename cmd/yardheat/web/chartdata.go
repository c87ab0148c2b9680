package web

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"io/fs"
	"math"
	"net/http"
	"os"
	"strconv"
	"time"

	"yardheat/reports/record"
	"yardheat/reports/results/saved"
)

// chartData is one chart as the page's script draws it: numbers in the reader's
// units, words in the reader's language. Times are Unix seconds UTC; the script
// labels them in Zone.
type chartData struct {
	Zone string `json:"zone"`
	// From, To: all there is; a chart that is Live is asked for again when it is
	// zoomed.
	From   int64         `json:"from"`
	To     int64         `json:"to"`
	Live   bool          `json:"live,omitempty"`
	X      []int64       `json:"x"`
	Axes   []chartAxis   `json:"axes"`
	Series []chartSeries `json:"series"`
	Lines  []chartLine   `json:"lines,omitempty"`
	// Stacked: the bars stand on each other.
	Stacked bool `json:"stacked,omitempty"`
	// Day: stamps of the table are days.
	Day bool `json:"day,omitempty"`
	// Why there is nothing to draw.
	Why string `json:"why,omitempty"`
}

type chartAxis struct {
	Key   string `json:"key"`
	Label string `json:"label"`
}

// chartSeries is one line, row of bars or points. Style picks colour and dash
// (report.js); Text is shown in place of the numbers where it is given.
type chartSeries struct {
	Label    string   `json:"label"`
	Unit     string   `json:"unit"`
	Axis     string   `json:"axis"`
	Kind     string   `json:"kind"` // "line", "bars", "points"
	Style    string   `json:"style"`
	Decimals int      `json:"decimals"`
	Hidden   bool     `json:"hidden,omitempty"`
	Y        values   `json:"y"`
	Low      values   `json:"low,omitempty"`
	High     values   `json:"high,omitempty"`
	Text     []string `json:"text,omitempty"`
}

type chartLine struct {
	Axis  string  `json:"axis"`
	Y     float64 `json:"y"`
	Label string  `json:"label"`
}

// values are numbers of which NaN is null, with five significant digits: more
// than a screen resolves.
type values []float64

// MarshalJSON writes them compactly.
func (v values) MarshalJSON() ([]byte, error) {
	b := make([]byte, 0, 8*len(v)+2)
	b = append(b, '[')
	for i, x := range v {
		if i > 0 {
			b = append(b, ',')
		}
		if x-x != 0 {
			b = append(b, "null"...)
			continue
		}
		b = strconv.AppendFloat(b, x, 'g', 5, 64)
	}
	return append(b, ']'), nil
}

// The points that a request may ask for.
const (
	fewestPoints = 50
	mostPoints   = 4000
	usualPoints  = 1200
)

// chartJSON answers GET …/chart/{chart}.
func (s *Server) chartJSON(w http.ResponseWriter, r *http.Request) {
	v, ok := s.reportView(w, r)
	if !ok {
		return
	}
	var d *chartData
	var err error
	switch r.PathValue("chart") {
	case "temperatures":
		d, err = s.recordChart(v, r, temperatures)
	case "flows":
		d, err = s.recordChart(v, r, flows)
	case "draw":
		d, err = s.recordChart(v, r, oneDraw)
	case "heat":
		d, err = s.heatChart(v, r.URL.Query().Get("by"))
	case "washes":
		d = v.washChart()
	case "loop":
		d = v.loopChart()
	case "plate":
		d = v.plateChart()
	default:
		s.notFound(w, r)
		return
	}
	if err != nil {
		s.logf("chart %s: %v", r.URL.Path, err)
		d = &chartData{Why: v.Say("chart.norecord")}
	}
	if d.Why == "" && len(d.X) == 0 {
		d.Why = v.Say("chart.nothing")
	}
	d.Zone = v.R.Farm.Timezone
	b, err := json.Marshal(d)
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(b) // the browser may be gone
}

// trace is a column of the record on a chart.
type trace struct {
	quantity, style, axis string
	hidden                bool
}

var temperatures = []trace{
	{"loop_out_temp", "out", "c", false}, {"bed_temp", "bed", "c", false}, {"mains_temp", "feed", "c", false}, {"tank_temp", "tank", "c", false},
	{"loop_in_temp", "in", "c", true}, {"wash_temp", "wash", "c", true}, {"plate_in_temp", "in", "c", true}, {"plate_out_temp", "plate", "c", true},
	{"slab_temp", "bed", "c", true}, {"gas_in_temp", "gas", "c", true}, {"milk_in_temp", "milk", "c", true}, {"milk_out_temp", "milk", "c", true},
	{"air_temp", "air", "c", true}, {"outdoor_temp", "air", "c", true},
}

var flows = []trace{
	{"loop_flow", "out", "f", false}, {"loop_volume", "out", "f", false}, {"plate_flow", "plate", "f", false}, {"plate_volume", "plate", "f", false},
	{"wash_flow", "wash", "f", false}, {"wash_volume", "wash", "f", false}, {"hot_use_volume", "tank", "f", true},
	{"element_power", "element", "p", true}, {"element_energy", "element", "p", true}, {"compressor_power", "gas", "p", true}, {"compressor_energy", "gas", "p", true},
}

var oneDraw = []trace{
	{"bed_temp", "bed", "c", false}, {"loop_out_temp", "out", "c", false}, {"mains_temp", "feed", "c", false}, {"loop_in_temp", "in", "c", false},
	{"loop_flow", "flow", "f", false}, {"loop_volume", "flow", "f", false},
}

// recordChart is a slice of the record, thinned to what a screen shows.
func (s *Server) recordChart(v *reportView, r *http.Request, traces []trace) (*chartData, error) {
	t, err := s.readings.record(v.Report)
	if errors.Is(err, record.ErrTooLong) {
		return &chartData{Why: v.Say("chart.long")}, nil
	}
	if err != nil {
		return nil, err
	}
	d := &chartData{From: t.StartMS / 1000, To: (t.StartMS + int64(t.N)*t.StepMS) / 1000, Live: true}
	from, to := number(r, "from", d.From), number(r, "to", d.To)
	if days := number(r, "days", 0); days > 0 && days < 10000 { // the last ones
		from = max(d.From, d.To-86400*days)
	}
	points := min(max(int(number(r, "points", usualPoints)), fewestPoints), mostPoints)
	a, b := t.Cell(from*1000), t.Cell(to*1000)
	if to*1000 > t.StartMS+int64(b)*t.StepMS && b < t.N {
		b++
	}
	if b <= a {
		return d, nil
	}
	cells := runs(a, b, points)
	d.X = stamps(t, cells)
	used := map[string]bool{}
	for _, tr := range traces {
		for k, c := range t.Columns {
			if c.Quantity != tr.quantity {
				continue
			}
			y, known := thinned(t.Values[k], cells)
			if !known && tr.hidden {
				continue
			}
			d.Series = append(d.Series, v.trace(tr, c, y))
			used[tr.axis] = true
		}
	}
	for _, axis := range []string{"c", "f", "p"} {
		if used[axis] {
			d.Axes = append(d.Axes, v.axis(axis))
		}
	}
	return d, nil
}

func number(r *http.Request, key string, otherwise int64) int64 {
	n, err := strconv.ParseInt(r.URL.Query().Get(key), 10, 64)
	if err != nil || n < 0 || n > 1<<40 {
		return otherwise
	}
	return n
}

func (v *reportView) axis(key string) chartAxis {
	switch key {
	case "c":
		return chartAxis{key, v.Choice.TempUnit()}
	case "f":
		return chartAxis{key, v.Choice.VolumeUnit() + "/min"}
	}
	return chartAxis{key, "kW"}
}

func (v *reportView) trace(tr trace, c record.Column, y []float64) chartSeries {
	label := v.quantity(c.Quantity)
	if c.Place != "" {
		label += ", " + clean(c.Place)
	}
	s := chartSeries{Label: label, Axis: tr.axis, Kind: "line", Style: tr.style, Decimals: 1, Hidden: tr.hidden, Y: y}
	for i, x := range y {
		y[i], s.Unit = v.Choice.Convert(x, c.Unit)
	}
	if tr.axis == "p" {
		s.Decimals = 2
	}
	return s
}

// run is a stretch of cells of which the least and the largest are kept.
type run struct{ from, to int }

// runs cuts a to b into so many runs that two points of each make at most
// points; of single cells there is one point each.
func runs(a, b, points int) []run {
	n := b - a
	if n <= points {
		points = 2 * n
	}
	count := max(1, points/2)
	out := make([]run, 0, count)
	for i := range count {
		from, to := a+i*n/count, a+(i+1)*n/count
		if to > from {
			out = append(out, run{from, to})
		}
	}
	return out
}

// stamps are the times of the points: start and middle of each run, only the
// start of one that holds a single cell.
func stamps(t *record.Readings, cells []run) []int64 {
	out := make([]int64, 0, 2*len(cells))
	for _, c := range cells {
		at := func(cell int) int64 { return (t.StartMS + int64(cell)*t.StepMS) / 1000 }
		out = append(out, at(c.from))
		if c.to-c.from > 1 {
			out = append(out, at((c.from+c.to)/2))
		}
	}
	return out
}

// thinned keeps of each run the least and the largest value, in the order in
// which they came, so that no peak is lost.
func thinned(column []float32, cells []run) (out []float64, known bool) {
	out = make([]float64, 0, 2*len(cells))
	for _, c := range cells {
		if c.to-c.from == 1 {
			v := float64(column[c.from])
			known = known || v == v
			out = append(out, v)
			continue
		}
		low, high, lowAt, highAt := math.NaN(), math.NaN(), 0, 0
		for i, v := range column[c.from:c.to] {
			if v != v {
				continue
			}
			x := float64(v)
			if !(x >= low) { // also the first
				low, lowAt = x, i
			}
			if !(x <= high) {
				high, highAt = x, i
			}
		}
		known = known || low == low
		if lowAt <= highAt {
			out = append(out, low, high)
		} else {
			out = append(out, high, low)
		}
	}
	return out, known
}

// cycleRow is what the chart of heats needs of a row of milkings.csv.
type cycleRow struct {
	at                         time.Time
	loop, plant, element, wash float64
}

// readCycles reads a milkings.csv.
func readCycles(name string) ([]cycleRow, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // read only
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, fs.ErrInvalid
	}
	at := map[string]int{}
	for i, h := range all[0] {
		at[h] = i
	}
	for _, h := range []string{"start_utc", "loop_kwh", "plant_kwh", "element_kwh", "wash_kwh"} {
		if _, ok := at[h]; !ok {
			return nil, fs.ErrInvalid
		}
	}
	var out []cycleRow
	for _, row := range all[1:] {
		start, err := time.Parse(time.RFC3339, row[at["start_utc"]])
		if err != nil {
			return nil, err
		}
		cell := func(h string) float64 {
			x, err := strconv.ParseFloat(row[at[h]], 64)
			if err != nil {
				return math.NaN() // an empty cell is not known
			}
			return x
		}
		out = append(out, cycleRow{start, cell("loop_kwh"), cell("plant_kwh"), cell("element_kwh"), cell("wash_kwh")})
	}
	return out, nil
}

// heatChart stacks the heats by day, week or month. Months are those of
// results.json with their intervals; days and weeks add up the rows of
// milkings.csv that begin in them.
func (s *Server) heatChart(v *reportView, by string) (*chartData, error) {
	d := &chartData{Axes: []chartAxis{{"k", "kWh"}}, Stacked: true, Day: true}
	keys := []string{"loop_kwh", "plant_kwh", "element_kwh", "wash_kwh"}
	for i, key := range keys {
		d.Series = append(d.Series, chartSeries{Label: v.Label(key), Unit: "kWh", Axis: "k", Kind: "bars", Style: []string{"yard", "milkheat", "socket", "used"}[i], Decimals: 0})
	}
	d.Series[3].Kind = "points"
	if by == "day" || by == "week" {
		rows, err := s.readings.cyclesOf(v.Report)
		if err != nil {
			return nil, err
		}
		v.sums(d, rows, by == "week")
	} else {
		v.months(d, keys)
	}
	days := int64(28)
	switch by {
	case "week":
		days = 7
	case "day":
		days = 1
	}
	if n := len(d.X); n > 0 {
		d.From, d.To = d.X[0], d.X[n-1]+days*86400
	}
	return d, nil
}

func (v *reportView) months(d *chartData, keys []string) {
	for _, m := range v.R.Months {
		at, err := time.ParseInLocation("2006-01", m.Month, v.zone)
		if err != nil {
			continue
		}
		d.X = append(d.X, at.Unix())
		for i, key := range keys {
			f := m.Figures.Get(key)
			d.Series[i].Y = append(d.Series[i].Y, float64(f.Value))
			d.Series[i].Text = append(d.Series[i].Text, v.FigOr(f))
		}
	}
}

// sums adds cycles up by the local day, or the Monday of the week, on which they
// begin. A heat that is not known in a cycle is left out of the sum.
func (v *reportView) sums(d *chartData, rows []cycleRow, week bool) {
	last := int64(-1)
	for _, c := range rows {
		at := c.at.In(v.zone)
		day := time.Date(at.Year(), at.Month(), at.Day(), 0, 0, 0, 0, v.zone)
		if week {
			day = day.AddDate(0, 0, -(int(day.Weekday())+6)%7)
		}
		if day.Unix() != last {
			last = day.Unix()
			d.X = append(d.X, last)
			for i := range d.Series {
				d.Series[i].Y = append(d.Series[i].Y, math.NaN())
			}
		}
		n := len(d.X) - 1
		for i, x := range []float64{c.loop, c.plant, c.element, c.wash} {
			y := &d.Series[i].Y[n]
			switch {
			case x != x:
			case *y != *y:
				*y = x
			default:
				*y += x
			}
		}
	}
	for i := range d.Series {
		d.Series[i].Decimals = 1
	}
}

func (v *reportView) washChart() *chartData {
	d := &chartData{Axes: []chartAxis{v.axis("c")}}
	unit := v.Choice.TempUnit()
	hot := chartSeries{Label: v.Say("chart.hot"), Unit: unit, Axis: "c", Kind: "points", Style: "hot", Decimals: 1}
	cool := chartSeries{Label: v.Say("chart.cool"), Unit: unit, Axis: "c", Kind: "points", Style: "cool", Decimals: 1}
	for _, w := range v.R.Washes.List {
		if w.Rinse {
			continue
		}
		d.X = append(d.X, w.At.Unix())
		t, nan := v.Choice.TempValue(float64(w.TempC)), math.NaN()
		if w.TooCool {
			hot.Y, cool.Y = append(hot.Y, nan), append(cool.Y, t)
		} else {
			hot.Y, cool.Y = append(hot.Y, t), append(cool.Y, nan)
		}
	}
	d.Series = []chartSeries{hot, cool}
	d.span()
	if target, ok := v.targetC(); ok {
		y, _ := v.Choice.Convert(target, "degC")
		d.Lines = []chartLine{{"c", y, v.Say("chart.target")}}
	}
	return d
}

func (d *chartData) span() {
	if n := len(d.X); n > 0 {
		d.From, d.To = d.X[0], d.X[n-1]+1
	}
}

func (v *reportView) loopChart() *chartData {
	d := &chartData{Axes: []chartAxis{{"u", "W/K"}}, Day: true}
	s := chartSeries{Label: v.Label("ua_w_per_k"), Unit: "W/K", Axis: "u", Kind: "points", Style: "bed", Decimals: 0}
	add := func(at int64, f saved.Figure) {
		if !f.Known() {
			return
		}
		d.X = append(d.X, at)
		s.add(v, f)
	}
	for _, c := range v.R.Loop.Course {
		add((c.From.Unix()+c.To.Unix())/2, c.UA)
	}
	if len(v.R.Loop.Course) == 0 {
		for _, m := range v.R.Months {
			if at, err := time.ParseInLocation("2006-01", m.Month, v.zone); err == nil {
				add(at.AddDate(0, 0, 14).Unix(), m.Figures.Get("ua_w_per_k"))
			}
		}
	}
	d.Series = []chartSeries{s}
	d.span()
	return d
}

// add puts a figure on a series, with its interval and its text.
func (s *chartSeries) add(v *reportView, f saved.Figure) {
	s.Y = append(s.Y, float64(f.Value))
	s.Low, s.High = append(s.Low, float64(f.Low)), append(s.High, float64(f.High))
	s.Text = append(s.Text, v.FigOr(f))
}

func (v *reportView) plateChart() *chartData {
	d := &chartData{Axes: []chartAxis{{"e", v.Say("chart.share")}}, Day: true}
	keys, styles := []string{"plate_effectiveness", "caught_per_kwh", "recovery_fraction"}, []string{"plate", "socket", "tank"}
	for i, key := range keys {
		d.Series = append(d.Series, chartSeries{Label: v.Label(key), Axis: "e", Kind: "points", Style: styles[i], Decimals: 2})
	}
	for _, w := range v.R.Plant.Weeks {
		d.X = append(d.X, (w.From.Unix()+w.To.Unix())/2)
		for i, key := range keys {
			d.Series[i].add(v, w.Own.Get(key))
		}
	}
	d.span()
	return d
}

// TargetText is that in the reader's unit.
func (v *reportView) TargetText() string {
	if c, ok := v.targetC(); ok {
		return v.Choice.TempText(c, 0)
	}
	return clean(v.Target())
}

// targetC is wash.target_c of the farm file as the report states it.
func (v *reportView) targetC() (float64, bool) {
	number := v.Target()
	for i, r := range number {
		if r != '.' && (r < '0' || r > '9') {
			number = number[:i]
			break
		}
	}
	x, err := strconv.ParseFloat(number, 64)
	return x, err == nil
}
