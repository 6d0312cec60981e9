package main

import (
	"context"
	"crypto/tls"
	"log/slog"

	"saggar/server/app"
	"saggar/server/config"
)

// startBeside starts what a server does beside answering calls, as far as it is asked for: serving calendars and sending letters.
func startBeside(
	ctx context.Context, operations *app.App, settings config.Config, encrypted *tls.Config, logger *slog.Logger,
) (stop func(), err error) {
	go operations.RunWatches(ctx)
	stopMail, err := startMail(ctx, operations, settings, logger)
	if err != nil {
		return nil, err
	}
	stopFeeds, err := startFeeds(ctx, operations, settings, encrypted, logger)
	if err != nil {
		stopMail()
		return nil, err
	}
	return func() {
		stopFeeds()
		stopMail()
	}, nil
}
