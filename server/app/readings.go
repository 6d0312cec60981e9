package app

import (
	"context"
	"fmt"
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

// unexplainedFor is for how long after a reading above its forecast bookings in its room are warned of it (common practice, no
// source).
const unexplainedFor = 30 * 24 * time.Hour

// CreateReading notes a reading, with what is forecast for its moment from what is booked, in both cases where the likely one can
// be worked out. Errors: finding.Faults, also for a room or furnace that does not stand.
func (a *App) CreateReading(ctx context.Context, call Call, studioID string, given domain.Reading) (domain.Reading, error) {
	given.Reader, given.CreateTime = call.Caller.ID, a.now()
	if err := given.Check(a.now()).Err(); err != nil {
		return given, err
	}
	err := a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		return a.forecastReading(ctx, tx, studio, &given)
	})
	if err != nil {
		return given, err
	}
	change := a.rosterChange
	if given.Unexplained { // which bookings are warned of
		change = func(ctx context.Context, _ Call, studioID string, do rosterDo) error {
			return a.ruleChange(ctx, studioID, do)
		}
	}
	err = change(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		given.NotedRevision, given.Revision = studio.Revision, studio.Revision
		return a.logged(call, studio.Revision, given.Name(), nil, given), tx.InsertReading(ctx, studio.Key, given)
	})
	return given, err
}

// GetReading returns one. Errors: domain.ErrNotFound.
func (a *App) GetReading(ctx context.Context, studioID, id string) (found domain.Reading, err error) {
	err = a.read(ctx, studioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		found, err = tx.Reading(ctx, studio.Key, id)
		return err
	})
	return found, err
}

// ReadingsQuery asks for a page of readings.
type ReadingsQuery struct {
	StudioID       string
	Room           string // empty: of any
	BeforeRevision int64  // at which the last of the page before was noted; 0: from the newest
	Limit          int
}

// ListReadings lists readings, the last noted first.
func (a *App) ListReadings(ctx context.Context, q ReadingsQuery) (list []domain.Reading, err error) {
	err = a.read(ctx, q.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (err error) {
		list, err = tx.ListReadings(ctx, studio.Key, store.ReadingsQuery{Room: q.Room, BeforeRevision: q.BeforeRevision, Limit: q.Limit})
		return err
	})
	return list, err
}

// ReadingEnd says which reading is explained, and how.
type ReadingEnd struct {
	StudioID, ID   string
	Reason         string
	ExpectRevision int64 // the etag; 0: any
}

// CloseReading explains a reading that was above its forecast, so that bookings are not warned of it any more. Errors:
// domain.ErrNotFound, domain.ErrChangedMeanwhile, domain.ErrWrongState when there is nothing to explain.
func (a *App) CloseReading(ctx context.Context, call Call, in ReadingEnd) (closed domain.Reading, err error) {
	err = a.ruleChange(ctx, in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) (domain.Change, error) {
		before, err := tx.Reading(ctx, studio.Key, in.ID)
		if err != nil {
			return domain.Change{}, err
		}
		if in.ExpectRevision != 0 && in.ExpectRevision != before.Revision {
			return domain.Change{}, stale(before.Name())
		}
		if closed, err = before.Closed(call.Caller.ID, in.Reason, a.now()); err != nil {
			return domain.Change{}, err
		}
		closed.Revision = studio.Revision
		return a.logged(call, studio.Revision, closed.Name(), before, closed), tx.UpdateReading(ctx, studio.Key, closed)
	})
	return closed, err
}

// readingsUnexplained warns of planned firings that give gas off in a room where a reading above its forecast is not explained yet.
func (j joint) readingsUnexplained(ctx context.Context, tx *store.Tx, now time.Time) ([]finding.Finding, error) {
	readings, err := tx.UnexplainedReadings(ctx, j.site.Studio.Key, now.Add(-unexplainedFor))
	if err != nil {
		return nil, err
	}
	var found []finding.Finding
	for _, f := range j.planned {
		if len(f.Releases) == 0 {
			continue
		}
		for _, r := range readings {
			if r.Room == j.site.Furnaces[f.Furnace].Room && f.Window.Start.Before(r.ReadTime.Add(unexplainedFor)) {
				found = append(found, j.unexplained(f, r))
				break // the latest speaks for all
			}
		}
	}
	return found, nil
}

func (j joint) unexplained(f plannedFiring, r domain.Reading) finding.Finding {
	return finding.Finding{
		Severity: finding.Warn, Code: "READING_UNEXPLAINED", Field: f.field, About: r.Room, Source: "common practice, no source",
		Message: fmt.Sprintf("%s was read at %.4g ppm in %s on %s, where at most %.4g ppm was forecast, and nobody has explained it (%s): what is said "+
			"of the air there may be too little", r.Species, r.PPM, r.Place(), j.clock(r.ReadTime), r.CautiousPPM, r.ID()),
		Figures: []finding.Figure{{Name: "measured", Value: r.PPM, Unit: "ppm"}, {Name: "forecast", Value: r.CautiousPPM, Unit: "ppm"}},
		Cure:    "wait until the flow and the capture are measured again and a technician has closed the reading, or fire elsewhere",
	}
}
