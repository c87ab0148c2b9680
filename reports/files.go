package reports

import (
	"os"
	"path/filepath"
	"slices"
)

// Files are the files of the finished report in out, relative to it with '/',
// sorted; what desktops leave there is not among them.
func Files(out string) ([]string, error) {
	p, err := placesOf(out)
	if err != nil {
		return nil, err
	}
	if err := checkOurs(p.out); err != nil {
		return nil, err
	}
	names, err := checkNames(p.out)
	if err != nil {
		return nil, err
	}
	names = slices.DeleteFunc(names, func(n string) bool {
		info, err := os.Stat(filepath.Join(p.out, filepath.FromSlash(n)))
		return litter[n] || err == nil && info.IsDir()
	})
	slices.Sort(names)
	return names, nil
}
