package main

import (
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"os"

	"saggar/server/app"
	"saggar/server/config"
	"saggar/server/feed"
)

// startFeeds serves calendars, when an address is given for them, until it is stopped.
func startFeeds(
	ctx context.Context, operations *app.App, settings config.Config, encrypted *tls.Config, logger *slog.Logger,
) (stop func(), err error) {
	if settings.FeedListen == "" {
		return func() {}, nil
	}
	listener, err := net.Listen("tcp", settings.FeedListen)
	if err != nil {
		return nil, fmt.Errorf("serve calendars: %w", err)
	}
	operations.ServeFeeds(settings.FeedURL)
	fmt.Fprintln(os.Stderr, "saggard: serving calendars on", listener.Addr())
	server := feed.New(feed.Options{App: operations, TLS: encrypted, Logger: logger})
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := server.Serve(ctx, listener); err != nil {
			logger.Error("calendars are no longer served", "cause", err)
		}
	}()
	return func() {
		cancel()
		<-done
	}, nil
}
