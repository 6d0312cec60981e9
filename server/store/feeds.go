package store

import (
	"context"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// InsertFeed stores a feed.
func (t *Tx) InsertFeed(ctx context.Context, f domain.Feed) error {
	return t.q.InsertFeed(ctx, queries.InsertFeedParams{
		StudioKey: f.StudioKey, FeedID: f.ID, SecretSha256: f.SecretSHA256[:], Owner: f.Owner, Subject: f.Subject, Label: f.Label,
		CreateTime: f.CreateTime,
	})
}

// Feed returns one of a studio, also after it was revoked, or domain.ErrNotFound.
func (t *Tx) Feed(ctx context.Context, studioKey int64, id string) (domain.Feed, error) {
	row, err := t.q.GetFeed(ctx, queries.GetFeedParams{StudioKey: studioKey, FeedID: id})
	return toFeed(row), named(err, "feeds", id)
}

// FeedsQuery asks for feeds of one studio.
type FeedsQuery struct {
	StudioKey     int64
	Owner         string // empty: anybody's
	BeforeOrdinal int64  // 0: from the newest
	ShowEnded     bool
	Limit         int // 0: all
}

// ListFeeds returns feeds, newest first.
func (t *Tx) ListFeeds(ctx context.Context, q FeedsQuery) ([]domain.Feed, error) {
	rows, err := t.q.ListFeeds(ctx, queries.ListFeedsParams{
		StudioKey: q.StudioKey, Owner: q.Owner, BeforeOrdinal: q.BeforeOrdinal, ShowEnded: q.ShowEnded, MaxRows: int64(q.Limit),
	})
	return collect(rows, toFeed), err
}

// RevokeFeed ends a feed for good; one that was revoked before stays so since then.
func (t *Tx) RevokeFeed(ctx context.Context, studioKey int64, id string, at time.Time) error {
	return t.q.RevokeFeed(ctx, queries.RevokeFeedParams{StudioKey: studioKey, FeedID: id, RevokeTime: at})
}

// FindFeed returns the feed that stands under the SHA-256 of an address's secret, in one read by index, or
// domain.ErrNotFound, also for one that was revoked.
func (s *Store) FindFeed(ctx context.Context, sha256 [32]byte) (domain.Feed, error) {
	var row queries.FindFeedRow
	err := s.readOne(ctx, func(q *queries.Queries) (err error) {
		row, err = q.FindFeed(ctx, sha256[:])
		return err
	})
	f := domain.Feed{
		StudioKey: row.StudioKey, StudioID: row.StudioID, ID: row.FeedID, Owner: row.Owner, Subject: row.Subject, Label: row.Label,
		CreateTime: row.CreateTime, LastReadTime: orZero(row.LastReadTime),
	}
	copy(f.SecretSHA256[:], row.SecretSha256)
	return f, err
}

// TouchFeed notes when a feed was read.
func (t *Tx) TouchFeed(ctx context.Context, studioKey int64, id string, at time.Time) error {
	return t.q.TouchFeed(ctx, queries.TouchFeedParams{StudioKey: studioKey, FeedID: id, At: at})
}

// AppointmentsQuery asks for loads that end after an instant; what is empty is not looked at.
type AppointmentsQuery struct {
	Since               time.Time
	Person              string // whose run it is, or who attends it
	Department, Furnace string
	Limit               int
}

// Appointments returns loads by start, with the phases of their firings.
func (t *Tx) Appointments(ctx context.Context, studioKey int64, q AppointmentsQuery) ([]domain.Appointment, error) {
	rows, err := t.q.FeedLoads(ctx, queries.FeedLoadsParams{
		StudioKey: studioKey, Since: q.Since, Person: q.Person, Department: q.Department, FurnaceID: q.Furnace, MaxRows: int64(q.Limit),
	})
	if err != nil {
		return nil, err
	}
	var firingKeys []int64
	for _, row := range rows {
		firingKeys = append(firingKeys, row.FiringKey)
	}
	phases, err := t.q.PhasesOfFirings(ctx, queries.PhasesOfFiringsParams{StudioKey: studioKey, FiringKeys: firingKeys})
	if err != nil {
		return nil, err
	}
	byFiring := map[int64][]domain.FiringPhase{}
	for _, p := range phases {
		byFiring[p.FiringKey] = append(byFiring[p.FiringKey], toPhase(p))
	}
	return collect(rows, func(row queries.FeedLoadsRow) domain.Appointment {
		return domain.Appointment{
			RunID: row.RunID, RunTitle: row.Title, RecipeID: row.RecipeID, Department: row.Department, Maker: row.Maker,
			Stage: row.StageID, State: domain.LoadState(row.State), Window: domain.Window{Start: row.StartTime, End: row.EndTime},
			Firing: row.FiringID, SharedBy: row.SharedBy, Furnace: row.FurnaceID, Phases: byFiring[row.FiringKey], RunCreateTime: row.CreateTime, Revision: row.Revision,
			ChangeTime: row.ChangeTime, AttendedBy: row.AttendedBy,
		}
	}), nil
}

func toFeed(row queries.Feed) domain.Feed {
	f := domain.Feed{
		StudioKey: row.StudioKey, ID: row.FeedID, Ordinal: row.Ordinal, Owner: row.Owner, Subject: row.Subject, Label: row.Label,
		CreateTime: row.CreateTime, RevokeTime: orZero(row.RevokeTime), LastReadTime: orZero(row.LastReadTime),
	}
	copy(f.SecretSHA256[:], row.SecretSha256)
	return f
}
