package main

import (
	"path/filepath"
	"strings"
	"time"

	"yardheat/reports"
)

// at is the program with its clock standing: the time to which readings may
// reach is then that at which the report says that it was made.
func (a *app) at(t time.Time) *app {
	still := *a
	still.now = func() time.Time { return t }
	return &still
}

// madeNow is what a report says of how it was made.
func (a *app) madeNow(dir, out string, f reportFlags) reports.Options {
	return reports.Options{PNG: f.png, Now: a.now(), Version: version, Program: program(), From: f.from, To: f.to, Farm: seenFrom(out, dir)}
}

// seenFrom is where the farm folder lies, seen from the report's, with slashes;
// "" where only the top of the disk holds both: that path would name folders
// which are nobody's business.
func seenFrom(out, dir string) string {
	from, err := standing(out)
	if err != nil {
		return ""
	}
	to, err := standing(dir)
	if err != nil {
		return ""
	}
	rel, err := filepath.Rel(from, to)
	if err != nil || filepath.IsAbs(rel) {
		return ""
	}
	rel = filepath.ToSlash(rel)
	up := strings.Count(rel+"/", "../")
	if up > 0 && up >= len(strings.FieldsFunc(filepath.ToSlash(from), func(r rune) bool { return r == '/' })) {
		return ""
	}
	return rel
}

// standing is where a folder, which may not be there yet, really stands.
func standing(dir string) (string, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	if real, err := filepath.EvalSymlinks(abs); err == nil {
		return real, nil
	}
	if real, err := filepath.EvalSymlinks(filepath.Dir(abs)); err == nil {
		return filepath.Join(real, filepath.Base(abs)), nil
	}
	return abs, nil
}
