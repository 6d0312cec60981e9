package store

import (
	"context"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// InsertTimeRequest stores a new request for time.
func (t *Tx) InsertTimeRequest(ctx context.Context, studioKey int64, r domain.TimeRequest) error {
	body, err := encode(r.Name(), r)
	if err != nil {
		return err
	}
	return t.q.InsertTimeRequest(ctx, queries.InsertTimeRequestParams{
		StudioKey: studioKey, AskedRevision: r.AskedRevision, Asker: r.Asker, IsOpen: r.IsOpen(), EndTime: r.Window.End,
		Revision: r.Revision, Body: body, CreateTime: r.CreateTime,
	})
}

// TimeRequest returns one as it stands, also after it ended, or domain.ErrNotFound.
func (t *Tx) TimeRequest(ctx context.Context, studioKey int64, id string) (domain.TimeRequest, error) {
	row, err := t.q.GetTimeRequest(ctx, queries.GetTimeRequestParams{StudioKey: studioKey, AskedRevision: domain.TimeRequestRevision(id)})
	if err != nil {
		return domain.TimeRequest{}, named(err, "timeRequests", id)
	}
	return toTimeRequest(queries.OpenTimeRequestsRow(row))
}

// TimeRequestsQuery asks for requests for time of one studio.
type TimeRequestsQuery struct {
	Asker         string // empty: anybody's
	AfterRevision int64
	ShowEnded     bool
	Limit         int // 0: all
}

// ListTimeRequests returns requests as they were written down, in the order of asking.
func (t *Tx) ListTimeRequests(ctx context.Context, studioKey int64, q TimeRequestsQuery) ([]domain.TimeRequest, error) {
	rows, err := t.q.ListTimeRequests(ctx, queries.ListTimeRequestsParams{
		StudioKey: studioKey, Asker: q.Asker, AfterRevision: q.AfterRevision, ShowEnded: q.ShowEnded, At: t.at, MaxRows: int64(q.Limit),
	})
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, func(row queries.ListTimeRequestsRow) (domain.TimeRequest, error) {
		return toTimeRequest(queries.OpenTimeRequestsRow(row))
	})
}

// OpenTimeRequests returns those that wait or are offered something, as they were written down, in the order of asking.
func (t *Tx) OpenTimeRequests(ctx context.Context, studioKey int64) ([]domain.TimeRequest, error) {
	rows, err := t.q.OpenTimeRequests(ctx, queries.OpenTimeRequestsParams{StudioKey: studioKey, At: t.at})
	if err != nil {
		return nil, err
	}
	return decodeAll(rows, toTimeRequest)
}

func toTimeRequest(row queries.OpenTimeRequestsRow) (domain.TimeRequest, error) {
	r, err := decode[domain.TimeRequest]("a request for time", row.Body)
	r.AskedRevision, r.Revision, r.CreateTime = row.AskedRevision, row.Revision, row.CreateTime
	return r, err
}

// timeRequests writes requests as they now stand.
func (w writer) timeRequests(ctx context.Context) error {
	for _, r := range w.TimeRequests {
		body, err := encode(r.Name(), r)
		if err != nil {
			return err
		}
		var expires time.Time
		if r.Offer != nil {
			expires = r.Offer.ExpireTime
		}
		_, err = w.q.UpdateTimeRequest(ctx, queries.UpdateTimeRequestParams{
			StudioKey: w.Studio.Key, AskedRevision: r.AskedRevision, IsOpen: r.IsOpen(), OfferExpireTime: orNull(expires),
			Revision: r.Revision, Body: body,
		})
		if err != nil {
			return err
		}
		w.record.expect(1)
	}
	return nil
}
