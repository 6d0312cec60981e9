package main

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"saggar/server/app"
)

// sweepEvery is how often what waited too long is written down. Until then it counts as expired all the same.
const sweepEvery = time.Minute

// startSweep writes down every minute which runs waited too long for a clearance, and passes on time that nobody took. The function that it returns ends it.
func startSweep(ctx context.Context, operations *app.App, logger *slog.Logger) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	var ended sync.WaitGroup
	ended.Go(func() {
		every := time.NewTicker(sweepEvery)
		defer every.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-every.C:
			}
			if count, err := operations.ExpireRuns(ctx); err != nil && ctx.Err() == nil {
				logger.Warn("what waited too long was not written down; the next minute tries again", "error", err)
			} else if count > 0 {
				logger.Info("runs or offers of time waited too long and have expired", "count", count)
			}
		}
	})
	return func() {
		cancel()
		ended.Wait()
	}
}
