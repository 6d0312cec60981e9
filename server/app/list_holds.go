package app

import (
	"context"
	"time"

	"saggar/server/domain"
	"saggar/server/store"
)

// HoldsQuery says which holds are wanted: of one vessel or piece of gear, or of all.
type HoldsQuery struct {
	Kind domain.EquipmentKind
	ID   string
	// EndsAfter leaves out those that were over then; zero: those that are over now.
	EndsAfter time.Time
	// AfterStart and AfterKey are start and key of the last hold of the page before.
	AfterStart time.Time
	AfterKey   int64
	Limit      int
}

// ListHolds lists which runs have what, by start. Errors: domain.ErrNotFound for the studio, and for what is asked about.
func (a *App) ListHolds(ctx context.Context, studioID string, q HoldsQuery) ([]domain.BookedHold, error) {
	var holds []domain.BookedHold
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		query := store.HoldsQuery{
			Kind: q.Kind, EndsAfter: q.EndsAfter, AfterStart: q.AfterStart, AfterKey: q.AfterKey, Limit: q.Limit,
		}
		if query.EndsAfter.IsZero() {
			query.EndsAfter = a.now()
		}
		if q.ID != "" {
			query.IDs = []string{q.ID}
			if _, err := tx.EquipmentOne(ctx, studio.Key, q.Kind, q.ID); err != nil {
				return err
			}
		}
		holds, err = tx.Holds(ctx, studio.Key, query)
		return err
	})
	return holds, err
}
