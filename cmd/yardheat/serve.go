package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"yardheat/cmd/yardheat/web"
	"yardheat/cmd/yardheat/web/farms"
)

func (a *app) serveCommand() *cobra.Command {
	var listen string
	cmd := &cobra.Command{
		Use:   "serve [DIR]",
		Short: "Open the page on this computer: logs in, report out",
		Args:  atMost(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := ""
			if len(args) == 1 {
				dir = args[0]
			}
			return a.serve(cmd.Context(), dir, listen)
		},
	}
	cmd.Flags().StringVar(&listen, "listen", "127.0.0.1:0", "address and port; 0 = any free port")
	return cmd
}

// serve answers until it is stopped.
func (a *app) serve(ctx context.Context, dir, listen string) error {
	if dir == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			return fmt.Errorf("find a folder for the farms: %w", err)
		}
		dir = filepath.Join(home, "Yardheat")
	}
	store, err := farms.Open(dir, farms.DefaultLimits(), a.now)
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return fmt.Errorf("open the page: %w", err)
	}
	b := make([]byte, 16)
	_, _ = rand.Read(b) // never fails
	key := hex.EncodeToString(b)
	addr := l.Addr().(*net.TCPAddr)
	s, err := web.New(web.Options{
		Store: store, Key: key, Version: version, Now: a.now,
		Hosts: []string{addr.String(), fmt.Sprintf("localhost:%d", addr.Port)},
		Report: a.pageReport, Bundle: a.pageBundle, Today: a.pageToday,
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "Page:  http://%s/enter?key=%s\n", addr, key)
	srv := &http.Server{Handler: s, ReadHeaderTimeout: 10 * time.Second}
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}
