package web

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"yardheat/cmd/yardheat/web/farms"
	"yardheat/ingest/farm/edit"
	figures "yardheat/ingest/farm/form"
	"yardheat/ingest/series"
)

// figureRoutes are the addresses of the farm's figures.
func (s *Server) figureRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /farm/{farm}/figures", s.figuresPage)
	mux.HandleFunc("POST /farm/{farm}/figures", s.figuresSave)
	mux.HandleFunc("POST /farm/{farm}/figures/event", s.eventAdd)
	mux.HandleFunc("POST /farm/{farm}/figures/event/remove", s.eventRemove)
	mux.HandleFunc("GET /farm/{farm}/file", s.filePage)
	mux.HandleFunc("POST /farm/{farm}/file/back", s.fileBack)
}

// figuresView is the page of the farm's figures.
type figuresView struct {
	// Nothing: there is no farm file yet. Broken: it can't be read.
	Nothing   bool
	Broken    []string
	Saved     bool
	Conflict  bool
	Base      string
	Bad       int
	Rest      []string // what does not fit together, in the reader's words
	Stages    []stageView
	Others    []stageView
	Carriers  []string
	Events    []eventView
	Event     eventForm
	Drawing   drawingView
	Cautions  []string
	HasReport bool
}

type stageView struct {
	Name  string
	Title string
	Parts []stagePart
	Open  bool // of the others: something was typed in it
	Note  string
}

// stagePart is one table of a stage; tanks have several.
type stagePart struct {
	Title  string
	Fields []fieldView
	More   []fieldView // seldom needed
	Opened bool
}

type fieldView struct {
	Name, ID, Label, Help, Unit string
	Kind                        string
	Value                       string
	Options                     []pick
	Usual, Default              string
	Guess, Confirmed            bool
	Other                       bool
	Error, Ask                  string
	List                        string // of suggestions
}

type eventView struct {
	N            int
	At, What     string
	Tonnes       string
	RemoveLabels string
}

type eventForm struct {
	At, What, Own, Tonnes string
	Choices               []pick
	AtBad, TonnesBad      bool
}

// seldom are fields that stand folded: few farms need them.
var seldom = map[string]bool{
	"loop.wall_mm": true, "loop.branches": true, "loop.lead_l": true, "loop.circuit": true, "loop.fluid": true, "loop.draw_l": true, "loop.flow_l_min": true,
	"plate.flow_l_min": true, "tank.name": true, "tank.role": true, "wash.meter_at": true, "milk.specific_heat_kj_per_kg_k": true, "milk.density_kg_per_l": true,
	"plant.standing_gain_kw": true, "plant.refrigerant": true, "instead.standing_loss_kwh_per_day": true, "electricity.export_price_per_kwh": true, "cost.source": true,
	"milkings.dates": true, "milkings.milk_is": true,
}

func baseOf(toml []byte) string {
	h := sha256.Sum256(toml)
	return hex.EncodeToString(h[:8])
}

// openDoc reads the farm file for editing; nil, nil where there is none yet.
func openDoc(f farms.Farm) (*edit.Doc, []byte, error) {
	toml, err := f.TOML()
	if errors.Is(err, farms.ErrNotFound) {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, err
	}
	doc, err := edit.New(toml)
	return doc, toml, err
}

func (s *Server) figuresPage(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	doc, toml, err := openDoc(f)
	v := s.newView(r, f, "figures")
	page := figuresView{Saved: r.URL.Query().Get("saved") != "", Nothing: doc == nil && err == nil}
	s.showFigures(w, r, http.StatusOK, v, doc, toml, err, page, nil)
}

// showFigures shows the form; entries are what was typed and refused, nil = none.
func (s *Server) showFigures(w http.ResponseWriter, r *http.Request, status int, v *view, doc *edit.Doc, toml []byte, err error, page figuresView, typed *entries) {
	var broken *edit.Broken
	switch {
	case errors.As(err, &broken):
		for _, f := range broken.Faults {
			page.Broken = append(page.Broken, faultLine(f))
		}
		status = max(status, http.StatusOK)
	case err != nil:
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	page.Drawing = v.drawing(usedQuantities(doc))
	for _, c := range []string{"caution.electric", "caution.gas", "caution.scald"} {
		page.Cautions = append(page.Cautions, v.Say(c))
	}
	if doc != nil {
		page.Base = baseOf(toml)
		if c, ok := doc.Get("instead", "currency"); ok {
			v.Currency, _ = c.(string)
		}
		v.fillForm(&page, doc, typed)
		page.Events = v.events(doc)
	}
	page.Event.Choices = v.eventPicks(page.Event.What)
	for _, c := range []string{"carrier.oil", "carrier.gas", "carrier.lpg", "carrier.wood", "carrier.electricity"} {
		page.Carriers = append(page.Carriers, v.Say(c))
	}
	v.Title, v.Page = v.Say("figures.title")+" – "+v.Farm.Title(), page
	s.show(w, r, status, "figures", v)
}

func faultLine(f series.Fault) string {
	return clean(fmt.Sprintf("%s: got %s; want %s; %s", f.Where, f.Got, f.Want, f.Do))
}

// usedQuantities are those to which a column is mapped, with their places.
func usedQuantities(d *edit.Doc) []string {
	var out []string
	if d == nil {
		return nil
	}
	for n := range d.Len("log") {
		v, _ := d.Get(edit.LogTable(n), "columns")
		columns, _ := v.(map[string]any)
		for _, c := range columns {
			switch c := c.(type) {
			case string:
				out = append(out, c)
			case map[string]any:
				if q, ok := c["quantity"].(string); ok {
					out = append(out, q)
				}
			}
		}
	}
	if v, ok := d.Get("milkings", "columns"); ok {
		if columns, _ := v.(map[string]any); columns != nil {
			for q := range columns {
				out = append(out, q)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// entries are what was typed, with what is wrong about it.
type entries struct {
	form   url.Values
	errors map[string]string // by the field's name in the form
}

// fillForm lays the fields out: stages that the logs or the farm file have, and
// the others.
func (v *view) fillForm(page *figuresView, doc *edit.Doc, typed *entries) {
	asked := figures.Asked(usedQuantities(doc))
	for _, stage := range figures.Stages {
		sv := stageView{Name: string(stage), Title: v.Say("stage." + string(stage))}
		stated := false
		tables := 1
		if stage == figures.Tank {
			tables = max(1, min(doc.Len("tank"), 10))
			if typed != nil && typed.form.Has(fieldName(figures.Of(stage)[0], tables)) {
				tables++
			}
		}
		for n := range tables {
			part := stagePart{}
			if tables > 1 {
				part.Title = v.Say("figures.tank", "n", n+1)
			}
			for _, f := range figures.Of(stage) {
				fv, has := v.field(f, doc, n, typed)
				stated = stated || has
				if seldom[f.Name()] && !has && fv.Error == "" {
					part.More = append(part.More, fv)
				} else {
					part.Fields = append(part.Fields, fv)
				}
				sv.Open = sv.Open || fv.Error != ""
			}
			sv.Parts = append(sv.Parts, part)
		}
		if stage == figures.Milkings {
			if file, ok := doc.Get("milkings", "file"); ok {
				sv.Note = v.Say("figures.milkings.file", "file", clean(fmt.Sprint(file)))
			}
		}
		if stated || slices.Contains(asked, stage) {
			page.Stages = append(page.Stages, sv)
		} else {
			page.Others = append(page.Others, sv)
		}
	}
}

// fieldName is a field's name in the form.
func fieldName(f figures.Field, n int) string {
	if !f.Repeats {
		return f.Name()
	}
	return fmt.Sprintf("%s[%d].%s", f.Table, n, f.Key)
}

func (v *view) field(f figures.Field, doc *edit.Doc, n int, typed *entries) (fv fieldView, stated bool) {
	st := f.Value(doc, n)
	name := fieldName(f, n)
	fv = fieldView{Name: name, ID: "f-" + strings.NewReplacer(".", "-", "[", "-", "]", "").Replace(name), Label: v.Say("field." + f.Name()), Help: v.Say("field." + f.Name() + ".help"),
		Unit: v.unitOf(f), Kind: string(f.Kind), Guess: st.Check, Other: st.Other}
	if st.Stated {
		fv.Value = v.entryText(f, st.Text)
		if r := f.Check(st.Text); r.Verdict == figures.Unusual && !st.Check {
			fv.Ask = v.badText(f, r)
		}
	}
	if f.Default != "" && f.Kind != figures.Choice && f.Kind != figures.YesNo {
		fv.Default = v.Say("figures.default", "value", strings.TrimSpace(v.entryText(f, f.Default)+" "+fv.Unit))
	}
	if f.Low != 0 || f.High != 0 {
		fv.Usual = v.Say("figures.usual", "low", v.shownIn(f, f.Low), "high", v.shownIn(f, f.High), "unit", fv.Unit)
		fv.Usual = strings.Replace(fv.Usual, " .", ".", 1)
	}
	if typed != nil && typed.form.Has(name) {
		fv.Value = typed.form.Get(name)
		fv.Error = typed.errors[name]
		fv.Confirmed = typed.form.Get("right."+name) != ""
		if fv.Error != "" {
			fv.Ask = ""
		}
	}
	switch f.Kind {
	case figures.Choice, figures.YesNo:
		v.fieldOptions(&fv, f, st)
	case figures.Zone:
		fv.List = "zones"
	case figures.Text:
		if f.Name() == "instead.carrier" {
			fv.List = "carriers"
		}
	}
	return fv, st.Stated
}

func (v *view) fieldOptions(fv *fieldView, f figures.Field, st figures.Standing) {
	of := f.Choices
	if f.Kind == figures.YesNo {
		of = []string{"true", "false"}
	}
	now := fv.Value
	if now == "" && !st.Stated {
		now = f.Default
	}
	if f.Default == "" {
		fv.Options = append(fv.Options, pick{Label: v.Say("figures.choose"), Now: now == ""})
	}
	for _, c := range of {
		fv.Options = append(fv.Options, pick{Value: c, Label: v.Say("choice." + c), Now: c == now})
	}
}

// The reader's units: temperatures and volumes are shown and typed in them, and
// kept in °C and L.

func (v *view) inF(f figures.Field) bool {
	return f.Unit == "°C" && f.Kind == figures.Number && v.Choice.Temp == "F"
}
func (v *view) inGallons(f figures.Field) bool {
	return f.Unit == "L" && f.Kind == figures.Number && v.Choice.Volume != "L"
}

func (v *view) unitOf(f figures.Field) string {
	switch {
	case v.inF(f):
		return v.Choice.TempUnit()
	case v.inGallons(f):
		return v.Choice.VolumeUnit()
	case f.Unit == "a":
		return v.Say("figures.years")
	case strings.HasPrefix(f.Unit, "/"):
		return v.currency() + strings.Replace(f.Unit, "/a", "/"+v.Say("figures.year"), 1)
	case f.Name() == "cost.capital":
		return v.currency()
	}
	return f.Unit
}

// currency is the farm's, else words that stand for it.
func (v *view) currency() string {
	if v.Currency == "" {
		return v.Say("figures.currency")
	}
	return clean(v.Currency)
}

// shownIn is a bound in the reader's unit.
func (v *view) shownIn(f figures.Field, x float64) string {
	switch {
	case v.inF(f):
		return v.Choice.Number(v.Choice.TempValue(x), 0)
	case v.inGallons(f):
		return v.Choice.Number(v.Choice.VolumeValue(x), 0)
	}
	return v.plainNumber(x)
}

// plainNumber is a number without needless decimals.
func (v *view) plainNumber(x float64) string {
	for d := range 7 {
		if s := fmt.Sprintf("%.*f", d, x); s == fmt.Sprintf("%.*f", d, x) && closeTo(s, x) {
			return v.Choice.Number(x, d)
		}
	}
	return v.Choice.Number(x, 6)
}

func closeTo(text string, x float64) bool {
	var y float64
	_, err := fmt.Sscan(text, &y)
	return err == nil && (y-x)*(y-x) <= 1e-18*max(1, x*x)
}

// entryText writes what stands in the farm file as the reader types it.
func (v *view) entryText(f figures.Field, text string) string {
	switch f.Kind {
	case figures.Number, figures.Whole, figures.Glycol, figures.Months:
	default:
		return text
	}
	if v.inF(f) || v.inGallons(f) {
		x, _, why := figures.ParseNumber(text, f.Unit)
		if why == "" {
			y := v.Choice.TempValue(x)
			if v.inGallons(f) {
				y = v.Choice.VolumeValue(x)
			}
			text = strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.2f", y), "0"), ".")
		}
	}
	if v.Choice.Comma {
		text = strings.ReplaceAll(text, ".", ",")
	}
	return text
}

// entryBase turns what was typed in the reader's unit into the farm file's.
func (v *view) entryBase(f figures.Field, entry string) string {
	if !v.inF(f) && !v.inGallons(f) {
		return entry
	}
	x, _, why := figures.ParseNumber(entry, v.unitOf(f))
	if why != "" {
		return entry
	}
	if v.inF(f) {
		x = (x - 32) * 5 / 9
	} else {
		x /= v.Choice.VolumeValue(1)
	}
	return strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.4f", x), "0"), ".")
}

// badText says what is wrong or unusual about an entry.
func (v *view) badText(f figures.Field, r figures.Result) string {
	key := "figures.bad." + string(r.Reason)
	if r.Reason == figures.TooLow && f.Open {
		key += "-open"
	}
	example := f.Low
	if example == 0 {
		example = f.High / 2
	}
	if r.Reason == figures.MarkEither {
		example = r.Number
	}
	return strings.Replace(v.Say(key, "low", v.shownIn(f, r.Low), "high", v.shownIn(f, r.High), "unit", v.unitOf(f), "example", v.shownIn(f, example)), " .", ".", 1)
}

// figuresSave writes what was typed, all or nothing.
func (s *Server) figuresSave(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, 1<<20)
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, http.StatusBadRequest, err)
		return
	}
	v := s.newView(r, f, "figures")
	doc, toml, err := openDoc(f)
	if err != nil || doc == nil {
		s.showFigures(w, r, http.StatusConflict, v, doc, toml, err, figuresView{Nothing: doc == nil && err == nil}, nil)
		return
	}
	typed := &entries{form: r.PostForm, errors: map[string]string{}}
	if base := r.PostForm.Get("base"); base != baseOf(toml) {
		s.showFigures(w, r, http.StatusConflict, v, doc, toml, nil, figuresView{Conflict: true}, typed)
		return
	}
	next := doc.Copy()
	if err := v.enterAll(next, doc, typed); err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	page := figuresView{Bad: len(typed.errors)}
	if page.Bad == 0 {
		page.Rest, page.Bad = v.misfits(next, typed)
	}
	if page.Bad > 0 || len(page.Rest) > 0 {
		s.showFigures(w, r, http.StatusUnprocessableEntity, v, doc, toml, nil, page, typed)
		return
	}
	switch err := f.SetTOML(toml, next.Bytes()); {
	case errors.Is(err, farms.ErrChanged):
		s.showFigures(w, r, http.StatusConflict, v, doc, toml, nil, figuresView{Conflict: true}, typed)
	case err != nil:
		s.fail(w, r, http.StatusInternalServerError, err)
	default:
		http.Redirect(w, r, farmURL(f.Name())+"/figures?saved=1", http.StatusSeeOther)
	}
}

// enterAll puts every entry of the form that differs from what stands into next.
func (v *view) enterAll(next, now *edit.Doc, typed *entries) error {
	for _, f := range figures.Fields {
		tables := 1
		if f.Repeats {
			tables = max(1, min(now.Len(f.Table)+1, 10))
		}
		for n := range tables {
			name := fieldName(f, n)
			if !typed.form.Has(name) {
				continue
			}
			if err := v.enterOne(next, now, f, n, name, typed); err != nil {
				return err
			}
		}
	}
	return nil
}

func (v *view) enterOne(next, now *edit.Doc, f figures.Field, n int, name string, typed *entries) error {
	st := f.Value(now, n)
	entry := strings.TrimSpace(typed.form.Get(name))
	shown := ""
	if st.Stated {
		shown = v.entryText(f, st.Text)
	}
	switch {
	case st.Other && entry == "":
		return nil
	case entry == shown:
		if st.Check && typed.form.Get("right."+name) != "" {
			return next.Confirm(f.At(n), f.Key)
		}
		return nil
	case !st.Stated && entry == f.Default:
		return nil
	case entry == "" && f.Repeats && n >= now.Len(f.Table):
		return nil
	}
	r, err := f.Enter(next, n, v.entryBase(f, entry))
	if r.Verdict == figures.Refused {
		typed.errors[name] = v.badText(f, r)
	}
	return err
}

// misfits holds the whole against the farm file's own reader: entries that are
// each right, but lack another or do not go together. Those of a field are booked
// beside it.
func (v *view) misfits(next *edit.Doc, typed *entries) (rest []string, bad int) {
	_, faults := next.Farm()
	for _, fault := range faults {
		_, key, _ := strings.Cut(fault.Where, ", ")
		if key == "" {
			key = strings.TrimPrefix(fault.Where, "key ")
		}
		f, known := figures.Find(key)
		if known && !f.Repeats && typed.form.Has(f.Name()) {
			typed.errors[f.Name()] = v.Say("figures.bad.farm", "what", clean(fault.Want))
			if strings.Contains(fault.Got, "nothing") {
				typed.errors[f.Name()] = v.Say("figures.bad.needed")
			}
			bad++
			continue
		}
		rest = append(rest, faultLine(fault))
	}
	return rest, bad
}
