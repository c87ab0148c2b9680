package web

import (
	"errors"
	"io/fs"
	"mime"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"

	"yardheat/cmd/yardheat/web/display"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/reports/results/saved"
)

// reportRoutes are the addresses of reports: read, compared, downloaded.
func (s *Server) reportRoutes(mux *http.ServeMux) {
	const one = "/farm/{farm}/reports/{report}"
	mux.HandleFunc("GET /farm/{farm}/reports", s.reportsPage)
	mux.HandleFunc("GET "+one, s.reportPage)
	mux.HandleFunc("GET "+one+"/chart/{chart}", s.chartJSON)
	mux.HandleFunc("GET "+one+"/file/{name...}", s.reportFile)
	mux.HandleFunc("GET "+one+"/bundle.zip", s.bundleFile)
	mux.HandleFunc("POST "+one+"/bundle", s.bundleMake)
	mux.HandleFunc("GET "+one+"/delete", s.deletePage)
	mux.HandleFunc("POST "+one+"/delete", s.deleteReport)
	mux.HandleFunc("GET /farm/{farm}/compare", s.comparePage)
}

func reportURL(f farms.Farm, id string) string {
	return farmURL(f.Name()) + "/reports/" + url.PathEscape(id)
}

// words is a view with texts and the reader's choice, before show fills it in.
func (s *Server) words(r *http.Request) *view {
	return &view{c: s.texts, Choice: display.FromRequest(r)}
}

// reportOf is the report that the address names; it answers itself where there
// is none.
func (s *Server) reportOf(w http.ResponseWriter, r *http.Request, id string) (farms.Farm, farms.Report, bool) {
	f, ok := s.farm(w, r)
	if !ok {
		return nil, farms.Report{}, false
	}
	rep, err := f.Report(id)
	switch {
	case errors.Is(err, farms.ErrNotFound):
		s.notFound(w, r)
		return nil, farms.Report{}, false
	case err != nil:
		s.fail(w, r, http.StatusInternalServerError, err)
		return nil, farms.Report{}, false
	}
	return f, rep, true
}

// reportView reads the report that the address names; it answers itself where
// that cannot be read.
func (s *Server) reportView(w http.ResponseWriter, r *http.Request) (*reportView, bool) {
	f, rep, ok := s.reportOf(w, r, r.PathValue("report"))
	if !ok {
		return nil, false
	}
	got, err := s.readings.report(rep)
	if err != nil {
		s.fail(w, r, http.StatusUnprocessableEntity, err)
		return nil, false
	}
	v := s.words(r)
	v.Farm = f
	return &reportView{view: v, R: got, Report: rep, zone: zoneOf(got)}, true
}

func (s *Server) reportPage(w http.ResponseWriter, r *http.Request) {
	v, ok := s.reportView(w, r)
	if !ok {
		return
	}
	v.Files, v.Charts = downloads(v.Report.Dir), svgs(v.Report.Dir)
	v.Bundle = s.opt.Bundle != nil
	_, err := os.Stat(bundlePath(v.Farm, v.Report.ID))
	v.BundleReady = err == nil
	s.show(w, r, http.StatusOK, "report", &view{Title: v.Say("report.title", "from", v.Day(v.R.Period.Start), "to", v.LastDay()), Farm: v.Farm, Section: "reports", Page: v})
}

// download is one file of a report.
type download struct {
	Name, Key string
	SizeB     int64
}

// Size in the words of the reader.
func (v *view) Size(b int64) string {
	if b < 1<<20 {
		return v.Choice.Number(float64(b)/1e3, 0) + "\u00a0kB"
	}
	return v.Choice.Number(float64(b)/1e6, 1) + "\u00a0MB"
}

// offered are the files of a report and the texts that say what they are, in the
// order in which they are offered.
var offered = []struct{ name, key string }{
	{"report.html", "report.file.page"}, {"season.xlsx", "report.file.workbook"}, {"statement.html", "report.file.statement"}, {"results.json", "report.file.results"},
	{"record.csv", "report.file.record"}, {"record.parquet", "report.file.parquet"}, {"milkings.csv", "report.file.milkings"}, {"sources.json", "report.file.sources"},
}

func downloads(dir string) []download {
	var out []download
	for _, o := range offered {
		if info, err := os.Lstat(filepath.Join(dir, o.name)); err == nil && info.Mode().IsRegular() {
			out = append(out, download{o.name, o.key, info.Size()})
		}
	}
	return out
}

// svgs are the charts of the report, by name.
func svgs(dir string) []string {
	entries, err := os.ReadDir(filepath.Join(dir, "charts")) // no Glob: a folder may be called "Hof [2]"
	if err != nil {
		return nil
	}
	var names []string
	for _, e := range entries {
		if e.Type().IsRegular() && filepath.Ext(e.Name()) == ".svg" {
			names = append(names, e.Name())
		}
	}
	slices.Sort(names)
	return names
}

// reportFile sends one file of a report.
func (s *Server) reportFile(w http.ResponseWriter, r *http.Request) {
	f, rep, ok := s.reportOf(w, r, r.PathValue("report"))
	if !ok {
		return
	}
	s.serveReportFile(w, r, f, rep, r.PathValue("name"))
}

// reportsView is the list of a farm's reports.
type reportsView struct {
	*view
	List    []reportLine
	Running bool
	Logs    bool
}

// reportLine is one report in the list; R is nil where it cannot be read.
type reportLine struct {
	farms.Report
	R *saved.Report
	v *reportView
}

// Made is when, in this computer's time.
func (l reportLine) Made() string { return l.v.Choice.Moment(l.At) }

// From and To are the days of its period; Saved its headline figure.
func (l reportLine) From() string  { return l.v.Day(l.R.Period.Start) }
func (l reportLine) To() string    { return l.v.LastDay() }
func (l reportLine) Saved() string { return l.v.FigOr(l.R.Saving.Figures.Get("saved_kwh")) }

// lines are the reports of a farm with what they say.
func (s *Server) lines(v *view, f farms.Farm) ([]reportLine, error) {
	list, err := f.Reports()
	if err != nil {
		return nil, err
	}
	out := make([]reportLine, len(list))
	for i, rep := range list {
		out[i] = reportLine{Report: rep, v: &reportView{view: v}}
		if got, err := s.readings.report(rep); err == nil {
			out[i].R, out[i].v = got, &reportView{view: v, R: got, Report: rep, zone: zoneOf(got)}
		}
	}
	return out, nil
}

func (s *Server) reportsPage(w http.ResponseWriter, r *http.Request) {
	f, ok := s.farm(w, r)
	if !ok {
		return
	}
	v := s.words(r)
	list, err := s.lines(v, f)
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	_, tomlErr := f.TOML()
	_, running := s.jobOf(f.Name(), jobReport)
	s.show(w, r, http.StatusOK, "reports", &view{Title: f.Title(), Farm: f, Section: "reports", Page: &reportsView{view: v, List: list, Logs: tomlErr == nil, Running: running}})
}

func (s *Server) deletePage(w http.ResponseWriter, r *http.Request) {
	v, ok := s.reportLineOf(w, r)
	if !ok {
		return
	}
	s.show(w, r, http.StatusOK, "deletereport", &view{Title: v.v.Say("report.delete"), Farm: v.v.Farm, Section: "reports", Page: v})
}

// reportLineOf is the report of the address, readable or not.
func (s *Server) reportLineOf(w http.ResponseWriter, r *http.Request) (reportLine, bool) {
	f, rep, ok := s.reportOf(w, r, r.PathValue("report"))
	if !ok {
		return reportLine{}, false
	}
	v := s.words(r)
	v.Farm = f
	l := reportLine{Report: rep, v: &reportView{view: v}}
	if got, err := s.readings.report(rep); err == nil {
		l.R, l.v = got, &reportView{view: v, R: got, Report: rep, zone: zoneOf(got)}
	}
	return l, true
}

func (s *Server) deleteReport(w http.ResponseWriter, r *http.Request) {
	f, rep, ok := s.reportOf(w, r, r.PathValue("report"))
	if !ok {
		return
	}
	if err := f.DropReport(rep.ID); err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	if err := dropBundle(f, rep.ID); err != nil && !errors.Is(err, fs.ErrNotExist) {
		s.logf("remove the bundle of %s: %v", rep.ID, err)
	}
	http.Redirect(w, r, farmURL(f.Name())+"/reports", http.StatusSeeOther)
}

// bundlePath is where a report's bundle is kept once it was asked for.
func bundlePath(f farms.Farm, id string) string {
	return filepath.Join(f.Dir(), ".yardheat", "bundles", id+".zip")
}

// dropBundle removes a bundle that no link leads to.
func dropBundle(f farms.Farm, id string) error {
	if err := farms.NoLinks(f.Dir(), bundlePath(f, id)); err != nil {
		return err
	}
	root, err := os.OpenRoot(f.Dir()) // a link set since then leads nowhere else either
	if err != nil {
		return err
	}
	return errors.Join(root.Remove(filepath.Join(".yardheat", "bundles", id+".zip")), root.Close())
}

func (s *Server) bundleFile(w http.ResponseWriter, r *http.Request) {
	f, rep, ok := s.reportOf(w, r, r.PathValue("report"))
	if !ok {
		return
	}
	root, err := os.OpenRoot(f.Dir()) // no link leads out of the farm
	if err = errors.Join(err, farms.NoLinks(f.Dir(), bundlePath(f, rep.ID))); err != nil {
		if root != nil {
			_ = root.Close() // read only
		}
		s.notFound(w, r)
		return
	}
	defer func() { _ = root.Close() }() // read only
	file, err := root.Open(filepath.Join(".yardheat", "bundles", rep.ID+".zip"))
	if err != nil {
		s.notFound(w, r)
		return
	}
	defer func() { _ = file.Close() }() // read only
	info, err := file.Stat()
	if err != nil || !info.Mode().IsRegular() {
		s.notFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": downloadName(f, rep, "bundle.zip")}))
	http.ServeContent(w, r, "", info.ModTime(), file)
}
