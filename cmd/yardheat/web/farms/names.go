package farms

import (
	"fmt"
	"path"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// nameB is the longest name in bytes; most file systems end at 255, and a number
// or an ending may be put to it.
const nameB = 200

// Names that Windows keeps for devices, with any ending (Microsoft, "Naming Files,
// Paths, and Namespaces").
var devices = map[string]bool{"con": true, "prn": true, "aux": true, "nul": true, "conin$": true, "conout$": true}

// reserved are names of the farm's folder that no log may have.
var reserved = map[string]bool{farmFile: true, reportDir: true, startReport: true, "desktop.ini": true, "thumbs.db": true}

// cleanName makes of what a browser sends the name of a file or folder that every
// system can hold: folders before it are left out, characters that some system
// does not allow, that cannot be seen or that turn the direction of writing become
// "_". What then is no name is refused with ErrName and the reason.
func cleanName(given string, longest int) (string, error) {
	name := path.Base(strings.ReplaceAll(strings.ToValidUTF8(given, "_"), `\`, "/"))
	name = norm.NFC.String(strings.Map(plainRune, name))
	name = strings.TrimRight(strings.TrimSpace(name), ". ")
	return name, checkName(name, longest)
}

// plainRune replaces what a name cannot hold on one of the systems.
func plainRune(r rune) rune {
	switch {
	case unicode.IsSpace(r):
		return ' '
	case strings.ContainsRune(`<>:"/\|?*`, r), unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Co, r), r == utf8.RuneError:
		return '_'
	}
	return r
}

// checkName refuses a name that is not clean.
func checkName(name string, longest int) error {
	switch {
	case name == "" || strings.Trim(name, "_ .") == "":
		return fmt.Errorf("%w: it is empty", ErrName)
	case strings.HasPrefix(name, "."):
		return fmt.Errorf("%w: it begins with a dot", ErrName)
	case utf8.RuneCountInString(name) > longest || len(name) > nameB:
		return fmt.Errorf("%w: it has more than %d letters or %d bytes", ErrName, longest, nameB)
	case device(name):
		return fmt.Errorf("%w: Windows keeps %q for a device", ErrName, name)
	case strings.TrimRight(strings.TrimSpace(name), ". ") != name, strings.Map(plainRune, name) != name, !norm.NFC.IsNormalString(name):
		return fmt.Errorf("%w: %q has a character that not every system can hold", ErrName, name)
	}
	return nil
}

// checkLogName is checkName for a file that is to stand beside farm.toml.
func checkLogName(name string, longest int) error {
	if reserved[foldName(name)] {
		return fmt.Errorf("%w: %s is a name of the farm's own", ErrName, name)
	}
	return checkName(name, longest)
}

func device(name string) bool {
	stem, _, _ := strings.Cut(strings.ToLower(name), ".")
	stem = strings.TrimRight(stem, " ")
	if devices[stem] {
		return true
	}
	r := []rune(stem)
	return len(r) == 4 && (strings.HasPrefix(stem, "com") || strings.HasPrefix(stem, "lpt")) && strings.ContainsRune("0123456789¹²³", r[3])
}

// foldName is equal for names that some file system takes for the same one.
func foldName(name string) string {
	return strings.ToLower(strings.ToUpper(norm.NFC.String(name)))
}
