package app

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// bookAttempts is how often a booking starts over when what it rests on changes under it.
const bookAttempts = 3

// errChangedBetween ends an attempt whose checks rest on equipment, firings or lots that changed meanwhile.
var errChangedBetween = errors.New("changed since it was looked at")

// BookRun books one or several runs, all or none. Everything is worked out before the studio is locked; under the lock
// only what came in between is looked at again.
// Errors: finding.Faults for windows that no booking could have, *domain.Refusal with all findings when one blocks or a
// warning is not acknowledged, domain.ErrAlreadyExists, domain.ErrChangedMeanwhile. With ValidateOnly the findings are in
// the result and nothing is refused.
func (a *App) BookRun(ctx context.Context, call Call, in BookRunInput) (BookRunResult, error) {
	for range bookAttempts {
		result, err := a.bookOnce(ctx, call, in)
		if !errors.Is(err, errChangedBetween) {
			return result, err
		}
	}
	return BookRunResult{}, stale("studios/" + in.StudioID)
}

func (a *App) bookOnce(ctx context.Context, call Call, in BookRunInput) (BookRunResult, error) {
	prepared, err := a.prepare(ctx, call, in)
	if err != nil || prepared.remembered != nil {
		return a.answerRepeat(ctx, call, in.StudioID, prepared, err)
	}
	if call.ValidateOnly {
		return prepared.result(prepared.runs), nil
	}
	if err := refuse(prepared.findings, in.Acknowledged); err != nil {
		if swept, lost := a.ExpireRuns(ctx); lost == nil && swept > 0 {
			return BookRunResult{}, errChangedBetween // what they reserved of lots, or was held for them, is free now
		}
		return BookRunResult{}, a.overtaken(ctx, err, in.StudioID, in.Revision)
	}
	if err := a.giveKeys(ctx, prepared.runs); err != nil {
		return BookRunResult{}, err
	}
	var booked []domain.Run
	repeated := false
	err = a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		locked, err := tx.LockForBooking(ctx, store.BookingLock{
			StudioID: in.StudioID, Since: prepared.site.Studio.Revision, Window: prepared.lockWindow(), Caller: call.Caller.ID, RequestID: call.RequestID,
		})
		if err != nil {
			return err
		}
		if locked.Remembered != nil {
			repeated = true
			prepared.remembered = locked.Remembered
			return nil
		}
		if err := prepared.lookAgainAtJoins(ctx, tx, a.now(), in.Acknowledged); err != nil {
			return err
		}
		if err := prepared.stillHolds(locked, in.Acknowledged); err != nil {
			return err
		}
		if err := prepared.stillFree(ctx, tx); err != nil {
			return err
		}
		booking := a.booking(call, a.expire(call, locked), prepared.runs)
		a.takeOffers(call, &booking, prepared)
		booked = booking.NewRuns
		prepared.revision = booking.Studio.Revision
		return lookAgain(a.book(ctx, tx, booking))
	})
	switch {
	case repeated:
		return a.answerRepeat(ctx, call, in.StudioID, prepared, err)
	case err != nil:
		return BookRunResult{}, a.overtaken(ctx, err, in.StudioID, in.Revision)
	}
	return prepared.result(booked), nil
}

// lookAgain turns what the database refused into another look: only a firing, a vessel taken or a draw on a lot that the checks
// did not see can be in the way.
func lookAgain(err error) error {
	if errors.Is(err, domain.ErrFurnaceTaken) || errors.Is(err, domain.ErrLotDrawn) || errors.Is(err, domain.ErrHeld) {
		return errChangedBetween
	}
	return err
}

// answerRepeat answers a request id that did its work already with the runs as they now stand.
func (a *App) answerRepeat(ctx context.Context, call Call, studioID string, p *prepared, err error) (BookRunResult, error) {
	if err != nil {
		return BookRunResult{}, err
	}
	if err := call.repeats(*p.remembered); err != nil {
		return BookRunResult{}, err
	}
	var result BookRunResult
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		result.Revision = studio.Revision
		for _, id := range p.remembered.Resources {
			run, err := tx.Run(ctx, studio.Key, id)
			if err != nil {
				return err
			}
			result.Runs = append(result.Runs, run)
		}
		return nil
	})
	return result, err
}

// refuse returns the refusal that the findings ask for, or nil.
func refuse(findings []finding.Finding, acknowledged []string) error {
	var open []string
	for _, f := range findings {
		if f.Severity == finding.Warn && !slices.Contains(acknowledged, f.Code) && !slices.Contains(open, f.Code) {
			open = append(open, f.Code)
		}
	}
	if len(open) == 0 && !finding.Blocks(findings) {
		return nil
	}
	sorted := slices.Clone(findings)
	finding.SortWorstFirst(sorted)
	return &domain.Refusal{Findings: sorted, Unacknowledged: open}
}

// giveKeys numbers the runs and firings that have no key yet ahead, so that one batch can write them all.
func (a *App) giveKeys(ctx context.Context, runs []domain.Run) error {
	newRuns, newFirings := 0, 0
	for _, run := range runs {
		newRuns += unkeyed(run.Key)
		for _, firing := range run.Firings() {
			newFirings += unkeyed(firing.Key)
		}
	}
	runKeys, firingKeys, err := a.store.NextKeys(ctx, newRuns, newFirings)
	if err != nil {
		return err
	}
	for i := range runs {
		run := &runs[i]
		if run.Key == 0 {
			run.Key, runKeys = runKeys[0], runKeys[1:]
		}
		if run.ID == "" {
			run.ID = fmt.Sprintf("%s-%d", run.RecipeID, run.Key)
		}
		for _, load := range run.Loads {
			if load.Firing == nil || load.Joined {
				continue
			}
			if load.Firing.Key == 0 {
				load.Firing.Key, firingKeys = firingKeys[0], firingKeys[1:]
				load.Firing.ID = fmt.Sprintf("f%d", load.Firing.Key)
			}
			load.Firing.RunID = run.ID
		}
	}
	return nil
}

func unkeyed(key int64) int {
	if key == 0 {
		return 1
	}
	return 0
}

// booking adds the runs to what one transaction writes: one revision for each.
func (a *App) booking(call Call, booking store.Booking, runs []domain.Run) store.Booking {
	studio, now := booking.Studio, a.now()
	var ids []string
	for _, run := range runs {
		studio.Revision++
		run.Revision = studio.Revision
		run.CreateTime = now
		for _, firing := range run.Firings() {
			firing.Revision = studio.Revision
		}
		booking.NewRuns = append(booking.NewRuns, run)
		booking.LotMoves = append(booking.LotMoves, run.LotMoves(nil)...)
		booking.Changes = append(booking.Changes, a.logged(call, studio.Revision, "runs/"+run.ID, nil, run.Summary()))
		ids = append(ids, run.ID)
	}
	booking.Studio = studio
	if call.RequestID != "" {
		remembered := call.remember(ids)
		booking.Remembered = &remembered
	}
	return booking
}
