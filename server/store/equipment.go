package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5/pgconn"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// Equipment returns everything that a studio has, by kind and id.
func (t *Tx) Equipment(ctx context.Context, studioKey int64) ([]domain.Equipment, error) {
	rows, err := t.q.AllEquipment(ctx, studioKey)
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, toEquipment)
}

// EquipmentOne returns one resource, or domain.ErrNotFound.
func (t *Tx) EquipmentOne(ctx context.Context, studioKey int64, kind domain.EquipmentKind, id string) (domain.Equipment, error) {
	row, err := t.q.GetEquipment(ctx, queries.GetEquipmentParams{StudioKey: studioKey, Kind: string(kind), EquipmentID: id})
	if err != nil {
		return domain.Equipment{}, named(err, string(kind), id)
	}
	return toEquipment(queries.AllEquipmentRow(row))
}

// ListEquipment returns a kind's resources with ids after the given one, by id, at most limit; 0: all.
func (t *Tx) ListEquipment(
	ctx context.Context, studioKey int64, kind domain.EquipmentKind, after string, limit int,
) ([]domain.Equipment, error) {
	rows, err := t.q.ListEquipment(ctx, queries.ListEquipmentParams{
		StudioKey: studioKey, Kind: string(kind), AfterID: after, MaxRows: int64(limit),
	})
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, func(row queries.ListEquipmentRow) (domain.Equipment, error) {
		return toEquipment(queries.AllEquipmentRow(row))
	})
}

// PutEquipment stores a resource, new or in place of the one with its kind and id, and returns it with its key, which
// stays. Errors: domain.ErrNotFound when there is no such studio.
func (t *Tx) PutEquipment(ctx context.Context, studioKey int64, e domain.Equipment) (domain.Equipment, error) {
	body, err := encode(e.Name(), e.Body())
	if err != nil {
		return domain.Equipment{}, err
	}
	e.Key, err = t.q.PutEquipment(ctx, queries.PutEquipmentParams{
		StudioKey: studioKey, Kind: string(e.Kind), EquipmentID: e.ID, Revision: e.Revision, Body: body,
	})
	return e, err
}

// DeleteEquipment removes a resource. Errors: domain.ErrNotFound; domain.ErrWrongState for a furnace that has firings, and a vessel
// or gear that a run has had.
func (t *Tx) DeleteEquipment(ctx context.Context, studioKey int64, kind domain.EquipmentKind, id string) error {
	count, err := t.q.DeleteEquipment(ctx, queries.DeleteEquipmentParams{
		StudioKey: studioKey, Kind: string(kind), EquipmentID: id,
	})
	name := string(kind) + "/" + id
	if pgErr, ok := errors.AsType[*pgconn.PgError](err); ok && pgErr.Code == codeForeignKey {
		refused := &domain.Error{
			Kind: domain.ErrWrongState, Subject: name, Message: name + " has firings", Cure: "close it instead of deleting it",
		}
		if kind != domain.KindFurnace {
			refused.Message, refused.Cure = "runs have had "+name, "take it out of use instead of deleting it"
		}
		return refused
	}
	if err == nil && count == 0 {
		return domain.NotFound(name)
	}
	return err
}

func toEquipment(row queries.AllEquipmentRow) (domain.Equipment, error) {
	e, known := domain.NewBody(domain.EquipmentKind(row.Kind))
	if !known {
		return e, fmt.Errorf("read the stored %s/%s: this server does not know the kind", row.Kind, row.EquipmentID)
	}
	e.ID, e.Key, e.Revision = row.EquipmentID, row.EquipmentKey, row.Revision
	if err := json.Unmarshal(row.Body, e.Body()); err != nil {
		return e, fmt.Errorf("read the stored %s: %w", e.Name(), err)
	}
	if c := e.Closure; c != nil {
		c.Start, c.End = c.Start.UTC(), c.End.UTC()
	}
	if v := e.Vessel; v != nil {
		v.HeldTime = v.HeldTime.UTC()
	}
	if g := e.Gear; g != nil {
		g.UsedTime = g.UsedTime.UTC()
	}
	return e, nil
}
