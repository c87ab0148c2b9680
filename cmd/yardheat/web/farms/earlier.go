package farms

import (
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Earlier is an earlier form of farm.toml.
type Earlier struct {
	ID string // made by us
	// At is when it was replaced.
	At time.Time
}

var earlierName = regexp.MustCompile(`^farm-(\d{8}-\d{6})-\d{2,}\.toml$`)

// mostEarlier forms are listed; older ones stay in the folder.
const mostEarlier = 50

// Earlier lists the earlier forms of farm.toml, newest first.
func (f *folder) Earlier() (all []Earlier, err error) {
	err = f.read(func(r *os.Root) error {
		entries, err := readDir(r, beforeDir)
		if err != nil {
			return err
		}
		for _, e := range entries {
			m := earlierName.FindStringSubmatch(e.Name())
			if m == nil || !e.Type().IsRegular() {
				continue
			}
			at, err := time.Parse("20060102-150405", m[1])
			if err == nil {
				all = append(all, Earlier{ID: strings.TrimSuffix(e.Name(), ".toml"), At: at})
			}
		}
		return nil
	})
	slices.SortFunc(all, func(a, b Earlier) int { return strings.Compare(b.ID, a.ID) })
	return all[:min(len(all), mostEarlier)], err
}

// EarlierTOML is one of the earlier forms; ErrNotFound.
func (f *folder) EarlierTOML(id string) (b []byte, err error) {
	if !earlierName.MatchString(id + ".toml") {
		return nil, ErrNotFound
	}
	err = f.read(func(r *os.Root) error {
		name := beforeDir + "/" + id + ".toml"
		if info, err := r.Lstat(name); err != nil || !info.Mode().IsRegular() {
			return ErrNotFound
		}
		b, err = fs.ReadFile(r.FS(), name)
		return err
	})
	return b, err
}
