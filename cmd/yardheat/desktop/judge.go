package desktop

import "path/filepath"

// onMac judges a start on macOS.
func onMac(s start) bool {
	if len(s.args) != 1 {
		return false
	}
	return s.unattached() || s.home != "" && s.folder == s.home && filepath.IsAbs(s.args[0])
}

// onDesktop judges a start on a desktop of Linux or the like.
func onDesktop(s start) bool {
	return len(s.args) == 1 && s.display && s.unattached()
}
