package desktop

func doubleClicked(s start) bool { return onMac(s) }

func browser(page string) (string, []string) { return "/usr/bin/open", []string{page} }
