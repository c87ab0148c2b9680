package bundle

import (
	"fmt"
	"io/fs"
	"path"
	"strings"
	"unicode/utf8"

	"yardheat/ingest"
)

// CheckNames says whether the originals can stand in a bundle under their own
// names on every system: farm.toml finds them by these, so none is renamed. The
// error is an *ingest.InputError with every name that cannot.
func CheckNames(originals []ingest.Own) error {
	bad := &ingest.InputError{}
	files, folders := map[string]string{}, map[string]string{}
	for _, o := range originals {
		if why := unsafeBecause(o.Name); why != "" {
			bad.Faults = append(bad.Faults, nameFault(o.Name, why))
			continue
		}
		low := strings.ToLower(o.Name)
		if other, ok := files[low]; ok {
			bad.Faults = append(bad.Faults, nameFault(o.Name, fmt.Sprintf("differs from %q by capital letters only", other)))
		}
		files[low] = o.Name
		for dir := path.Dir(low); dir != "."; dir = path.Dir(dir) {
			folders[dir] = o.Name
		}
	}
	for _, o := range originals {
		if inside, ok := folders[strings.ToLower(o.Name)]; ok {
			bad.Faults = append(bad.Faults, nameFault(o.Name, fmt.Sprintf("is also the folder of %q, but for capital letters", inside)))
		}
	}
	if len(bad.Faults) > 0 {
		return bad
	}
	return nil
}

func nameFault(name, why string) ingest.Fault {
	return ingest.Fault{File: name, Got: "a name that " + why, Want: "with --bundle, names that every system can unpack",
		Do: "rename the file, and where it stands in farm.toml; or leave --bundle out"}
}

// unsafeBecause says why a name cannot be unpacked on every system; "" if it
// can (the rules for names of Windows as its makers document them, from memory).
func unsafeBecause(name string) string {
	if !utf8.ValidString(name) {
		return "is no UTF-8"
	}
	if !fs.ValidPath(name) || name == "." {
		return "leads out of the folder"
	}
	for part := range strings.SplitSeq(name, "/") {
		switch {
		case strings.ContainsAny(part, `<>:"\|?*`):
			return `holds one of < > : " \ | ? *`
		case strings.ContainsFunc(part, func(r rune) bool { return r < ' ' || r == 0x7f }):
			return "holds a control character"
		case strings.HasSuffix(part, ".") || strings.HasSuffix(part, " "):
			return "ends with a dot or a blank"
		case isDevice(part):
			return "is that of a device of Windows"
		}
	}
	return ""
}

// isDevice: CON, COM1 and the like, with any ending.
func isDevice(part string) bool {
	stem, _, _ := strings.Cut(strings.ToUpper(part), ".")
	stem = strings.TrimRight(stem, " ")
	switch stem {
	case "CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$":
		return true
	}
	r := []rune(stem)
	return len(r) == 4 && (strings.HasPrefix(stem, "COM") || strings.HasPrefix(stem, "LPT")) && strings.ContainsRune("0123456789¹²³", r[3])
}
