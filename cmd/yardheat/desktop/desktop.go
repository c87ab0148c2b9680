// Package desktop knows how the program was started, and opens the browser.
//
// A double-click comes without arguments, and looks different on each system:
//
//   - Windows: the parent is the desktop's file manager, which is how cobra's
//     own check tells it too. The system gives the program a console window.
//   - macOS: a bare program opens in a terminal window whose shell is given the
//     program's whole path, in the home folder, so that neither parent nor
//     terminal tell it from a typed command. The signs are: no argument, the
//     name is an absolute path, and the working folder is the home folder.
//     Whoever types just that gets the page and not the help; nothing is lost.
//     Started from a bundle or by launchd there is no terminal at all.
//   - Linux and others: a display is there, and neither input nor output is a
//     terminal or a pipe.
package desktop

import (
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
)

// KeepOpen is what the window says under a page that a double-click opened.
const KeepOpen = `Yardheat runs in this window, and its page is in your browser.

  Keep this window open while you use the page.
  To stop Yardheat, close this window.

`

// start is how the program was started.
type start struct {
	args    []string // with the program's name
	home    string
	folder  string
	display bool
	// in, out: what standard input and output are.
	in, out os.FileMode
}

func now() start {
	s := start{args: os.Args, display: os.Getenv("DISPLAY") != "" || os.Getenv("WAYLAND_DISPLAY") != ""}
	s.home, _ = os.UserHomeDir() // "" is no folder: then it was no double-click
	s.folder, _ = os.Getwd()
	s.in, s.out = modeOf(os.Stdin), modeOf(os.Stdout)
	return s
}

// modeOf is the kind of a stream, with the null device counted as nothing: the
// desktop gives it where there is no terminal.
func modeOf(f *os.File) os.FileMode {
	info, err := f.Stat()
	if err != nil {
		return 0
	}
	if null, err := os.Stat(os.DevNull); err == nil && os.SameFile(null, info) {
		return 0
	}
	return info.Mode()
}

const terminalOrPipe = os.ModeCharDevice | os.ModeNamedPipe

func (s start) unattached() bool { return (s.in|s.out)&terminalOrPipe == 0 }

// DoubleClicked says whether the program was started from the desktop.
func DoubleClicked() bool { return doubleClicked(now()) }

// OpenBrowser opens a page of this computer's own in the browser: plain http on
// a loopback address. No shell reads the address.
func OpenBrowser(page string) error {
	if err := ours(page); err != nil {
		return err
	}
	name, args := browser(page)
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("open the browser: %w", err)
	}
	go func() { _ = cmd.Wait() }() // only to leave no dead process behind
	return nil
}

// ours refuses what is no page of this program.
func ours(page string) error {
	u, err := url.Parse(page)
	if err != nil {
		return fmt.Errorf("open the browser: %w", err)
	}
	host := u.Hostname()
	if u.Scheme != "http" || u.User != nil || u.Port() == "" || host != "127.0.0.1" && host != "::1" && host != "localhost" {
		return errors.New("open the browser: not a page of this computer")
	}
	for _, c := range page {
		if c <= ' ' || c > '~' || c == '"' || c == '\'' || c == '`' {
			return errors.New("open the browser: an address with characters that do not belong there")
		}
	}
	return nil
}
