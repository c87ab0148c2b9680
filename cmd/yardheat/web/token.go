package web

import (
	"bytes"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
)

// The form token goes with every POST, beside the session's cookie: in the header
// tokenHeader, or in the field tokenField. In a form that sends files the field
// stands first, {{template "token" .}} right after <form>, since files are not
// read before it was seen.
const (
	tokenField  = "token"
	tokenHeader = "X-Yardheat-Token"
)

// formB is the most that a form without files may send; headB the most that is
// looked through for the token before the files.
const (
	formB = 1 << 20
	headB = 64 << 10
)

var errToken = errors.New("the form does not bear the token of this session")

// checkToken reads the token of a POST. The body can still be read as a whole
// afterwards; of a form without files it has been parsed.
func checkToken(w http.ResponseWriter, r *http.Request, want string) error {
	given := r.Header.Get(tokenHeader)
	kind, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	files := err == nil && kind == "multipart/form-data"
	if !files {
		r.Body = http.MaxBytesReader(w, r.Body, formB)
	}
	switch {
	case given != "":
	case files:
		if given, err = firstField(r, params["boundary"]); err != nil {
			return err
		}
	case kind == "application/x-www-form-urlencoded":
		if err := r.ParseForm(); err != nil {
			return err
		}
		given = r.PostForm.Get(tokenField)
	}
	if !same(given, want) {
		return errToken
	}
	return nil
}

// firstField is the value of a multipart body's first field, where that is the
// token; what was read is put back.
func firstField(r *http.Request, boundary string) (string, error) {
	if boundary == "" {
		return "", errToken
	}
	var seen bytes.Buffer
	body := r.Body
	defer func() {
		r.Body = readCloser{Reader: io.MultiReader(&seen, body), Closer: body}
	}()
	part, err := multipart.NewReader(io.TeeReader(io.LimitReader(body, headB), &seen), boundary).NextPart()
	if err != nil {
		return "", err
	}
	if part.FormName() != tokenField || part.FileName() != "" {
		return "", errToken
	}
	value, err := io.ReadAll(io.LimitReader(part, 256))
	return string(value), err
}

type readCloser struct {
	io.Reader
	io.Closer
}

// field is one field of a form without files. r.FormValue is not used anywhere:
// of a form with files it writes what does not fit into memory, as much as comes,
// into the system's folder for passing files.
func field(r *http.Request, key string) string {
	if err := r.ParseForm(); err != nil {
		return ""
	}
	return r.PostForm.Get(key)
}
