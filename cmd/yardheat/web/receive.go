package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"path/filepath"
	"slices"
	"strings"

	"yardheat/cmd/yardheat/web/farms"
)

// extensions that an export of a logger may have; "" is none. What a file holds
// is judged when it is read, and never by the type that the browser says.
var extensions = []string{"", ".csv", ".txt", ".tsv", ".dat", ".log", ".prn", ".asc", ".json", ".xml", ".html", ".htm", ".xls", ".xlsx", ".gz", ".zip"}

// ErrKind: a file that is no export, by its name.
var ErrKind = errors.New("the page takes exports of loggers: " + strings.Join(extensions[1:], " ") + ", or no ending at all")

var errParts = errors.New("more fields or files at once than the page takes")

// Received is what became of one file of an upload: Waiting, or Err and nothing of
// it was kept.
type Received struct {
	Given   string // the name as the browser sent it
	Waiting farms.Waiting
	Err     error
}

// receiveFiles streams the files of a multipart form into the farm, one after
// the other. Each file that is listed without Err stands on the disk. A file that
// is refused does not stop the others; the error is that of the upload as a
// whole: broken off, no form, too many parts. What was received before stands.
func (s *Server) receiveFiles(w http.ResponseWriter, r *http.Request, farm farms.Farm) ([]Received, error) {
	leave, err := s.uploads.enter(r.Context())
	if err != nil {
		return nil, err
	}
	defer leave()
	limits := s.opt.Limits
	r.Body = http.MaxBytesReader(w, r.Body, limits.RequestB)
	gate := &gate{r: r.Body, most: headB}
	r.Body = readCloser{Reader: gate, Closer: r.Body}
	form, err := r.MultipartReader()
	if err != nil {
		return nil, fmt.Errorf("the upload is not a form with files: %w", err)
	}
	var got []Received
	for parts := 0; ; parts++ {
		gate.shut()
		part, err := form.NextPart()
		if errors.Is(err, io.EOF) {
			return got, nil
		}
		if err != nil {
			return got, fmt.Errorf("the upload broke off: %w", err)
		}
		gate.open()
		if parts >= limits.Parts {
			return got, errParts
		}
		if part.FileName() != "" {
			got = append(got, receiveOne(part, farm))
		}
		if _, err := io.Copy(io.Discard, part); err != nil { // what a refusal left unread
			return got, fmt.Errorf("the upload broke off: %w", err)
		}
	}
}

func receiveOne(part *multipart.Part, farm farms.Farm) Received {
	name := part.FileName()
	if !allowed(name) {
		return Received{Given: name, Err: ErrKind}
	}
	waiting, err := farm.Receive(name, part)
	return Received{Given: name, Waiting: waiting, Err: err}
}

// allowed judges a name by its ending.
func allowed(name string) bool {
	ext := strings.ToLower(filepath.Ext(strings.TrimRight(name, ". ")))
	return slices.Contains(extensions, ext)
}

// gate lets no more than most bytes pass while it is shut: the head of a part is
// kept in memory, its content is not.
type gate struct {
	r    io.Reader
	most int
	left int
	up   bool
}

func (g *gate) shut() { g.left, g.up = g.most, false }
func (g *gate) open() { g.up = true }

func (g *gate) Read(b []byte) (int, error) {
	if g.up {
		return g.r.Read(b)
	}
	if g.left <= 0 {
		return 0, errors.New("the head of a part is too long")
	}
	n, err := g.r.Read(b[:min(len(b), g.left)])
	g.left -= n
	return n, err
}

// receivedFile is one file in the answer to a script.
type receivedFile struct {
	Name  string `json:"name"`
	ID    string `json:"id,omitempty"`
	SizeB int64  `json:"size"`
	Error string `json:"error,omitempty"`
}

// answerReceived says what became of an upload: as JSON to a script that asks for
// it, {"files":[{name,id,size,error}],"error":""}; else by a redirect to next, or,
// where something was refused, by a page that names it.
func (s *Server) answerReceived(w http.ResponseWriter, r *http.Request, got []Received, failed error, next string) {
	status := http.StatusOK
	if failed != nil {
		status = uploadStatus(failed)
	}
	var faults []error
	files := make([]receivedFile, 0, len(got))
	for _, g := range got {
		f := receivedFile{Name: g.Given, ID: g.Waiting.ID, SizeB: g.Waiting.SizeB}
		if g.Err != nil {
			s.logf("upload %q: %v", g.Given, g.Err)
			f.Error = g.Err.Error()
			faults = append(faults, fmt.Errorf("%s: %w", g.Given, g.Err))
		}
		files = append(files, f)
	}
	if failed != nil {
		faults = append(faults, failed)
	}
	switch {
	case wantsJSON(r):
		text := ""
		if failed != nil {
			text = failed.Error()
		}
		s.json(w, status, map[string]any{"files": files, "error": text})
	case len(faults) == 0:
		http.Redirect(w, r, next, http.StatusSeeOther)
	default:
		if failed == nil {
			status = uploadStatus(faults[0])
		}
		s.fail(w, r, status, errors.Join(faults...))
	}
}

// uploadStatus is the status for what went wrong with an upload.
func uploadStatus(err error) int {
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large), errors.Is(err, farms.ErrTooLarge):
		return http.StatusRequestEntityTooLarge
	case errors.Is(err, errBusy):
		return http.StatusServiceUnavailable
	case errors.Is(err, farms.ErrFull):
		return http.StatusInsufficientStorage
	}
	return http.StatusBadRequest
}

// wantsJSON tells a script from a browser that shows pages.
func wantsJSON(r *http.Request) bool {
	return strings.HasPrefix(r.Header.Get("Accept"), "application/json")
}

func (s *Server) json(w http.ResponseWriter, status int, v any) {
	b, err := json.Marshal(v)
	if err != nil {
		s.logf("json: %v", err)
		http.Error(w, "the answer could not be made", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(b) // the browser may be gone
}
