package store

import (
	"context"

	"saggar/chem/air"
	"saggar/server/domain"
	"saggar/server/store/queries"
)

// Studio returns the studio with an id, or domain.ErrNotFound.
func (t *Tx) Studio(ctx context.Context, id string) (domain.Studio, error) {
	row, err := t.q.GetStudio(ctx, id)
	if err != nil {
		return domain.Studio{}, named(err, "studios", id)
	}
	return toStudio(row)
}

// LockStudio is Studio, and makes every other writer of the studio wait until this transaction ends. What is read
// afterwards is as the last writer left it.
func (t *Tx) LockStudio(ctx context.Context, id string) (domain.Studio, error) {
	row, err := t.q.LockStudio(ctx, id)
	if err != nil {
		return domain.Studio{}, named(err, "studios", id)
	}
	return toStudio(row)
}

// ListStudios returns the studios with ids after the given one, by id, at most limit; 0: all. among limits them to those
// ids; nil: every studio.
func (t *Tx) ListStudios(ctx context.Context, among []string, after string, limit int) ([]domain.Studio, error) {
	rows, err := t.q.ListStudios(ctx, queries.ListStudiosParams{
		Every: among == nil, StudioIds: noNull(among), AfterID: after, MaxRows: int64(limit),
	})
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, toStudio)
}

// InsertStudio stores a new studio and returns it with its key and its creation as stored. Errors:
// domain.ErrAlreadyExists.
func (t *Tx) InsertStudio(ctx context.Context, s domain.Studio) (domain.Studio, error) {
	ownLimits, err := encodeOwnLimits(s)
	if err != nil {
		return domain.Studio{}, err
	}
	row, err := t.q.InsertStudio(ctx, queries.InsertStudioParams{
		StudioID: s.ID, Title: s.Title, TimeZone: s.TimeZone,
		StepMinutes: int32(s.StepMinutes), ChargeMinutes: int32(s.ChargeMinutes), DrawMinutes: int32(s.DrawMinutes), CleanMinutes: int32(s.CleanMinutes),
		AcidMistFraction: s.AcidMistFraction, OwnLimits: ownLimits, OfferMinutes: int32(s.OfferMinutes),
		InterlockTestMonths: int32(s.InterlockTestMonths),
		Revision:            s.Revision, EquipmentRevision: s.EquipmentRevision, OwnRevision: s.OwnRevision, CreateTime: s.CreateTime,
	})
	if err != nil {
		return domain.Studio{}, taken(err, "studios", s.ID)
	}
	s.Key, s.CreateTime = row.StudioKey, row.CreateTime
	return s, nil
}

// UpdateStudio stores a studio's own fields and its three revisions by its key. Errors: domain.ErrNotFound.
func (t *Tx) UpdateStudio(ctx context.Context, s domain.Studio) error {
	ownLimits, err := encodeOwnLimits(s)
	if err != nil {
		return err
	}
	count, err := t.q.UpdateStudio(ctx, queries.UpdateStudioParams{
		StudioKey: s.Key, ChainSha256: s.ChainSHA256[:], Title: s.Title, TimeZone: s.TimeZone,
		StepMinutes: int32(s.StepMinutes), ChargeMinutes: int32(s.ChargeMinutes), DrawMinutes: int32(s.DrawMinutes), CleanMinutes: int32(s.CleanMinutes),
		AcidMistFraction: s.AcidMistFraction, OwnLimits: ownLimits, OfferMinutes: int32(s.OfferMinutes),
		InterlockTestMonths: int32(s.InterlockTestMonths),
		Revision:            s.Revision, EquipmentRevision: s.EquipmentRevision, OwnRevision: s.OwnRevision,
	})
	if err == nil && count == 0 {
		return domain.NotFound("studios/" + s.ID)
	}
	return err
}

// encodeOwnLimits writes no limits as an empty list, as the column's default has it.
func encodeOwnLimits(s domain.Studio) ([]byte, error) {
	if len(s.OwnLimits) == 0 {
		return []byte("[]"), nil
	}
	return encode("studios/"+s.ID, s.OwnLimits)
}

func toStudio(row queries.Studio) (domain.Studio, error) {
	ownLimits, err := decode[[]air.OwnLimit]("studios/"+row.StudioID, row.OwnLimits)
	if len(ownLimits) == 0 {
		ownLimits = nil
	}
	s := domain.Studio{
		Key: row.StudioKey, ID: row.StudioID, Title: row.Title, TimeZone: row.TimeZone,
		StepMinutes: int(row.StepMinutes), ChargeMinutes: int(row.ChargeMinutes), DrawMinutes: int(row.DrawMinutes), CleanMinutes: int(row.CleanMinutes),
		AcidMistFraction: row.AcidMistFraction, OwnLimits: ownLimits, OfferMinutes: int(row.OfferMinutes),
		InterlockTestMonths: int(row.InterlockTestMonths),
		Revision:            row.Revision, EquipmentRevision: row.EquipmentRevision, OwnRevision: row.OwnRevision,
		CreateTime: row.CreateTime,
	}
	copy(s.ChainSHA256[:], row.ChainSha256)
	return s, err
}
