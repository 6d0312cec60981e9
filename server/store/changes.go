package store

import (
	"bytes"
	"context"
	"encoding/json"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// AppendChange adds an entry to the studio's log, under the studio's lock, and puts its link into the studio, which must be
// stored afterwards. Errors: domain.ErrChangedMeanwhile when the revision is taken, which the lock prevents.
func (t *Tx) AppendChange(ctx context.Context, studio *domain.Studio, c domain.Change) error {
	arg, err := changeParams(studio, c)
	if err != nil {
		return err
	}
	t.changed[studio.Key] = true
	return t.q.InsertChange(ctx, arg)
}

// TraceHeads returns where the trace of each studio ends, by studio.
func (t *Tx) TraceHeads(ctx context.Context) ([]domain.TraceHead, error) {
	rows, err := t.q.TraceHeads(ctx)
	return collect(rows, func(row queries.TraceHeadsRow) domain.TraceHead {
		head := domain.TraceHead{StudioID: row.StudioID, Revision: row.Revision}
		copy(head.ChainSHA256[:], row.ChainSha256)
		return head
	}), err
}

// ListChanges returns the changes after a revision in order, at most limit; 0: all. Before and After are
// json.RawMessage, or nil when there was nothing.
func (t *Tx) ListChanges(ctx context.Context, studioKey int64, after int64, limit int) ([]domain.Change, error) {
	rows, err := t.q.ListChanges(ctx, queries.ListChangesParams{
		StudioKey: studioKey, AfterRevision: after, MaxRows: int64(limit),
	})
	return collect(rows, toChange), err
}

// changeParams links an entry to the studio's chain.
func changeParams(studio *domain.Studio, c domain.Change) (queries.InsertChangeParams, error) {
	before, err := encodeOrNull(c.Subject, c.Before)
	if err != nil {
		return queries.InsertChangeParams{}, err
	}
	after, err := encodeOrNull(c.Subject, c.After)
	if err != nil {
		return queries.InsertChangeParams{}, err
	}
	link, err := c.Link(studio.ID, studio.ChainSHA256)
	if err != nil {
		return queries.InsertChangeParams{}, err
	}
	studio.ChainSHA256 = link
	arg := queries.InsertChangeParams{
		StudioKey: studio.Key, KeyID: c.KeyID, CallerAddress: c.Address, CallID: c.CallID, ChainSha256: link[:],
		Revision: c.Revision, ChangeTime: c.Time, CallerID: c.Caller, Method: c.Method,
		Subject: c.Subject, Before: before, After: after,
	}
	if c.RequestID != "" {
		arg.RequestID = &c.RequestID
	}
	return arg, nil
}

// encodeOrNull encodes a value, or gives nil for one that is nothing.
func encodeOrNull(subject string, value any) ([]byte, error) {
	body, err := encode(subject, value)
	if err != nil || bytes.Equal(body, []byte("null")) {
		return nil, err
	}
	return body, nil
}

func toChange(row queries.Change) domain.Change {
	c := domain.Change{
		KeyID: row.KeyID, Address: row.CallerAddress, CallID: row.CallID,
		Revision: row.Revision, Time: row.ChangeTime, Caller: row.CallerID, Method: row.Method, Subject: row.Subject,
	}
	if row.RequestID != nil {
		c.RequestID = *row.RequestID
	}
	if row.ChainSha256 != nil {
		c.Linked = true
		copy(c.ChainSHA256[:], row.ChainSha256)
	}
	if row.Before != nil {
		c.Before = json.RawMessage(row.Before)
	}
	if row.After != nil {
		c.After = json.RawMessage(row.After)
	}
	return c
}
