package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/net/netutil"

	"yardheat/cmd/yardheat/web"
	"yardheat/cmd/yardheat/web/farms"
	"yardheat/ingest/simfarm"
)

// Limits of the page's connections; those of uploads are web.Limits.
const (
	mostConnections = 512
	headerTime      = 10 * time.Second
	idleTime        = 2 * time.Minute
	mostHeaderB     = 32 << 10
	stopTime        = 15 * time.Second // for what runs when the page is stopped
)

type serveFlags struct {
	listen string
	open   bool
}

func (a *app) serveCommand() *cobra.Command {
	var f serveFlags
	cmd := &cobra.Command{
		Use:   "serve [DIR]",
		Short: "Open the page on this computer: logs in, report out",
		Long: `Opens a page in this computer's browser, in which a farm's logs are given and its
report is made. DIR is a farm folder, or a folder that holds several; it is made
where it is absent. Without DIR it is the folder Yardheat in your home folder.

Only this computer can reach the page, unless --listen says otherwise: then it
asks for a password, which is printed, and it is not encrypted.`,
		Example: `  yardheat serve
  yardheat serve my-farm --open
  yardheat serve my-farms --listen :28417      for a phone on the farm's network`,
		Args: atMost(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := ""
			if len(args) == 1 {
				dir = args[0]
			}
			ctx := cmd.Context()
			if ctx == nil {
				ctx = context.Background()
			}
			ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
			defer stop()
			context.AfterFunc(ctx, stop) // a second Ctrl+C ends it at once
			return a.serve(ctx, dir, f)
		},
	}
	cmd.Flags().StringVar(&f.listen, "listen", "", fmt.Sprintf("address and port, such as 127.0.0.1:8080; :%d = reachable from the network, with a password", ownPort))
	cmd.Flags().BoolVar(&f.open, "open", false, "open the page in the browser")
	return cmd
}

// serve answers until ctx ends.
func (a *app) serve(ctx context.Context, dir string, f serveFlags) error {
	dir, err := serveDir(dir)
	if err != nil {
		return err
	}
	at, err := parseListen(f.listen)
	if err != nil {
		return usageError{err}
	}
	hold, running, err := farms.Take(dir)
	if errors.Is(err, farms.ErrBusy) {
		return a.pointTo(ctx, dir, running, f)
	}
	if err != nil {
		return fmt.Errorf("use the folder %s: %w", dir, err)
	}
	defer func() { _ = hold.Leave() }() // the lock goes with the program anyway
	l, err := at.open(ctx)
	if err != nil {
		return fmt.Errorf("open the page: %w; another program may use this address: name another with --listen", err)
	}
	return a.serveOn(ctx, l, at, dir, hold, f)
}

// serveDir is the folder as it will be shown; made where it is absent.
func serveDir(dir string) (string, error) {
	if dir == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			return "", fmt.Errorf("find a folder for the farms: %w; name one: yardheat serve DIR", err)
		}
		dir = filepath.Join(home, "Yardheat")
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	info, err := os.Stat(abs)
	if err == nil && !info.IsDir() {
		return "", usageError{fmt.Errorf("%s is a file; name a folder, as in: yardheat serve my-farms", dir)}
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	return abs, nil
}

// pointTo leads to the page that is open for the folder already.
func (a *app) pointTo(ctx context.Context, dir, link string, f serveFlags) error {
	if link == "" {
		return fmt.Errorf("%s: %w", dir, farms.ErrBusy)
	}
	fmt.Fprintf(a.stdout, "A page is open for this folder already.\nPage:    %s\nFolder:  %s\n", link, dir)
	if f.open {
		a.openPage(link)
	}
	return nil
}

func (a *app) serveOn(ctx context.Context, l net.Listener, at listenAt, dir string, hold *farms.Hold, f serveFlags) (err error) {
	store, err := farms.Open(dir, farms.DefaultLimits(), a.now)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	opt := a.webOptions(store)
	where := at.where(l.Addr().(*net.TCPAddr).Port)
	opt.Hosts = where.hosts
	if at.network {
		opt.Password = web.NewPassword()
	}
	page, err := web.New(opt)
	if err != nil {
		return errors.Join(err, l.Close())
	}
	link := where.own + "/enter?key=" + opt.Key
	if err := hold.Say(link); err != nil {
		return errors.Join(fmt.Errorf("use the folder %s: %w", dir, err), l.Close())
	}
	a.printServe(link, dir, store.One(), where, opt.Password)
	if f.open {
		a.openPage(where.own + "/enter?key=" + page.OnceKey())
	}
	return a.answer(ctx, l, page)
}

func (a *app) webOptions(store farms.Store) web.Options {
	return web.Options{
		Store: store, Key: web.NewKey(), Version: version, Now: a.now,
		Log:    log.New(a.stderr, "", log.LstdFlags),
		Report: a.pageReport, Bundle: a.pageBundle, Today: a.pageToday,
		Sample: func(_ context.Context, dir string) error {
			farm, err := simfarm.Run(simfarm.Sample())
			if err != nil {
				return fmt.Errorf("simulate the sample farm: %w", err)
			}
			return farm.Write(dir)
		},
	}
}

// answer serves until ctx ends, and then lets what runs come to its end: an upload
// that is not acknowledged by then is broken off, and leaves nothing behind.
func (a *app) answer(ctx context.Context, l net.Listener, page *web.Server) error {
	base, end := context.WithCancel(context.Background())
	defer end()
	srv := &http.Server{
		Handler: page, ReadHeaderTimeout: headerTime, IdleTimeout: idleTime, MaxHeaderBytes: mostHeaderB,
		BaseContext: func(net.Listener) context.Context { return base },
		ErrorLog:    log.New(a.stderr, "", log.LstdFlags),
	}
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(netutil.LimitListener(l, mostConnections)) }()
	select {
	case err := <-failed:
		return errors.Join(err, page.Close(context.Background()))
	case <-ctx.Done():
	}
	fmt.Fprintln(a.stdout, "Stopping. Press Ctrl+C again to stop at once.")
	last, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	err := page.Close(last)
	// Uploads get a little longer; who only waits for news is told to go.
	time.AfterFunc(time.Second, end)
	if srv.Shutdown(last) != nil {
		err = errors.Join(err, srv.Close())
	}
	if end := <-failed; !errors.Is(end, http.ErrServerClosed) {
		err = errors.Join(err, end)
	}
	return err
}

func (a *app) printServe(link, dir string, one bool, where whereabouts, password string) {
	holds := "the farms, a folder each"
	if one {
		holds = "one farm"
	}
	fmt.Fprintf(a.stdout, "Page:    %s\nFolder:  %s (%s)\nStop:    press Ctrl+C, or close this window\n", link, dir, holds)
	if password == "" {
		return
	}
	fmt.Fprintf(a.stdout, "\nOn the farm's network the page answers under\n")
	for _, u := range where.network {
		fmt.Fprintf(a.stdout, "         %s\n", u)
	}
	if len(where.network) == 0 {
		fmt.Fprintf(a.stdout, "         (no address: this computer is on no network now)\n")
	}
	fmt.Fprintf(a.stdout, `Password: %s

What goes over the network is not encrypted: others on it could read along, the
password too. Use it only on a network that you trust, and stop it afterwards.
`, password)
}
