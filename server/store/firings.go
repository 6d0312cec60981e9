package store

import (
	"context"
	"time"

	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store/queries"
)

// FiringsQuery says which firings are wanted.
type FiringsQuery struct {
	// Window is what they must overlap.
	Window domain.Window
	// FurnaceIDs are the furnaces; empty: all.
	FurnaceIDs []string
	// ShowEnded adds those that no longer hold their furnace: missed, expired, cancelled.
	ShowEnded bool
	// SharedOnly leaves out those that offer nothing.
	SharedOnly bool
	// SinceRevision leaves out those that have not changed after it; 0: all.
	SinceRevision int64
	// AfterStart and AfterKey are start and key of the last firing of the page before.
	AfterStart time.Time
	AfterKey   int64
	// Limit is the most returned; 0: all.
	Limit int
	// WithReleases fills in what comes off.
	WithReleases bool
}

// Firing returns a firing with phases and releases, or domain.ErrNotFound. One whose load was moved to another firing
// has neither run nor stage nor department.
func (t *Tx) Firing(ctx context.Context, studioKey int64, id string) (domain.Firing, error) {
	row, err := t.q.GetFiring(ctx, queries.GetFiringParams{StudioKey: studioKey, FiringID: id})
	if err != nil {
		return domain.Firing{}, named(err, "firings", id)
	}
	firing, err := toFiring(queries.FiringsOverRow(row))
	if err != nil {
		return domain.Firing{}, err
	}
	firing = firing.AsOf(t.at)
	err = t.fillFirings(ctx, studioKey, []*domain.Firing{&firing}, true)
	return firing, err
}

// FiringsOver returns firings that overlap a window, by start and then key, with their phases. Its cost follows what
// overlaps the window, not how many firings the studio has had.
func (t *Tx) FiringsOver(ctx context.Context, studioKey int64, q FiringsQuery) ([]domain.Firing, error) {
	rows, err := t.q.FiringsOver(ctx, queries.FiringsOverParams{
		StudioKey: studioKey, WindowStart: q.Window.Start, WindowEnd: q.Window.End, ShowEnded: q.ShowEnded,
		FurnaceIds: noNull(q.FurnaceIDs), SinceRevision: q.SinceRevision, SharedOnly: q.SharedOnly,
		AfterStart: q.AfterStart, AfterKey: q.AfterKey, MaxRows: int64(q.Limit), At: t.at,
	})
	if err != nil {
		return nil, err
	}
	firings, err := decodeAll(rows, toFiring)
	if err != nil {
		return nil, err
	}
	for i := range firings {
		firings[i] = firings[i].AsOf(t.at)
	}
	return firings, t.fillFirings(ctx, studioKey, pointers(firings), q.WithReleases)
}

// fillFirings reads the firings' phases, their releases if wanted, and what rides in those that are shared.
func (t *Tx) fillFirings(ctx context.Context, studioKey int64, firings []*domain.Firing, withReleases bool) error {
	if len(firings) == 0 {
		return nil
	}
	keys := make([]int64, len(firings))
	for i, f := range firings {
		keys[i] = f.Key
	}
	var phases []queries.PhasesOfFiringsRow
	var riders []queries.RidersOfFiringsRow
	var releases []queries.ReleasesOfFiringsRow
	err := inOneTrip(ctx, t.tx, func(q *queries.Queries) (err error) {
		if phases, err = q.PhasesOfFirings(ctx, queries.PhasesOfFiringsParams{StudioKey: studioKey, FiringKeys: keys}); err != nil {
			return err
		}
		riders, err = q.RidersOfFirings(ctx, queries.RidersOfFiringsParams{StudioKey: studioKey, FiringKeys: keys, At: t.at})
		if err != nil || !withReleases {
			return err
		}
		releases, err = q.ReleasesOfFirings(ctx, queries.ReleasesOfFiringsParams{StudioKey: studioKey, FiringKeys: keys})
		return err
	})
	if err != nil {
		return err
	}
	return attach(firings, phases, releases, riders)
}

// attach gives each firing its phases and releases, and a shared one its loads.
func attach(
	firings []*domain.Firing, phases []queries.PhasesOfFiringsRow, releases []queries.ReleasesOfFiringsRow, riders []queries.RidersOfFiringsRow,
) error {
	byKey := make(map[int64]*domain.Firing, len(firings))
	for _, f := range firings {
		byKey[f.Key] = f
	}
	for _, p := range phases {
		if f := byKey[p.FiringKey]; f != nil {
			f.Phases = append(f.Phases, toPhase(p))
		}
	}
	for _, r := range releases {
		if f := byKey[r.FiringKey]; f != nil {
			f.Releases = append(f.Releases, air.Release{
				Species: r.Species, StartMinute: r.StartMinute, EndMinute: r.EndMinute, GramsPerMinute: r.GramsPerMinute,
			})
		}
	}
	byFiring := map[int64][]domain.Rider{}
	for _, row := range riders {
		rider, err := toRider(row)
		if err != nil {
			return err
		}
		byFiring[row.FiringKey] = append(byFiring[row.FiringKey], rider)
	}
	for _, f := range firings {
		if f.Offer != nil {
			*f = f.Filled(byFiring[f.Key])
		}
	}
	return nil
}

func toRider(row queries.RidersOfFiringsRow) (domain.Rider, error) {
	ride, err := decode[domain.Ride]("load of run "+row.RunID, row.Ride)
	return domain.Rider{
		Ride: ride, RunID: row.RunID, RunTitle: row.Title, Stage: row.StageID, Department: row.Department, Maker: row.Maker,
		State: domain.LoadState(row.State), Joined: row.Joined,
	}, err
}

// toOffer reads what a firing offers; nil when it is not shared.
func toOffer(firingID string, body []byte) (*domain.Offer, error) {
	if body == nil {
		return nil, nil
	}
	offer, err := decode[domain.Offer]("offer of firing "+firingID, body)
	return &offer, err
}

func toPhase(row queries.PhasesOfFiringsRow) domain.FiringPhase {
	return domain.FiringPhase{
		Kind: heat.PhaseKind(row.Kind), Window: domain.Window{Start: row.StartTime, End: row.EndTime},
		Watch: heat.Watch(row.Watch), PeopleCount: int(row.PeopleCount), Kilowatts: row.Kilowatts,
	}
}

func toFiring(row queries.FiringsOverRow) (domain.Firing, error) {
	offer, err := toOffer(row.FiringID, row.Offer)
	return domain.Firing{
		Offer: offer,
		Key:   row.FiringKey, ID: row.FiringID, Furnace: row.FurnaceID, Title: row.Title,
		RunID: row.RunID, Stage: row.StageID, Department: row.Department, Maker: row.Maker, AttendedBy: row.AttendedBy,
		State: domain.LoadState(row.State), HoldExpireTime: orZero(row.HoldExpireTime),
		Window:     domain.Window{Start: row.StartTime, End: row.EndTime},
		TopCelsius: row.TopCelsius, Atmosphere: heat.Atmosphere(row.Atmosphere), Revision: row.Revision,
	}, err
}

func pointers(firings []domain.Firing) []*domain.Firing {
	list := make([]*domain.Firing, len(firings))
	for i := range firings {
		list[i] = &firings[i]
	}
	return list
}
