package app

import (
	"context"
	"fmt"
	"time"

	"saggar/server/domain"
	"saggar/server/store"
)

// checkSignOff refuses to sign a room off while somebody is to be inside, and to take back a sign-off on which firings rest:
// their gas was held to the limits outside of it only. before and after are the closure as it stood and as it shall be; nil: none.
// Errors: domain.ErrWrongState.
func checkSignOff(ctx context.Context, tx *store.Tx, site *domain.Site, before, after *domain.Closure) error {
	signs, stands := after != nil && after.Unoccupied, before != nil && before.Unoccupied
	kept := signs && stands && after.SubjectID == before.SubjectID && after.Window().Contains(before.Window())
	if stands && !kept {
		if err := checkTakenBack(ctx, tx, site, *before); err != nil {
			return err
		}
	}
	if !signs {
		return nil
	}
	return checkNobodyInside(ctx, tx, site, *after)
}

// checkTakenBack refuses to take a sign-off back while gas of a booked firing is covered by it.
func checkTakenBack(ctx context.Context, tx *store.Tx, site *domain.Site, signed domain.Closure) error {
	firings, err := firingsIn(ctx, tx, site, signed)
	if err != nil {
		return err
	}
	for _, f := range firings {
		if len(f.Releases) > 0 {
			return signOffError(signed, fmt.Sprintf("%s on %s was booked on the word that nobody is in %s then", describe(f), f.Furnace,
				signed.SubjectID), "cancel or move it first, or only lengthen the time")
		}
	}
	return nil
}

// checkNobodyInside refuses to sign a room off while somebody attends a booked firing in it.
func checkNobodyInside(ctx context.Context, tx *store.Tx, site *domain.Site, signed domain.Closure) error {
	firings, err := firingsIn(ctx, tx, site, signed)
	if err != nil {
		return err
	}
	for _, f := range firings {
		for _, p := range f.Phases {
			if isThere(p) && p.Window.Overlaps(signed.Window()) {
				return signOffError(signed, attendedWords(f, p.Window, func(t time.Time) string {
					return t.In(site.Zone).Format("Mon 2 Jan 15:04")
				}), "sign the room off at another time, or move that firing first")
			}
		}
	}
	return nil
}

// firingsIn are the firings in a closed room while it is.
func firingsIn(ctx context.Context, tx *store.Tx, site *domain.Site, c domain.Closure) ([]domain.Firing, error) {
	var furnaces []string
	for id, furnace := range site.Furnaces {
		if furnace.Room == c.SubjectID {
			furnaces = append(furnaces, id)
		}
	}
	if len(furnaces) == 0 {
		return nil, nil
	}
	return tx.FiringsOver(ctx, site.Studio.Key, store.FiringsQuery{Window: c.Window(), FurnaceIDs: furnaces, WithReleases: true})
}

func signOffError(c domain.Closure, message, cure string) error {
	return &domain.Error{Kind: domain.ErrWrongState, Subject: "closures/" + c.ID, Message: message, Cure: cure}
}
