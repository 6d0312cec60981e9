package app

import (
	"context"
	"slices"
	"time"

	"saggar/server/domain"
	"saggar/server/store"
)

// GetRun returns one run with its loads and firings. Errors: domain.ErrNotFound.
func (a *App) GetRun(ctx context.Context, studioID, id string) (domain.Run, error) {
	var run domain.Run
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		run, err = tx.Run(ctx, studio.Key, id)
		return err
	})
	return run, err
}

// ListRuns lists runs, newest first, of one department or all, that are older than beforeKey (0: from the newest).
func (a *App) ListRuns(ctx context.Context, studioID, department string, beforeKey int64, limit int) ([]domain.Run, error) {
	var runs []domain.Run
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		runs, err = tx.ListRuns(ctx, studio.Key, department, beforeKey, limit)
		return err
	})
	return runs, err
}

// GetFiring returns one firing. Errors: domain.ErrNotFound.
func (a *App) GetFiring(ctx context.Context, studioID, id string) (domain.Firing, error) {
	var firing domain.Firing
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		firing, err = tx.Firing(ctx, studio.Key, id)
		return err
	})
	return firing, err
}

// FiringsQuery asks for firings that overlap a window.
type FiringsQuery struct {
	Window     domain.Window
	FurnaceIDs []string // none: all
	ShowEnded  bool     // also those that no longer hold their window
	// AfterStart and AfterKey are the last firing of the page before; zero: from the start.
	AfterStart time.Time
	AfterKey   int64
	Limit      int
	// JoinableOnly leaves out what others cannot join.
	JoinableOnly bool
}

// ListFirings lists firings by start, then key. Errors: finding.Faults for a furnace that does not stand.
func (a *App) ListFirings(ctx context.Context, studioID string, q FiringsQuery) ([]domain.Firing, error) {
	var firings []domain.Firing
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		site, err := readSite(ctx, tx, studio)
		if err != nil {
			return err
		}
		if _, err := furnacesAsked(site, q.FurnaceIDs); err != nil {
			return err
		}
		query := store.FiringsQuery{
			Window: q.Window, FurnaceIDs: q.FurnaceIDs, ShowEnded: q.ShowEnded, SharedOnly: q.JoinableOnly,
			AfterStart: q.AfterStart, AfterKey: q.AfterKey, Limit: q.Limit,
		}
		if q.JoinableOnly {
			query.Limit = 0 // what is full or past is known only once it is read, and few are shared
		}
		if firings, err = tx.FiringsOver(ctx, studio.Key, query); err != nil || !q.JoinableOnly {
			return err
		}
		firings = slices.DeleteFunc(firings, func(f domain.Firing) bool { return !f.Joinable(a.now()) })
		firings = firings[:min(len(firings), q.Limit)]
		return nil
	})
	return firings, err
}
