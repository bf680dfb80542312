package review

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"github.com/spf13/cobra"
)

func (c *command) serve() *cobra.Command {
	var listen, token string
	var hosts []string
	var every time.Duration
	cmd := &cobra.Command{
		Use:   "serve [FOLDER]",
		Short: "show the jobs as pages, on this machine",
		Long: "Serve shows a list of jobs, each call over time, and the fleet, to a browser on this machine.\n" +
			"With --listen on another address a token is asked for, and the names by which browsers may call it are given with --host.",
		Args: cobra.MaximumNArgs(1),
		RunE: c.run(func(cmd *cobra.Command, s *Store, folder string) error {
			return c.serveUntil(cmd, s, folder, listen, token, hosts, every)
		}),
	}
	cmd.Flags().StringVar(&listen, "listen", "127.0.0.1:8470", "the address to listen on")
	cmd.Flags().StringVar(&token, "token", "", "ask every visitor for this token (default: none on this machine, a new one beyond it)")
	cmd.Flags().StringSliceVar(&hosts, "host", nil, "a name by which browsers may call this site, beside localhost")
	cmd.Flags().DurationVar(&every, "every", time.Minute, "how often to look for new entries")
	return cmd
}

func (c *command) serveUntil(cmd *cobra.Command, s *Store, folder, listen, token string, hosts []string, every time.Duration) error {
	ctx, stop := context.WithCancelCause(cmd.Context())
	defer stop(nil)
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return fmt.Errorf("review: serve: %w", err)
	}
	defer l.Close()
	local := l.Addr().(*net.TCPAddr).IP.IsLoopback()
	if token == "" && !local {
		token = rand.Text()
	}
	if host, _, err := net.SplitHostPort(listen); err == nil && host != "" && !net.ParseIP(host).IsUnspecified() {
		hosts = append(hosts, host)
	}
	if !local && len(hosts) == 0 {
		return errors.New("review: serve: give the name or address by which browsers will call this machine, with --host")
	}
	h, err := Handler(Site{Store: s, Words: c.Words, Limits: c.Limits, Source: c.Source, Hosts: hosts, Token: token, Log: c.Log})
	if err != nil {
		return err
	}
	where := "http://" + l.Addr().String() + "/"
	if token != "" {
		where += "?token=" + token
	}
	fmt.Fprintln(cmd.OutOrStdout(), where)
	server := newServer(h)
	done := make(chan struct{})
	go func() { // ends with ctx
		defer close(done)
		tick := time.NewTicker(max(every, time.Second))
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
			if folder == "" {
				continue
			}
			if err := c.upToDate(ctx, cmd.ErrOrStderr(), s, folder); err != nil && ctx.Err() == nil {
				fmt.Fprintln(cmd.ErrOrStderr(), err)
			}
		}
	}()
	context.AfterFunc(ctx, func() { _ = server.Close() })
	err = serve(server, l, maxConnections)
	stop(err)
	<-done
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return fmt.Errorf("review: serve: %w", err)
}
