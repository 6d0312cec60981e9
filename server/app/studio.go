package app

import (
	"context"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// GetStudio returns one studio. Errors: domain.ErrNotFound.
func (a *App) GetStudio(ctx context.Context, id string) (domain.Studio, error) {
	var studio domain.Studio
	err := a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		studio, err = tx.Studio(ctx, id)
		return err
	})
	return studio, err
}

// ListStudios lists the studios that somebody may see, by id.
func (a *App) ListStudios(ctx context.Context, who domain.Identity, page Page) ([]domain.Studio, error) {
	var studios []domain.Studio
	err := a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		studios, err = tx.ListStudios(ctx, studiosSeen(who), page.After, page.Limit)
		return err
	})
	return studios, err
}

// UpdateStudio changes a studio's own fields. expectRevision is the OwnRevision that the caller saw; 0: any.
// Errors: finding.Faults, domain.ErrNotFound, domain.ErrChangedMeanwhile.
func (a *App) UpdateStudio(ctx context.Context, call Call, given domain.Studio, expectRevision int64) (domain.Studio, error) {
	if err := checkStudio(given).Err(); err != nil {
		return domain.Studio{}, err
	}
	var changed domain.Studio
	err := a.change(ctx, scope{call: call, studioID: given.ID},
		func(ctx context.Context, tx *store.Tx, studio domain.Studio) ([]string, error) {
			if expectRevision != 0 && expectRevision != studio.OwnRevision {
				return nil, stale("studios/" + studio.ID)
			}
			load := &studioLoad{app: a, call: call, tx: tx, studio: studio}
			if err := load.ownFields(ctx, &given); err != nil {
				return nil, err
			}
			changed = load.studio
			return []string{studio.ID}, tx.UpdateStudio(ctx, load.studio)
		},
		func(_ context.Context, _ *store.Tx, studio domain.Studio, _ []string) error {
			changed = studio
			return nil
		})
	return changed, err
}

func checkStudio(s domain.Studio) finding.Faults {
	var faults finding.Faults
	if _, err := domain.LoadZone(s.TimeZone); err != nil {
		faults = append(faults, asFaults(err)...)
	}
	if s.AcidMistFraction < 0 || s.AcidMistFraction > 1 {
		faults.Add("acid_mist_fraction", "lies outside 0 to 1", "give a share such as 0.03")
	}
	return append(faults, air.OwnLimitFaults(s.OwnLimits)...)
}
