package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"saggar/server/cluster"
	"saggar/server/config"
)

// databaseStopTimeout is how long the private database may take to stop before it is cut off.
const databaseStopTimeout = 30 * time.Second

// database is what the server keeps its studios in.
type database struct {
	connString string
	stop       func() error
}

// errDatabaseDown ends the server when its private database cannot be started again.
var errDatabaseDown = errors.New("the private database is down for good")

// openDatabase starts a private database unless one is named. The context that it returns ends with the given one, or
// when the private database is down for good.
func openDatabase(ctx context.Context, settings config.Config, logger *slog.Logger) (context.Context, database, error) {
	if settings.Database != "" {
		return ctx, database{connString: settings.Database, stop: func() error { return nil }}, nil
	}
	private, err := cluster.Start(ctx, cluster.Options{DataDir: settings.ClusterDir(), Logger: logger})
	if err != nil {
		return ctx, database{}, err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	go func() {
		if err := <-private.Exited(); err != nil {
			cancel(fmt.Errorf("%w: %w", errDatabaseDown, err))
		}
	}()
	stop := func() error {
		cancel(nil)
		stopCtx, done := context.WithTimeout(context.WithoutCancel(ctx), databaseStopTimeout)
		defer done()
		return private.Stop(stopCtx)
	}
	return ctx, database{connString: private.ConnString(), stop: stop}, nil
}

// cause is why a server that ended without an error of its own ended: nil when it was asked to.
func cause(ctx context.Context) error {
	if err := context.Cause(ctx); errors.Is(err, errDatabaseDown) {
		return err
	}
	return nil
}
