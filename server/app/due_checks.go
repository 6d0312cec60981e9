package app

import (
	"context"
	"slices"
	"time"

	"saggar/server/domain"
	"saggar/server/store"
)

const (
	// dueAhead is how far ahead what falls due is looked for unless somebody says, and bookedAhead how far what is booked is.
	dueAhead    = 30 * 24 * time.Hour
	bookedAhead = 366 * 24 * time.Hour
)

// DueChecksQuery asks what is to be tested or measured again until a local date.
type DueChecksQuery struct {
	StudioID string
	Until    string // YYYY-MM-DD; empty: 30 days from now
}

// DueChecks is what is to be tested or measured again.
type DueChecks struct {
	Until  string
	Checks []domain.DueCheck
}

// GetDueChecks lists the tests and measurements that count no more by a date, and those that count no more when something that
// needs them is booked, however late that is. Stores nothing. Errors: domain.ErrNotFound; finding.Faults for a date that is none.
func (a *App) GetDueChecks(ctx context.Context, q DueChecksQuery) (answer DueChecks, err error) {
	err = a.read(ctx, q.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		site, err := readSite(ctx, tx, studio)
		if err != nil {
			return err
		}
		answer.Until = a.now().Add(dueAhead).In(site.Zone).Format(time.DateOnly)
		if q.Until != "" {
			if _, err := domain.LocalDay("until", q.Until, site.Zone); err != nil {
				return err
			}
			answer.Until = q.Until
		}
		firings, err := tx.FiringsOver(ctx, studio.Key, store.FiringsQuery{
			Window: domain.Window{Start: a.now(), End: a.now().Add(bookedAhead)}, WithReleases: true,
		})
		if err != nil {
			return err
		}
		for _, check := range site.DueChecks(a.now().In(site.Zone).Format(time.DateOnly)) {
			for _, f := range firings { // by start
				if !check.Needs(f, site.Furnaces[f.Furnace].Room, site.Zone) {
					continue
				}
				if check.Runs = once(append(check.Runs, runsIn(f)...)); check.FirstTime.IsZero() {
					check.FirstTime = f.Window.Start
				}
			}
			if check.DueOn <= answer.Until || !check.FirstTime.IsZero() {
				answer.Checks = append(answer.Checks, check)
			}
		}
		return nil
	})
	return answer, err
}

// runsIn are the ids of the runs whose loads a firing carries.
func runsIn(f domain.Firing) []string {
	if f.Offer == nil {
		return []string{f.RunID}
	}
	var runs []string
	for _, r := range f.Riders {
		runs = append(runs, r.RunID)
	}
	return runs
}

// dueOn are the checks of some rooms that count no more after a date, or counted no more before.
func dueOn(site *domain.Site, date string, rooms []string) []domain.DueCheck {
	return slices.DeleteFunc(site.DueChecks(date), func(c domain.DueCheck) bool {
		return c.DueOn > date || !slices.Contains(rooms, c.Room)
	})
}
