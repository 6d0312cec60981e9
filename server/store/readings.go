package store

import (
	"context"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// InsertReading stores a new reading.
func (t *Tx) InsertReading(ctx context.Context, studioKey int64, r domain.Reading) error {
	body, err := encode(r.Name(), r)
	if err != nil {
		return err
	}
	return t.q.InsertReading(ctx, queries.InsertReadingParams{
		StudioKey: studioKey, NotedRevision: r.NotedRevision, RoomID: r.Room, ReadTime: r.ReadTime, IsUnexplained: r.Unexplained,
		Revision: r.Revision, Body: body, CreateTime: r.CreateTime,
	})
}

// UpdateReading stores a reading as it now stands.
func (t *Tx) UpdateReading(ctx context.Context, studioKey int64, r domain.Reading) error {
	body, err := encode(r.Name(), r)
	if err != nil {
		return err
	}
	return t.q.UpdateReading(ctx, queries.UpdateReadingParams{
		StudioKey: studioKey, NotedRevision: r.NotedRevision, IsUnexplained: r.Unexplained, Revision: r.Revision, Body: body,
	})
}

// Reading returns one, or domain.ErrNotFound.
func (t *Tx) Reading(ctx context.Context, studioKey int64, id string) (domain.Reading, error) {
	row, err := t.q.GetReading(ctx, queries.GetReadingParams{StudioKey: studioKey, NotedRevision: domain.ReadingRevision(id)})
	if err != nil {
		return domain.Reading{}, named(err, "readings", id)
	}
	return toReading(queries.UnexplainedReadingsRow(row))
}

// ReadingsQuery asks for readings of one studio.
type ReadingsQuery struct {
	Room           string // empty: of any
	BeforeRevision int64  // 0: from the newest
	Limit          int    // 0: all
}

// ListReadings returns readings, the last noted first.
func (t *Tx) ListReadings(ctx context.Context, studioKey int64, q ReadingsQuery) ([]domain.Reading, error) {
	rows, err := t.q.ListReadings(ctx, queries.ListReadingsParams{
		StudioKey: studioKey, RoomID: q.Room, BeforeRevision: q.BeforeRevision, MaxRows: int64(q.Limit),
	})
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, func(row queries.ListReadingsRow) (domain.Reading, error) {
		return toReading(queries.UnexplainedReadingsRow(row))
	})
}

// UnexplainedReadings returns those that nobody has explained and that were read after an instant, the latest first.
func (t *Tx) UnexplainedReadings(ctx context.Context, studioKey int64, since time.Time) ([]domain.Reading, error) {
	rows, err := t.q.UnexplainedReadings(ctx, queries.UnexplainedReadingsParams{StudioKey: studioKey, Since: since})
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, toReading)
}

func toReading(row queries.UnexplainedReadingsRow) (domain.Reading, error) {
	r, err := decode[domain.Reading]("a reading", row.Body)
	r.NotedRevision, r.Revision, r.CreateTime = row.NotedRevision, row.Revision, row.CreateTime
	return r, err
}
