// Command saggard serves the studios of one database over gRPC. Without --database it runs a PostgreSQL of its own below
// its data folder.
package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // studios name zones that the machine may not know

	"github.com/spf13/pflag"

	"saggar/server/app"
	"saggar/server/config"
	"saggar/server/openid"
	"saggar/server/rpc"
)

func main() {
	around := config.Surroundings{LookupEnv: os.LookupEnv, UserID: os.Geteuid()}
	settings, err := config.Load(os.Args[1:], around)
	switch {
	case errors.Is(err, pflag.ErrHelp):
		fmt.Print("saggard serves studios over gRPC.\n\n", config.Usage(around))
		return
	case err != nil:
		fmt.Fprintln(os.Stderr, "saggard:", err)
		os.Exit(2)
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, settings); err != nil {
		fmt.Fprintln(os.Stderr, "saggard:", err)
		stop()
		os.Exit(1)
	}
}

// run serves until the context ends or the private database is down for good.
func run(ctx context.Context, settings config.Config) (err error) {
	logger := slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: settings.LogLevel}))
	ctx, database, err := openDatabase(ctx, settings, logger)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, database.stop()) }()
	kept, err := database.open(ctx, logger)
	if err != nil {
		return err
	}
	defer kept.Close()
	operations := app.New(kept, settings.Clock(), rand.Reader)
	if settings.OpenIDIssuer != "" {
		operations.TrustTokens(openid.New(openid.Options{
			Issuer: settings.OpenIDIssuer, Audience: settings.OpenIDAudience, Now: settings.Clock(),
		}))
	}
	stopHeads, err := startHeads(ctx, operations, settings, logger)
	if err != nil {
		return err
	}
	defer stopHeads()
	defer startSweep(ctx, operations, logger)()
	if err := operations.FirstKey(ctx, settings.FirstKey, firstKeyFile(settings.KeyFile, os.Stderr)); err != nil {
		return err
	}
	encrypted, err := encrypt(settings, os.Stderr)
	if err != nil {
		return err
	}
	server, err := rpc.New(rpc.Options{
		App: operations, TLS: encrypted.calls, Logger: logger, RequestTimeout: settings.RequestTimeout,
		MaxMessageBytes: settings.MaxMessageBytes, Ping: kept.Ping, Now: settings.Clock(),
		CallsPerSecond: settings.CallsPerSecond, Stopping: operations.EndWatches,
	})
	if err != nil {
		return err
	}
	stopBeside, err := startBeside(ctx, operations, settings, encrypted.feeds, logger)
	if err != nil {
		return err
	}
	defer stopBeside()
	listener, err := listen(settings.Address())
	if err != nil {
		return err
	}
	fmt.Fprintln(os.Stderr, "saggard: serving on", addressOf(listener))
	if err := server.Serve(ctx, listener); err != nil {
		return err
	}
	return cause(ctx)
}
