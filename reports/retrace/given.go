package retrace

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"yardheat/ingest/pack"
)

// The folders of a bundle.
const (
	bundleFarm   = "farm"
	bundleReport = "report"
	farmFile     = "farm.toml"
)

// Given is a report and its farm as they were handed over.
type Given struct {
	// Report is the report's folder; Farm that of the originals, "" where it is
	// yet to be found by sources.json.
	Report, Farm string
	// Bundle: both came in one, and Farm holds the originals and nothing else.
	Bundle  bool
	Damaged []Damage
	// top is the folder that holds a bundle's folders; temp what to remove.
	top, temp string
}

// Damage is a file of a bundle that could not be unpacked.
type Damage struct{ Name, Why string }

// Close removes what was unpacked.
func (g *Given) Close() error {
	if g.temp == "" {
		return nil
	}
	return os.RemoveAll(g.temp)
}

// NoReport is the error for something that holds no report.
type NoReport struct{ Path, Why string }

func (e *NoReport) Error() string { return e.Path + " holds no report: " + e.Why }

// BadBundle is the error for an archive that can't be unpacked, or must not be.
type BadBundle struct{ Path, Name, Why string }

func (e *BadBundle) Error() string {
	if e.Name != "" {
		return fmt.Sprintf("%s: %q %s; nothing was unpacked", e.Path, e.Name, e.Why)
	}
	return fmt.Sprintf("%s: %s", e.Path, e.Why)
}

// Open finds report and farm at a path: the folder of a report, that of a farm
// with its report in it, or a bundle, packed or unpacked.
func Open(at string) (*Given, error) {
	info, err := os.Stat(at)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, &NoReport{at, "there is no such file or folder"}
	case err != nil:
		return nil, &NoReport{at, err.Error()}
	case info.IsDir():
		return openFolder(at)
	}
	return openArchive(at)
}

func openFolder(at string) (*Given, error) {
	has := func(parts ...string) bool {
		_, err := os.Lstat(filepath.Join(append([]string{at}, parts...)...))
		return err == nil
	}
	switch {
	case has(sourcesName) || has(resultsName):
		return &Given{Report: at}, nil
	case (has(bundleReport, sourcesName) || has(bundleReport, resultsName)) && has(bundleFarm):
		return &Given{Report: filepath.Join(at, bundleReport), Farm: filepath.Join(at, bundleFarm), Bundle: true, top: at}, nil
	case has(bundleReport, sourcesName) && has(farmFile):
		return &Given{Report: filepath.Join(at, bundleReport), Farm: at}, nil
	}
	return nil, &NoReport{at, "it has neither " + sourcesName + " nor " + resultsName + ", and is no bundle"}
}

// openArchive unpacks a bundle into a folder of its own.
func openArchive(at string) (*Given, error) {
	z, err := zip.OpenReader(at)
	if err != nil {
		return nil, &BadBundle{Path: at, Why: "is no .zip that can be read (" + err.Error() + ")"}
	}
	defer func() { _ = z.Close() }() // read only
	if err := checkEntries(at, z.File); err != nil {
		return nil, err
	}
	temp, err := os.MkdirTemp("", "yardheat-retrace-")
	if err != nil {
		return nil, fmt.Errorf("unpack %s: %w", at, err)
	}
	g := &Given{Report: filepath.Join(temp, bundleReport), Farm: filepath.Join(temp, bundleFarm), Bundle: true, top: temp, temp: temp}
	if err := g.unpack(at, z.File); err != nil {
		return nil, errors.Join(err, g.Close())
	}
	for _, dir := range []string{g.Report, g.Farm} { // what is missing is named by Compare
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return nil, errors.Join(err, g.Close())
		}
	}
	return g, nil
}

// checkEntries refuses an archive that could write elsewhere, write twice, or
// fill the disk, before anything is unpacked.
func checkEntries(at string, files []*zip.File) error {
	if len(files) > pack.MaxParts {
		return &BadBundle{Path: at, Why: fmt.Sprintf("lists %d entries; at most %d are unpacked", len(files), pack.MaxParts)}
	}
	seen, total := map[string]bool{}, uint64(0)
	for _, f := range files {
		if why := refused(f); why != "" {
			return &BadBundle{at, f.Name, why}
		}
		folded := strings.ToLower(strings.TrimSuffix(f.Name, "/"))
		if seen[folded] {
			return &BadBundle{at, f.Name, "stands there twice"}
		}
		seen[folded] = true
		if total += f.UncompressedSize64; total > pack.MaxUnpackedB || f.UncompressedSize64 > pack.MaxUnpackedB {
			return &BadBundle{Path: at, Why: fmt.Sprintf("unpacks to more than %d MB", pack.MaxUnpackedB>>20)}
		}
	}
	return nil
}

// mostRatio is how many times its packed size an entry of more than smallB may
// unpack to; a record of equal rows reaches about 100.
const (
	mostRatio = 400
	smallB    = 8 << 20
)

// refused says why an entry must not be unpacked; "" if it may.
func refused(f *zip.File) string {
	name := strings.TrimSuffix(f.Name, "/")
	switch {
	case name == "" || strings.ContainsAny(name, "\\:\x00") || !filepath.IsLocal(filepath.FromSlash(name)) || strings.HasPrefix(name, "/"):
		return "does not name a place inside the bundle"
	case strings.Contains("/"+name+"/", "/../") || strings.Contains("/"+name+"/", "/./") || strings.Contains(name, "//"):
		return "does not name a place inside the bundle"
	case strings.HasSuffix(f.Name, "/"):
		if !f.Mode().IsDir() {
			return "is no plain folder"
		}
	case !f.Mode().IsRegular():
		return "is no plain file"
	case f.UncompressedSize64 > smallB && f.UncompressedSize64 > mostRatio*f.CompressedSize64:
		return fmt.Sprintf("unpacks to more than %d times its size", mostRatio)
	}
	return ""
}

func (g *Given) unpack(at string, files []*zip.File) error {
	root, err := os.OpenRoot(g.temp)
	if err != nil {
		return fmt.Errorf("unpack %s: %w", at, err)
	}
	defer func() { _ = root.Close() }() // its files are closed one by one
	for _, f := range files {
		if strings.HasSuffix(f.Name, "/") {
			if err := root.MkdirAll(strings.TrimSuffix(f.Name, "/"), 0o755); err != nil {
				return fmt.Errorf("unpack %s: %w", at, err)
			}
			continue
		}
		if dir := filepath.Dir(filepath.FromSlash(f.Name)); dir != "." {
			if err := root.MkdirAll(dir, 0o755); err != nil {
				return fmt.Errorf("unpack %s: %w", at, err)
			}
		}
		if err := g.one(root, f); err != nil {
			return fmt.Errorf("unpack %s: %s: %w", at, f.Name, err)
		}
	}
	return nil
}

// one unpacks one entry; a damaged one is noted and left out.
func (g *Given) one(root *os.Root, f *zip.File) error {
	r, err := f.Open()
	if err != nil {
		g.Damaged = append(g.Damaged, Damage{f.Name, "can't be unpacked: " + err.Error()})
		return nil
	}
	defer func() { _ = r.Close() }() // its errors come with the last read
	w, err := root.OpenFile(filepath.FromSlash(f.Name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	n, err := io.Copy(w, io.LimitReader(r, int64(f.UncompressedSize64)+1))
	closing := w.Close()
	if closing != nil {
		return closing
	}
	var disk *fs.PathError
	switch {
	case errors.As(err, &disk):
		return err // the disk, not the archive
	case err != nil:
		g.Damaged = append(g.Damaged, Damage{f.Name, "can't be unpacked: " + err.Error()})
		return root.Remove(filepath.FromSlash(f.Name))
	case uint64(n) != f.UncompressedSize64:
		g.Damaged = append(g.Damaged, Damage{f.Name, "is not as long as the archive says"})
		return root.Remove(filepath.FromSlash(f.Name))
	}
	return nil
}
