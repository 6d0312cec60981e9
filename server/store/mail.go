package store

import (
	"context"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// MailChoice returns somebody's, or domain.ErrNotFound.
func (t *Tx) MailChoice(ctx context.Context, studioKey int64, personID string) (domain.MailChoice, error) {
	row, err := t.q.GetMailChoice(ctx, queries.GetMailChoiceParams{StudioKey: studioKey, PersonID: personID})
	return toMailChoice(row), named(err, "mailChoices", personID)
}

// ListMailChoices returns those with ids after the given one, by id, at most limit; 0: all. owner limits them to one person's.
func (t *Tx) ListMailChoices(ctx context.Context, studioKey int64, owner, after string, limit int) ([]domain.MailChoice, error) {
	rows, err := t.q.ListMailChoices(ctx, queries.ListMailChoicesParams{
		StudioKey: studioKey, Owner: owner, AfterID: after, MaxRows: int64(limit),
	})
	return collect(rows, toMailChoice), err
}

// PutMailChoice stores one, new or in place of the one that stands. Errors: domain.ErrNotFound for nobody of the studio.
func (t *Tx) PutMailChoice(ctx context.Context, studioKey int64, m domain.MailChoice) error {
	return t.q.PutMailChoice(ctx, queries.PutMailChoiceParams{
		StudioKey: studioKey, PersonID: m.PersonID, Email: m.Email, Pace: string(m.Pace), Revision: m.Revision, ToldRevision: m.ToldRevision,
		NextTime: m.NextTime,
	})
}

// ClaimMail gives the next person who is due to this server until the lease ends, with at most so many revisions to tell of.
// Errors: domain.ErrNotFound when nobody is due whom no other server has.
func (t *Tx) ClaimMail(ctx context.Context, now, lease time.Time, mostRevisions int64) (domain.MailClaim, error) {
	row, err := t.q.ClaimMail(ctx, queries.ClaimMailParams{Now: now, LeaseTime: lease, MostRevisions: mostRevisions})
	return domain.MailClaim{
		StudioID: row.StudioID, StudioKey: row.StudioKey, Until: row.PendingRevision, Choice: domain.MailChoice{
			PersonID: row.PersonID, Email: row.Email, Pace: domain.MailPace(row.Pace), Revision: row.Revision,
			ToldRevision: row.ToldRevision, Attempts: int(row.Attempts),
		},
	}, err
}

// MailEnd is how a claim ended.
type MailEnd struct {
	NextTime time.Time
	Failure  string    // empty: it did not fail
	SentTime time.Time // zero: nothing was sent
	// DroppedTime is when the letter was given up; zero: it was not.
	DroppedTime time.Time
}

// EndMail notes that a claim is done with. A choice that changed meanwhile stays as it is.
func (t *Tx) EndMail(ctx context.Context, c domain.MailClaim, end MailEnd) error {
	return t.q.EndMail(ctx, queries.EndMailParams{
		StudioKey: c.StudioKey, PersonID: c.Choice.PersonID, Revision: c.Choice.Revision, ToldRevision: c.Until, NextTime: end.NextTime,
		Failure: end.Failure, SentTime: orNull(end.SentTime), DroppedTime: orNull(end.DroppedTime),
	})
}

// DelayMail lets a claim be tried again later.
func (t *Tx) DelayMail(ctx context.Context, c domain.MailClaim, next time.Time, failure string) error {
	return t.q.DelayMail(ctx, queries.DelayMailParams{
		StudioKey: c.StudioKey, PersonID: c.Choice.PersonID, Revision: c.Choice.Revision, PendingRevision: &c.Until, NextTime: next,
		Failure: failure,
	})
}

func toMailChoice(row queries.MailChoice) domain.MailChoice {
	return domain.MailChoice{
		PersonID: row.PersonID, Email: row.Email, Pace: domain.MailPace(row.Pace), Revision: row.Revision, ToldRevision: row.ToldRevision,
		NextTime: row.NextTime, Attempts: int(row.Attempts), Failure: row.Failure, SentTime: orZero(row.SentTime),
		DroppedTime: orZero(row.DroppedTime),
	}
}
