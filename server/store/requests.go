package store

import (
	"context"
	"errors"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// Remembered returns what a caller's request id did, or nil when it did nothing yet or is empty.
func (t *Tx) Remembered(ctx context.Context, studioKey int64, caller, requestID string) (*domain.Remembered, error) {
	if requestID == "" {
		return nil, nil
	}
	row, err := t.q.GetRequest(ctx, queries.GetRequestParams{StudioKey: studioKey, CallerID: caller, RequestID: requestID})
	if errors.Is(err, domain.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return toRemembered(row), nil
}

// Remember stores what a request id did, under the studio's lock. Errors: domain.ErrAlreadyExists when the id is known.
func (t *Tx) Remember(ctx context.Context, studioKey int64, r domain.Remembered, now time.Time) error {
	return t.q.InsertRequest(ctx, requestParams(studioKey, r, now))
}

// ForgetRequestsBefore removes the request ids of all studios that were remembered before an instant.
func (t *Tx) ForgetRequestsBefore(ctx context.Context, before time.Time) error {
	return t.q.DeleteRequestsBefore(ctx, before)
}

func requestParams(studioKey int64, r domain.Remembered, now time.Time) queries.InsertRequestParams {
	return queries.InsertRequestParams{
		StudioKey: studioKey, CallerID: r.Caller, RequestID: r.RequestID, Method: r.Method, BodySha256: r.BodySHA256[:],
		Resources: noNull(r.Resources), CreateTime: now,
	}
}

func toRemembered(row queries.GetRequestRow) *domain.Remembered {
	r := &domain.Remembered{
		Caller: row.CallerID, RequestID: row.RequestID, Method: row.Method, Resources: row.Resources,
	}
	copy(r.BodySHA256[:], row.BodySha256)
	return r
}
