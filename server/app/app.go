// Package app holds one operation a file: load, decide with chem and scheduler, store. It knows neither the wire nor SQL.
// Every operation that changes something runs in one transaction that locks the studio first, writes the change log and
// remembers the request id; with ValidateOnly it goes the same way and rolls back.
package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"saggar/server/domain"
	"saggar/server/store"
	"saggar/server/watch"
)

// App carries what every operation needs. Safe for concurrent use.
type App struct {
	store    *store.Store
	now      func() time.Time
	random   io.Reader
	planning *planQueue
	keys     *keyCache
	heads    HeadsFunc     // nil: none are kept
	tokens   TokenVerifier // nil: only keys are taken
	// lookups holds a place for each key that is read at one time, so that guessers leave connections to those who work.
	lookups chan struct{}
	// verifying holds a place for each trace that is looked through at one time.
	verifying chan struct{}
	watches   *watch.Hub
	send      SendFunc // how letters are sent; nil: none are
	feedBase  string   // under which URL feeds are read; empty: none are served
}

// New returns the operations over a store. now is the clock and random the source of ids and secrets.
func New(st *store.Store, now func() time.Time, random io.Reader) *App {
	return &App{
		store: st.WithClock(now), now: now, random: random, planning: newPlanQueue(), keys: newKeyCache(),
		lookups: make(chan struct{}, mostLookups), verifying: make(chan struct{}, mostVerifications),
		watches: watch.New(st, watch.Options{}),
	}
}

// Call is who asks, for what, and under which request id.
type Call struct {
	Caller domain.Caller
	// OwnOnly limits the caller to what is theirs: a maker cancels their own run, a technician any. The edge's policy says so.
	OwnOnly bool
	// KeyID is the key that was used; empty for a token. Address is from where, and ID under which id the call stands in
	// the server's log.
	KeyID, Address, ID string
	// Method is the RPC's name, for example "BookRun".
	Method string
	// RequestID is a UUID in text form, or empty.
	RequestID string
	// BodySHA256 is the hash of the request without its request id.
	BodySHA256 [32]byte
	// ValidateOnly goes the same way and rolls back.
	ValidateOnly bool
}

// errRollBack ends a transaction that was for validation only.
var errRollBack = errors.New("roll back")

// Page is where a list goes on and how long it may be.
type Page struct {
	After string // id after which to go on; empty: from the start
	Limit int    // above 0
}

// scope is where a change takes place.
type scope struct {
	call     Call
	studioID string
	// create makes the studio when there is none; nil: it must stand.
	create *domain.Studio
}

// doFunc makes a change and returns the ids of what it made or changed.
type doFunc func(ctx context.Context, tx *store.Tx, studio domain.Studio) (resources []string, err error)

// againFunc answers a repeated request with what stands now.
type againFunc func(ctx context.Context, tx *store.Tx, studio domain.Studio, resources []string) error

// change runs do in one transaction under the studio's lock. A repeated request id skips do and hands what it did then to
// again. What do returns is remembered under the request id.
func (a *App) change(ctx context.Context, in scope, do doFunc, again againFunc) error {
	err := a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		studio, err := in.lock(ctx, tx, a.now())
		if err != nil {
			return err
		}
		if in.call.RequestID != "" {
			done, err := tx.Remembered(ctx, studio.Key, in.call.Caller.ID, in.call.RequestID)
			if err != nil {
				return err
			}
			if done != nil {
				if err := in.call.repeats(*done); err != nil {
					return err
				}
				return again(ctx, tx, studio, done.Resources)
			}
		}
		resources, err := do(ctx, tx, studio)
		if err != nil {
			return err
		}
		if in.call.ValidateOnly {
			return errRollBack
		}
		if in.call.RequestID == "" {
			return nil
		}
		return tx.Remember(ctx, studio.Key, in.call.remember(resources), a.now())
	})
	if errors.Is(err, errRollBack) {
		return nil
	}
	return err
}

func (s scope) lock(ctx context.Context, tx *store.Tx, now time.Time) (domain.Studio, error) {
	studio, err := tx.LockStudio(ctx, s.studioID)
	if !errors.Is(err, domain.ErrNotFound) || s.create == nil {
		return studio, err
	}
	created := *s.create
	created.CreateTime = now
	return tx.InsertStudio(ctx, created)
}

// repeats says whether a remembered request is this one, sent again.
func (c Call) repeats(done domain.Remembered) error {
	if done.Method == c.Method && done.BodySHA256 == c.BodySHA256 {
		return nil
	}
	return &domain.Error{
		Kind: domain.ErrRequestReused, Subject: c.RequestID,
		Message: fmt.Sprintf("request id %s was used for another request", c.RequestID),
		Cure:    "use a new request id for each request, and the same one only to repeat it",
	}
}

func (c Call) remember(resources []string) domain.Remembered {
	return domain.Remembered{
		Caller: c.Caller.ID, RequestID: c.RequestID, Method: c.Method, BodySHA256: c.BodySHA256, Resources: resources,
	}
}

// logged makes the change log's entry for one change at a revision.
func (a *App) logged(call Call, revision int64, subject string, before, after any) domain.Change {
	return domain.Change{
		KeyID: call.KeyID, Address: call.Address, CallID: call.ID,
		Revision: revision, Time: a.now(), Caller: call.Caller.ID, RequestID: call.RequestID,
		Method: call.Method, Subject: subject, Before: before, After: after,
	}
}

// stale is the answer to an etag that is no longer the present one.
func stale(name string) error {
	return &domain.Error{
		Kind: domain.ErrChangedMeanwhile, Subject: name,
		Message: fmt.Sprintf("%s was changed by somebody else meanwhile", name),
		Cure:    "read it again and repeat the change on what it is now",
	}
}
