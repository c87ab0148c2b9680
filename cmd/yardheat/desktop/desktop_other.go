//go:build !windows && !darwin

package desktop

func doubleClicked(s start) bool { return onDesktop(s) }

func browser(page string) (string, []string) { return "xdg-open", []string{page} }
