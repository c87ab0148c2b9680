package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"yardheat/cmd/yardheat/desktop"
)

// ownPort is tried first where no port is asked for, so that the page's address
// stays the same; below the ports that systems give out by themselves.
const ownPort = 28417

// listenAt is where the page is to be opened.
type listenAt struct {
	host string // "" = every address
	port int
	any  bool // another port will do where this one is taken
	// network: others than this computer can reach it.
	network bool
}

// parseListen reads --listen: HOST:PORT, :PORT, or HOST.
func parseListen(text string) (listenAt, error) {
	if text == "" {
		return listenAt{host: "127.0.0.1", port: ownPort, any: true}, nil
	}
	host, portText, err := net.SplitHostPort(text)
	if err != nil { // no port
		host, portText = strings.Trim(text, "[]"), ""
	}
	at := listenAt{host: host, port: ownPort, any: portText == ""}
	if portText != "" {
		port, err := strconv.ParseUint(portText, 10, 16)
		if err != nil {
			return listenAt{}, fmt.Errorf("--listen %s: %q is no port; want an address such as 127.0.0.1:8080 or :%d", text, portText, ownPort)
		}
		at.port = int(port)
	}
	if strings.EqualFold(host, "localhost") {
		at.host = "127.0.0.1"
	}
	ip := net.ParseIP(at.host)
	if ip == nil && at.host != "" {
		return listenAt{}, fmt.Errorf("--listen %s: %q is no address; want one such as 127.0.0.1:8080, or :%d for every address of this computer", text, host, ownPort)
	}
	if ip != nil && ip.IsUnspecified() {
		at.host = ""
	}
	at.network = ip == nil || !ip.IsLoopback()
	return at, nil
}

func (at listenAt) open(ctx context.Context) (net.Listener, error) {
	var c net.ListenConfig
	l, err := c.Listen(ctx, "tcp", net.JoinHostPort(at.host, strconv.Itoa(at.port)))
	if at.any && taken(err) {
		return c.Listen(ctx, "tcp", net.JoinHostPort(at.host, "0"))
	}
	return l, err
}

// taken: the port is another program's, or the system keeps it (errors 10048 and
// 10013 of Windows sockets).
func taken(err error) bool {
	return errors.Is(err, syscall.EADDRINUSE) || errors.Is(err, syscall.EACCES) ||
		errors.Is(err, syscall.Errno(10048)) || errors.Is(err, syscall.Errno(10013))
}

// whereabouts are the addresses under which the page answers.
type whereabouts struct {
	own     string   // for this computer
	network []string // for others
	hosts   []string // exactly the Host headers that are answered
}

func (at listenAt) where(port int) whereabouts {
	var w whereabouts
	ips := []string{at.host}
	if at.host == "" {
		ips = append([]string{"127.0.0.1", "::1"}, networkAddresses()...)
	}
	for _, text := range ips {
		ip := net.ParseIP(text)
		host := net.JoinHostPort(text, strconv.Itoa(port))
		w.add(host, port)
		if ip.IsLoopback() {
			w.add(net.JoinHostPort("localhost", strconv.Itoa(port)), port)
		} else {
			w.network = append(w.network, "http://"+host)
		}
		if w.own == "" {
			w.own = "http://" + host
		}
	}
	return w
}

// add adds a Host; on port 80 browsers leave the port out.
func (w *whereabouts) add(host string, port int) {
	all := []string{host}
	if port == 80 {
		all = append(all, strings.TrimSuffix(host, ":80"))
	}
	for _, h := range all {
		if !slices.Contains(w.hosts, h) {
			w.hosts = append(w.hosts, h)
		}
	}
}

// networkAddresses of this computer, without those that are of one cable only.
func networkAddresses() []string {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	var out []string
	for _, a := range all {
		n, ok := a.(*net.IPNet)
		if ok && !n.IP.IsLoopback() && !n.IP.IsLinkLocalUnicast() && !n.IP.IsMulticast() {
			out = append(out, n.IP.String())
		}
	}
	return out
}

// openPage opens the browser; where there is none, the link is on the screen.
func (a *app) openPage(link string) {
	if err := desktop.OpenBrowser(link); err != nil {
		fmt.Fprintln(a.stderr, "The browser could not be opened: open the link by hand.")
	}
}
