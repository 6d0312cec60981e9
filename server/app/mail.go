package app

import (
	"context"
	"errors"
	"fmt"
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

const (
	// mailLease is how long one server has a letter to itself; sending is given up well before.
	mailLease = 5 * time.Minute
	// sendPatience bounds the sending of one letter.
	sendPatience = 90 * time.Second
	// mostMailAttempts are made at one letter, with pauses that double from the first to the longest: about a day and a half.
	mostMailAttempts  = 12
	firstMailPause    = time.Minute
	longestMailPause  = 6 * time.Hour
	mostMailRevisions = 2000
	mostFailureBytes  = 500
)

// SendFunc sends a letter. domain.LetterRefused when it will never be taken; any other error may pass.
type SendFunc func(ctx context.Context, letter domain.Letter) error

// SendMail says that this server sends letters. Call it before the first request; without it no choice is taken.
func (a *App) SendMail(send SendFunc) { a.send = send }

// GetMailChoice returns somebody's. Errors: domain.ErrNotFound, also for somebody else's that the caller may not see.
func (a *App) GetMailChoice(ctx context.Context, call Call, studioID, personID string) (found domain.MailChoice, err error) {
	if !call.mayTouch(personID) {
		return found, domain.NotFound("mailChoices/" + personID)
	}
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		found, err = tx.MailChoice(ctx, studio.Key, personID)
		return err
	})
	return found, err
}

// ListMailChoices lists those of a studio by id. Who may see only their own gets only that.
func (a *App) ListMailChoices(ctx context.Context, call Call, studioID string, page Page) (list []domain.MailChoice, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		list, err = tx.ListMailChoices(ctx, studio.Key, call.ownerFilter(), page.After, page.Limit)
		return err
	})
	return list, err
}

// UpdateMailChoice changes where and how often somebody is written to. Who was not written to before is told of what happens
// from now on. Errors: finding.Faults; domain.ErrNotFound, also for somebody else's; domain.ErrChangedMeanwhile;
// domain.ErrWrongState when the server sends no letters.
func (a *App) UpdateMailChoice(
	ctx context.Context, call Call, studioID string, given domain.MailChoice, expect Expectation,
) (domain.MailChoice, error) {
	name := "mailChoices/" + given.PersonID
	switch {
	case !call.mayTouch(given.PersonID):
		return given, domain.NotFound(name)
	case a.send == nil:
		return given, &domain.Error{
			Kind: domain.ErrWrongState, Subject: name, Message: "this server sends no letters", Cure: "start saggard with --mail-server",
		}
	}
	if err := given.Check().Err(); err != nil {
		return given, err
	}
	err := a.rosterChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (entry domain.Change, err error) {
		present, err := tx.MailChoice(ctx, studio.Key, given.PersonID)
		exists, err := expect.met(name, present.Revision, err)
		if err != nil {
			return entry, err
		}
		zone, err := domain.LoadZone(studio.TimeZone)
		if err != nil {
			return entry, err
		}
		given.Revision, given.NextTime = studio.Revision, given.Pace.Next(a.now(), zone)
		if given.Pace == domain.MailAtOnce {
			given.NextTime = a.now()
		}
		if given.ToldRevision = studio.Revision; exists && present.Email != "" && present.Pace != domain.MailNone {
			given.ToldRevision = present.ToldRevision
		}
		entry = a.logged(call, studio.Revision, name, orNothing(exists, loggedMail(present)), loggedMail(given))
		return entry, nobodyFault(call, given.PersonID, tx.PutMailChoice(ctx, studio.Key, given))
	})
	return given, err
}

// nobodyFault says of somebody who is not among a studio's people that nothing can be theirs there.
func nobodyFault(call Call, personID string, err error) error {
	if !errors.Is(err, domain.ErrNotFound) {
		return err
	}
	return finding.Faults{{Field: "name", Message: "there is no person " + personID + " in the studio", Cure: addThem(call, personID)}}
}

// addThem says how somebody becomes one of a studio's people, also to a caller whose key opens the studio though they are none
// of them, as the first steward's does.
func addThem(call Call, personID string) string {
	if personID != call.Caller.ID {
		return "add them first, as with 'saggar person add " + personID + " --role maker'"
	}
	return "your key opens every studio though you are none of this one's people: add yourself first, as with 'saggar person add " +
		personID + " --role steward'"
}

// loggedMail is what the log keeps, which nobody can take anything out of: no address.
func loggedMail(m domain.MailChoice) any {
	return map[string]any{"caller": m.PersonID, "pace": m.Pace, "has_email": m.Email != ""}
}

// DeliverMail looks after one person who is due: writes to them when something happened to them, and notes how far they were
// told. Any number of servers may do so at a time. A letter is noted as sent after it was; a crash between the two sends it
// again, under the same id. due is false when nobody is. The error is why a letter was not sent, which is noted too.
func (a *App) DeliverMail(ctx context.Context) (due bool, err error) {
	var claim domain.MailClaim
	err = a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		claim, err = tx.ClaimMail(ctx, a.now(), a.now().Add(mailLease), mostMailRevisions)
		return err
	})
	if errors.Is(err, domain.ErrNotFound) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	letter, zone, err := a.letterFor(ctx, claim)
	if err != nil {
		return true, errors.Join(err, a.delay(ctx, claim, err))
	}
	end := store.MailEnd{NextTime: claim.Choice.Pace.Next(a.now(), zone)}
	if letter != nil {
		sending, cancel := context.WithTimeout(ctx, sendPatience)
		defer cancel()
		err = a.send(sending, *letter)
		_, refused := errors.AsType[domain.LetterRefused](err)
		switch {
		case err == nil:
			end.SentTime = a.now()
		case refused || claim.Choice.Attempts >= mostMailAttempts:
			end.Failure, end.DroppedTime = failureText(err), a.now()
		default:
			return true, errors.Join(fmt.Errorf("a letter to %s: %w", claim.Choice.PersonID, err), a.delay(ctx, claim, err))
		}
	}
	noted := a.store.InTx(context.WithoutCancel(ctx), func(ctx context.Context, tx *store.Tx) error { return tx.EndMail(ctx, claim, end) })
	return true, errors.Join(err, noted)
}

// delay notes why a letter was not sent and when it is tried again.
func (a *App) delay(ctx context.Context, claim domain.MailClaim, why error) error {
	pause := min(firstMailPause<<min(claim.Choice.Attempts-1, 20), longestMailPause)
	return a.store.InTx(context.WithoutCancel(ctx), func(ctx context.Context, tx *store.Tx) error {
		return tx.DelayMail(ctx, claim, a.now().Add(pause), failureText(why))
	})
}

// failureText is a failure for stewards, short and on one line.
func failureText(err error) string {
	text := []rune(domain.OneLine(err.Error()))
	return string(text[:min(len(text), mostFailureBytes)])
}
