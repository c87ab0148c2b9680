package desktop

import "github.com/inconshreveable/mousetrap"

func doubleClicked(s start) bool {
	return len(s.args) == 1 && mousetrap.StartedByExplorer()
}

func browser(page string) (string, []string) {
	return "rundll32", []string{"url.dll,FileProtocolHandler", page}
}
