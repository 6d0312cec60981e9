package app

import (
	"context"

	"saggar/server/domain"
	"saggar/server/store"
)

// read runs fn in one read-only snapshot of a studio.
func (a *App) read(ctx context.Context, studioID string,
	fn func(ctx context.Context, tx *store.Tx, studio domain.Studio) error,
) error {
	return a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.Studio(ctx, studioID)
		if err != nil {
			return err
		}
		return fn(ctx, tx, studio)
	})
}

// readSite returns a studio with all its equipment as it stands in the snapshot.
func readSite(ctx context.Context, tx *store.Tx, studio domain.Studio) (*domain.Site, error) {
	equipment, err := tx.Equipment(ctx, studio.Key)
	if err != nil {
		return nil, err
	}
	return domain.NewSite(studio, equipment)
}
