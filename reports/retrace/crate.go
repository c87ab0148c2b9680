package retrace

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"yardheat/reports/record"
)

// crateName is the file of a bundle that lists all others (RO-Crate 1.1).
const crateName = "ro-crate-metadata.json"

// crate holds every file of a bundle against the list that came with it.
func (c *comparer) crate() error {
	if !c.g.Bundle {
		return nil
	}
	b, err := os.ReadFile(filepath.Join(c.g.top, crateName))
	if errors.Is(err, fs.ErrNotExist) {
		c.v.say(KindFileMissing, crateName, "is not in the bundle: it lists what belongs there")
		return nil
	}
	if err != nil {
		return err
	}
	var list struct {
		Graph []struct {
			Name   string `json:"name"`
			SHA256 string `json:"sha256"`
		} `json:"@graph"`
	}
	if err := json.Unmarshal(b, &list); err != nil {
		c.v.say(KindFileChanged, crateName, "can't be read: %s", err)
		return nil
	}
	noted := map[string]string{}
	for _, f := range list.Graph {
		if f.SHA256 != "" {
			noted[f.Name] = f.SHA256
		}
	}
	return c.holdCrate(noted)
}

// holdCrate names what differs from the list and was not named already.
func (c *comparer) holdCrate(noted map[string]string) error {
	root, err := os.OpenRoot(c.g.top)
	if err != nil {
		return fmt.Errorf("the bundle: %w", err)
	}
	defer func() { _ = root.Close() }() // read only
	here := map[string]record.Hash{}
	err = fs.WalkDir(root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || name == crateName || litter[path.Base(name)] {
			return err
		}
		here[name], err = hashIn(root, name)
		return err
	})
	if err != nil {
		return fmt.Errorf("the bundle: %w", err)
	}
	told := map[string]bool{}
	for _, d := range c.v.Differences {
		for _, in := range []string{"", bundleFarm + "/", bundleReport + "/"} {
			told[in+d.File] = true
		}
	}
	for _, name := range sortedKeys(here) {
		switch sum, ok := noted[name]; {
		case told[name]:
		case !ok:
			c.v.say(KindFileAdded, name, "is in the bundle, but not in its list (%s)", crateName)
		case sum != here[name].SHA256:
			c.v.say(KindFileChanged, name, "is not as it was packed: %s notes other bytes", crateName)
		}
	}
	for _, name := range sortedKeys(noted) {
		if _, ok := here[name]; !ok && !told[name] && !strings.HasSuffix(name, "/") {
			c.v.say(KindFileMissing, name, "is in the bundle's list (%s), but not in the bundle", crateName)
		}
	}
	return nil
}
