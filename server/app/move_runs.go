package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// MoveRuns moves runs to other windows, all or none, and records what overran. A stage whose window has begun keeps it. A
// maker moves only runs of their own, and records no overrun.
// Errors as BookRun; domain.ErrForbidden; domain.ErrWrongState when nothing of a run is left to move. With ValidateOnly the
// findings are in the result and nothing is refused.
func (a *App) MoveRuns(ctx context.Context, call Call, in MoveRunsInput) (BookRunResult, error) {
	for range bookAttempts {
		result, err := a.moveOnce(ctx, call, in)
		if !errors.Is(err, errChangedBetween) {
			return result, err
		}
	}
	return BookRunResult{}, stale("studios/" + in.StudioID)
}

func (a *App) moveOnce(ctx context.Context, call Call, in MoveRunsInput) (BookRunResult, error) {
	m, err := a.prepareMoves(ctx, call, in)
	if err != nil || m.remembered != nil {
		return a.answerRepeat(ctx, call, in.StudioID, m.prepared, err)
	}
	if call.ValidateOnly {
		return m.result(m.runs), nil
	}
	if err := refuse(m.findings, in.Acknowledged); err != nil {
		if swept, lost := a.ExpireRuns(ctx); lost == nil && swept > 0 {
			return BookRunResult{}, errChangedBetween // what they reserved of lots, or was held for them, is free now
		}
		return BookRunResult{}, a.overtaken(ctx, err, in.StudioID, in.Revision)
	}
	if err := a.keyFirings(ctx, m); err != nil {
		return BookRunResult{}, err
	}
	if err := a.giveKeys(ctx, m.runs); err != nil {
		return BookRunResult{}, err
	}
	repeated := false
	err = a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		locked, err := tx.LockForBooking(ctx, store.BookingLock{
			StudioID: in.StudioID, Since: m.site.Studio.Revision, Window: m.lockWindow(), Caller: call.Caller.ID, RequestID: call.RequestID,
		})
		if err != nil {
			return err
		}
		if locked.Remembered != nil { // a repeat that overtook this one
			repeated = true
			m.remembered = locked.Remembered
			return nil
		}
		if err := m.unchanged(ctx, tx, locked.Studio.Key); err != nil {
			return err
		}
		if err := m.mayLeave(a.now()); err != nil {
			return err
		}
		if err := m.lookAgainAtJoins(ctx, tx, a.now(), in.Acknowledged); err != nil {
			return err
		}
		if err := m.stillHolds(locked, in.Acknowledged); err != nil {
			return err
		}
		if err := m.stillFree(ctx, tx); err != nil {
			return err
		}
		booking := a.moveBooking(call, a.expire(call, locked), m)
		a.takeOffers(call, &booking, m.prepared)
		m.revision = booking.Studio.Revision
		return lookAgain(a.book(ctx, tx, booking))
	})
	switch {
	case repeated:
		return a.answerRepeat(ctx, call, in.StudioID, m.prepared, err)
	case err != nil:
		return BookRunResult{}, a.overtaken(ctx, err, in.StudioID, in.Revision)
	}
	return m.result(m.runs), nil
}

// preparedMoves is what can be known of moves before the studio is locked: runs as they would be beside those that stand.
type preparedMoves struct {
	*prepared
	standing []domain.Run // as read, in the order of the prepared runs
	moving   []runAt      // the first of these, as they shall be
	overran  []*overran
	firings  []*movingFiring // that move with all that rides in them
}

// unchanged looks under the lock whether the runs still stand as they were read.
func (m *preparedMoves) unchanged(ctx context.Context, tx *store.Tx, studioKey int64) error {
	for i, before := range m.standing {
		now, err := tx.Run(ctx, studioKey, before.ID)
		if err != nil {
			return err
		}
		if now.Revision != before.Revision || now.State() != before.State() { // it may have waited too long meanwhile
			return stale("runs/" + before.ID)
		}
		m.standing[i] = now // with what rides beside it by now
		for k, load := range now.Loads {
			if kept := &m.runs[i].Loads[k]; kept.Firing != nil && load.Firing != nil && kept.Firing.Key == load.Firing.Key {
				*kept = load
			}
		}
	}
	return m.firingsUnchanged(ctx, tx, studioKey)
}

// prepareMoves reads the runs as they stand and prepares them anew in their new windows, as if the firings that they leave
// were gone.
func (a *App) prepareMoves(ctx context.Context, call Call, in MoveRunsInput) (*preparedMoves, error) {
	m := &preparedMoves{prepared: newPrepared()}
	err := a.read(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		done, err := a.doneAlready(ctx, tx, call, studio.Key)
		if err != nil || done != nil {
			m.remembered = done
			return err
		}
		if m.site, err = readSite(ctx, tx, studio); err != nil {
			return err
		}
		m.revision = studio.Revision
		if m.overran, err = a.readOverruns(ctx, tx, call, studio.Key, in.Overruns); err != nil {
			return err
		}
		if err := a.readMovingFirings(ctx, tx, call, &in, m); err != nil {
			return err
		}
		faults, err := a.prepareEachMove(ctx, tx, call, in, m)
		if err != nil {
			return err
		}
		if err := faults.Err(); err != nil {
			return err
		}
		m.addOverran()
		if err := errors.Join(m.meetOthers(ctx, tx, a.now()), m.meetOffers(ctx, tx, call, a.now())); err != nil {
			return err
		}
		if err := m.takeEquipment(ctx, tx); err != nil {
			return err
		}
		return m.checkRules(ctx, tx, a.now(), call.Caller, m.standing)
	})
	return m, err
}

func (a *App) prepareEachMove(ctx context.Context, tx *store.Tx, call Call, in MoveRunsInput, m *preparedMoves) (finding.Faults, error) {
	var faults finding.Faults
	for i, move := range in.Moves {
		field := fmt.Sprintf("moves[%d]", i)
		if slices.ContainsFunc(in.Moves[:i], func(other RunMove) bool { return other.RunID == move.RunID }) {
			faults.Add(field+".name", fmt.Sprintf("run %q stands twice in the request", move.RunID), "move each run once")
			continue
		}
		before, err := tx.Run(ctx, m.site.Studio.Key, move.RunID)
		if err != nil {
			return nil, err
		}
		if err := mayChange(call, before, move.ExpectRevision); err != nil {
			return nil, err
		}
		standing := before
		for _, o := range m.overran {
			standing = o.applied(standing)
		}
		standing = m.shifted(standing)
		if err := movable(standing, a.now()); err != nil {
			return nil, err
		}
		m.standing = append(m.standing, before)
		request := requestOf(before)
		request.Windows = slices.Clone(move.Windows)
		keepAttendants(request.Windows, before)
		at := runAt{field: field, request: request, maker: before.Maker, acknowledged: in.Acknowledged, standing: &standing}
		m.moving = append(m.moving, at)
	}
	if err := m.leave(a.now()); err != nil {
		return nil, err
	}
	for _, at := range m.moving {
		if err := a.prepareRun(ctx, tx, m.prepared, at); err != nil && !collect(&faults, err) {
			return nil, err
		}
	}
	return faults, nil
}

// keepAttendants lets whoever attended a stage before do so where nobody else is named, and keeps the vessels that were named for it.
func keepAttendants(windows []domain.StageWindow, before domain.Run) {
	for i := range windows {
		for _, load := range before.Loads {
			if windows[i].AttendedBy == "" && windows[i].JoinFiring == "" && load.Stage == windows[i].Stage && load.Firing != nil && !load.Joined {
				windows[i].AttendedBy = load.Firing.AttendedBy
			}
			if len(windows[i].Vessels) == 0 && load.Stage == windows[i].Stage {
				windows[i].Vessels = before.VesselsOf(load.Stage, true)
			}
		}
	}
}

// movable says whether anything of a run is left to move.
func movable(run domain.Run, now time.Time) error {
	left := false
	for _, load := range run.Loads {
		switch {
		case load.Begun(now):
		case !load.State.CanBecome(domain.LoadCancelled):
			return wrongState(run, fmt.Sprintf("stage %s is %s", load.Stage, load.State), "move only what is not charged yet")
		default:
			left = true
		}
	}
	if !left {
		return wrongState(run, fmt.Sprintf("the last window of run %s has begun", run.ID), "give what is to be done again another id")
	}
	return nil
}

// moveBooking ends the firings that are left and gives the runs their new ones.
func (a *App) moveBooking(call Call, booking store.Booking, m *preparedMoves) store.Booking {
	studio := booking.Studio
	var ids []string
	left := leftFirings{}
	for i, moved := range m.runs {
		before := m.standing[i]
		studio.Revision++
		moved.Revision = studio.Revision
		kept := map[int64]bool{}
		for _, firing := range moved.Firings() {
			firing.Revision = studio.Revision
			kept[firing.Key] = true
		}
		for _, firing := range before.Firings() {
			if !kept[firing.Key] && m.joining(firing.Key) == nil && !m.movingFiring(firing.Key) {
				left.leave(*firing, moved.ID, studio.Revision)
			}
		}
		m.runs[i] = moved
		booking.ChangedRuns = append(booking.ChangedRuns, moved)
		booking.LotMoves = append(booking.LotMoves, moved.LotMoves(before.Draws)...)
		booking.Changes = append(booking.Changes,
			a.logged(call, studio.Revision, "runs/"+moved.ID, before.Summary(), moved.Summary()))
		ids = append(ids, moved.ID)
	}
	left.into(&booking)
	booking.Studio = studio
	a.moveFirings(call, &booking, m)
	if call.RequestID != "" {
		remembered := call.remember(ids)
		booking.Remembered = &remembered
	}
	return booking
}

// mayChange holds the own-things rule and the etag: a maker changes runs of their own, a technician any.
func mayChange(call Call, run domain.Run, expectRevision int64) error {
	if !call.mayTouch(run.Maker) {
		return &domain.Error{
			Kind: domain.ErrForbidden, Subject: "runs/" + run.ID, Message: "this run was booked by somebody else",
			Cure: "ask its maker or a technician",
		}
	}
	if expectRevision != 0 && expectRevision != run.Revision {
		return stale("runs/" + run.ID)
	}
	return nil
}

func wrongState(run domain.Run, message, cure string) error {
	return &domain.Error{Kind: domain.ErrWrongState, Subject: "runs/" + run.ID, Message: message, Cure: cure}
}
