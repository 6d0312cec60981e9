package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"time"

	"saggar/server/cluster"
	"saggar/server/config"
	"saggar/server/store"
)

// databaseStopTimeout is how long the private database may take to stop before it is cut off.
const databaseStopTimeout = 30 * time.Second

// database is what the server keeps its studios in.
type database struct {
	// owner is how the schema is brought up to date; serving is how the server works.
	owner, serving string
	// private says that the server's own role is made here.
	private bool
	stop    func() error
}

// errDatabaseDown ends the server when its private database cannot be started again.
var errDatabaseDown = errors.New("the private database is down for good")

// openDatabase starts a private database unless one is named. The context that it returns ends with the given one, or
// when the private database is down for good.
func openDatabase(ctx context.Context, settings config.Config, logger *slog.Logger) (context.Context, database, error) {
	if settings.Database != "" {
		d := database{owner: settings.OwnerDatabase, serving: settings.Database, stop: func() error { return nil }}
		if d.owner == "" {
			d.owner = d.serving
		}
		return ctx, d, nil
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
	return ctx, database{owner: private.ConnString(), private: true, stop: stop}, nil
}

// open brings the schema up to date and opens the store as a role that cannot alter the trace, where there is one.
func (d database) open(ctx context.Context, logger *slog.Logger) (*store.Store, error) {
	if err := store.Migrate(ctx, d.owner); err != nil {
		return nil, err
	}
	switch {
	case d.private:
		// A fresh one at each start, which nobody keeps.
		password := rand.Text()
		if err := store.MakeServingRole(ctx, d.owner, password); err != nil {
			return nil, err
		}
		address, err := url.Parse(d.owner)
		if err != nil {
			return nil, errors.New("the private database's address is no URL")
		}
		address.User = url.UserPassword(store.ServingRole, password)
		d.serving = address.String()
	case d.owner != d.serving:
		if err := store.GrantServing(ctx, d.owner, d.serving); err != nil {
			return nil, err
		}
	}
	kept, err := store.Open(ctx, d.serving, store.Options{})
	if err != nil {
		return nil, err
	}
	if may, err := kept.MayAlterTrace(ctx); err == nil && may {
		logger.Warn("the database role that serves can alter the trace; give the schema's owner as --owner-database and another " +
			"role as --database")
	}
	return kept, nil
}

// cause is why a server that ended without an error of its own ended: nil when it was asked to.
func cause(ctx context.Context) error {
	if err := context.Cause(ctx); errors.Is(err, errDatabaseDown) {
		return err
	}
	return nil
}
