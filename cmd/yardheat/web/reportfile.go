package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"html"
	"io"
	"mime"
	"net/http"
	"path"
	"regexp"
	"strings"

	"yardheat/cmd/yardheat/web/farms"
)

// reportTypes are the kinds of files that a report has; what a browser shows itself
// is shown, unless the address ends with ?download.
var reportTypes = map[string]struct {
	kind  string
	shown bool
}{
	".html":    {"text/html; charset=utf-8", true},
	".svg":     {"image/svg+xml", true},
	".png":     {"image/png", true},
	".json":    {"application/json", false},
	".csv":     {"text/csv; charset=utf-8", false},
	".parquet": {"application/vnd.apache.parquet", false},
	".xlsx":    {"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", false},
	".zip":     {"application/zip", false},
}

// mostPageB is the largest page whose style is looked for.
const mostPageB = 64 << 20

// serveReportFile sends one of the files that reports.Files lists. A page of a
// report is a finished document with its style inside: it gets a policy of its own
// that lets through exactly this style, and no script.
func (s *Server) serveReportFile(w http.ResponseWriter, r *http.Request, farm farms.Farm, report farms.Report, name string) {
	file, err := farm.ReportFile(report.ID, name)
	if errors.Is(err, farms.ErrNotFound) {
		s.notFound(w, r)
		return
	}
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	defer func() { _ = file.Close() }() // read only
	info, err := file.Stat()
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err)
		return
	}
	t, ok := reportTypes[strings.ToLower(path.Ext(name))]
	if !ok {
		t.kind = "application/octet-stream"
	}
	h := w.Header()
	h.Set("Content-Type", t.kind)
	h.Set("Content-Security-Policy", "default-src 'none'; sandbox")
	disposition := "attachment"
	if t.shown && !r.URL.Query().Has("download") {
		disposition = "inline"
	}
	h.Set("Content-Disposition", mime.FormatMediaType(disposition, map[string]string{"filename": downloadName(farm, report, name)}))
	var body io.ReadSeeker = file
	if ext := path.Ext(name); ext == ".html" || ext == ".svg" {
		b, err := io.ReadAll(io.LimitReader(file, mostPageB))
		if err != nil {
			s.fail(w, r, http.StatusInternalServerError, err)
			return
		}
		h.Set("Content-Security-Policy", documentPolicy(b))
		body = bytes.NewReader(b)
	}
	http.ServeContent(w, r, "", info.ModTime(), body)
}

// downloadName tells one farm's season.xlsx from another's.
func downloadName(farm farms.Farm, report farms.Report, name string) string {
	return clean(farm.Name()) + " " + report.ID + " " + path.Base(name)
}

var (
	styleElement   = regexp.MustCompile(`(?is)<style[^>]*>(.*?)</style>`)
	styleAttribute = regexp.MustCompile(`(?i)[\s"']style\s*=\s*(?:"([^"]*)"|'([^']*)')`)
)

// documentPolicy lets a document show itself with the style that stands in it, and
// its links be followed; its own origin stays, since without it the browser would
// not send the session's cookie along with a link to the next file.
func documentPolicy(doc []byte) string {
	sources, seen := []string{}, map[string]bool{}
	add := func(text []byte) {
		sum := sha256.Sum256(text)
		source := "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
		if !seen[source] {
			seen[source] = true
			sources = append(sources, source)
		}
	}
	for _, m := range styleElement.FindAllSubmatch(doc, -1) {
		add(m[1])
	}
	elements := len(sources)
	for _, m := range styleAttribute.FindAllSubmatch(doc, -1) {
		add([]byte(html.UnescapeString(string(append(m[1], m[2]...)))))
	}
	if len(sources) > elements {
		sources = append(sources, "'unsafe-hashes'") // of attributes, and these only
	}
	if len(sources) == 0 {
		sources = []string{"'none'"}
	}
	return "default-src 'none'; style-src " + strings.Join(sources, " ") + "; img-src 'self' data:; font-src data:; form-action 'none'; " +
		"base-uri 'none'; frame-ancestors 'self'; sandbox allow-same-origin allow-downloads allow-popups allow-modals"
}
