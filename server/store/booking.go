package store

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

// Booking is everything that one booking, move or cancellation writes. It is written together or not at all.
type Booking struct {
	// Studio carries the new revisions; its other fields are not written.
	Studio domain.Studio
	// NewRuns are stored with their loads and firings. Runs and firings need keys from NextKeys.
	NewRuns []domain.Run
	// ChangedRuns are stored runs as they now are: title, inputs, acknowledged codes, clearances, draws, revision and loads are written. Of
	// a firing in a load, one that is not stored yet is added, and one that stands gets its state, offer, attendant and revision.
	ChangedRuns []domain.Run
	// Firings are written beside those in the loads, as ChangedRuns' are: new ones, and shared ones whose loads changed.
	Firings []domain.Firing
	// Reworked are keys of firings that stand whose phases and releases are written anew.
	Reworked []int64
	// EndedFirings give their furnaces up and get their state and revision. They win over the same firing in a load.
	EndedFirings []domain.Firing
	// LotMoves are what runs reserve of lots and give up, each lot once a revision.
	LotMoves []domain.LotMove
	// TimeRequests are stored requests for time as they now are, each once.
	TimeRequests []domain.TimeRequest
	// Changes are the log's entries; there is no booking without one.
	Changes []domain.Change
	// Remembered is what the request id did, remembered at the time of the first change; nil: nothing to remember.
	Remembered *domain.Remembered
}

// Change adds a stored run as it now is, at the studio's next revision, and returns it so. draws are what it took of lots
// before.
func (b *Booking) Change(run domain.Run, draws []domain.LotDraw) domain.Run {
	b.Studio.Revision++
	run.Revision = b.Studio.Revision
	for _, firing := range run.Firings() {
		firing.Revision = run.Revision
	}
	b.ChangedRuns = append(b.ChangedRuns, run)
	b.LotMoves = append(b.LotMoves, run.LotMoves(draws)...)
	return run
}

// Book writes a booking in one round trip, under the studio's lock. Errors: domain.ErrFurnaceTaken; domain.ErrHeld; domain.ErrLotDrawn;
// domain.ErrAlreadyExists for the id of a run or firing; domain.ErrNotFound for a furnace or a recipe's version;
// domain.ErrChangedMeanwhile when what it changes does not stand.
func (t *Tx) Book(ctx context.Context, b Booking) error {
	statements, err := b.Statements()
	if err != nil {
		return err
	}
	t.changed[b.Studio.Key] = true
	results := t.tx.SendBatch(ctx, (&recorder{statements}).batch())
	for _, s := range statements {
		tag, err := results.Exec()
		if err != nil {
			return errors.Join(translate(ctx, err), translateClose(ctx, results.Close(), err))
		}
		if s.Rows > 0 && tag.RowsAffected() != s.Rows {
			err := fmt.Errorf("%w: a booking changes %d rows, and %d stand", s.Otherwise, s.Rows, tag.RowsAffected())
			return errors.Join(err, translate(ctx, results.Close()))
		}
	}
	return translate(ctx, results.Close())
}

// Statements are what Book sends, in order. An error means that the booking cannot be written down.
func (b Booking) Statements() ([]Statement, error) {
	if len(b.Changes) == 0 {
		return nil, errors.New("bug: a booking without an entry for the log")
	}
	record := &recorder{}
	w := &writer{Booking: b, q: queries.New(record), record: record, ended: b.Ended()}
	w.standing = b.standing(w.ended)
	for _, c := range b.Changes {
		arg, err := changeParams(&w.Studio, c)
		if err != nil {
			return nil, err
		}
		w.changes = append(w.changes, arg)
	}
	for _, step := range []func(ctx context.Context) error{
		w.studio, w.endings, w.runs, w.lots, w.firings, w.reworked, w.phases, w.releases, w.newLoads, w.changedLoads, w.holds,
		w.timeRequests, w.log,
	} {
		if err := step(context.Background()); err != nil {
			return nil, err
		}
	}
	return record.statements, nil
}

// writer puts a booking into statements. Statements that would write nothing are left out.
type writer struct {
	Booking
	ended    []domain.Firing
	standing []*domain.Firing
	changes  []queries.InsertChangeParams // linked to the studio's chain
	q        *queries.Queries
	record   *recorder
}

func (w writer) studio(ctx context.Context) error {
	s := w.Studio
	err := w.q.SetStudioRevisions(ctx, queries.SetStudioRevisionsParams{
		StudioKey: s.Key, Revision: s.Revision, EquipmentRevision: s.EquipmentRevision, OwnRevision: s.OwnRevision,
		ChainSha256: s.ChainSHA256[:],
	})
	w.record.expect(1)
	return err
}

// Ended are the firings that give their furnaces up, each once.
func (b Booking) Ended() []domain.Firing {
	var ended []domain.Firing
	seen := map[int64]bool{}
	for _, f := range b.EndedFirings {
		if !seen[f.Key] {
			ended, seen[f.Key] = append(ended, f), true
		}
	}
	for _, r := range b.ChangedRuns {
		for _, f := range r.Firings() {
			if !seen[f.Key] && !f.State.Occupies() {
				ended, seen[f.Key] = append(ended, *f), true
			}
		}
	}
	return ended
}

// standing are the other firings in the loads, each once.
func (b Booking) standing(ended []domain.Firing) []*domain.Firing {
	seen := map[int64]bool{}
	for _, f := range ended {
		seen[f.Key] = true
	}
	var standing []*domain.Firing
	for i := range b.Firings {
		if f := &b.Firings[i]; !seen[f.Key] {
			standing, seen[f.Key] = append(standing, f), true
		}
	}
	for _, runs := range [][]domain.Run{b.NewRuns, b.ChangedRuns} {
		for _, r := range runs {
			for _, f := range r.Firings() {
				if !seen[f.Key] {
					standing, seen[f.Key] = append(standing, f), true
				}
			}
		}
	}
	return standing
}

func (w writer) endings(ctx context.Context) error {
	arg := queries.EndFiringsParams{StudioKey: w.Studio.Key}
	for _, f := range w.ended {
		arg.FiringKeys = append(arg.FiringKeys, f.Key)
		arg.States = append(arg.States, string(f.State))
		arg.Revisions = append(arg.Revisions, f.Revision)
	}
	if len(arg.FiringKeys) == 0 {
		return nil
	}
	err := w.q.DeleteOccupancies(ctx, queries.DeleteOccupanciesParams{StudioKey: w.Studio.Key, FiringKeys: arg.FiringKeys})
	if err != nil {
		return err
	}
	err = w.q.EndFirings(ctx, arg)
	w.record.expect(len(arg.FiringKeys))
	return err
}

func (w writer) runs(ctx context.Context) error {
	for _, r := range w.NewRuns {
		scale, err := encode("the scale of run "+r.ID, r.Scale)
		if err != nil {
			return err
		}
		inputs, err := encode("the inputs of run "+r.ID, r.Inputs)
		if err != nil {
			return err
		}
		draws, err := encodeDraws(r)
		if err != nil {
			return err
		}
		clearances, err := encodeClearances(r)
		if err != nil {
			return err
		}
		err = w.q.InsertRun(ctx, queries.InsertRunParams{
			Clearances: clearances, HoldExpireTime: orNull(r.HoldExpireTime()),
			StudioKey: w.Studio.Key, RunKey: r.Key, RunID: r.ID, Title: r.Title, RecipeID: r.RecipeID,
			RecipeVersion: int32(r.RecipeVersion), Department: r.Department, Maker: r.Maker, Scale: scale, Inputs: inputs,
			Acknowledged: noNull(r.Acknowledged), Revision: r.Revision, CreateTime: r.CreateTime,
			StartStage: r.StartStage, FromLot: r.FromLot, Draws: draws,
		})
		if err != nil {
			return err
		}
	}
	for _, r := range w.ChangedRuns {
		inputs, err := encode("the inputs of run "+r.ID, r.Inputs)
		if err != nil {
			return err
		}
		draws, err := encodeDraws(r)
		if err != nil {
			return err
		}
		clearances, err := encodeClearances(r)
		if err != nil {
			return err
		}
		_, err = w.q.UpdateRun(ctx, queries.UpdateRunParams{
			Clearances: clearances, HoldExpireTime: orNull(r.HoldExpireTime()),
			StudioKey: w.Studio.Key, RunKey: r.Key, Title: r.Title, Inputs: inputs, Draws: draws,
			Acknowledged: noNull(r.Acknowledged), Revision: r.Revision,
		})
		if err != nil {
			return err
		}
		w.record.expect(1)
	}
	return nil
}

// encodeDraws writes what a run takes of lots; none is an empty list.
func encodeDraws(r domain.Run) ([]byte, error) {
	return encode("the draws of run "+r.ID, append([]domain.LotDraw{}, r.Draws...))
}

func (w writer) lots(ctx context.Context) error {
	return moveLots(ctx, w.q, w.record, lotMoves{w.Studio.Key, w.LotMoves, w.Changes[0]})
}

func (w writer) firings(ctx context.Context) error {
	arg := queries.PutFiringsParams{StudioKey: w.Studio.Key}
	var occupying []int64
	for _, f := range w.standing {
		if f.State.Occupies() {
			occupying = append(occupying, f.Key)
		}
		arg.FiringKeys = append(arg.FiringKeys, f.Key)
		arg.FiringIds = append(arg.FiringIds, f.ID)
		arg.FurnaceIds = append(arg.FurnaceIds, f.Furnace)
		arg.Titles = append(arg.Titles, f.Title)
		arg.States = append(arg.States, string(f.State))
		arg.StartTimes = append(arg.StartTimes, f.Window.Start)
		arg.EndTimes = append(arg.EndTimes, f.Window.End)
		arg.TopCelsius = append(arg.TopCelsius, f.TopCelsius)
		arg.Atmospheres = append(arg.Atmospheres, string(f.Atmosphere))
		arg.Revisions = append(arg.Revisions, f.Revision)
		arg.Attendants = append(arg.Attendants, f.AttendedBy)
		offer, err := encodeIfAny("the offer of firing "+f.ID, f.Offer)
		if err != nil {
			return err
		}
		arg.Offers = append(arg.Offers, offer)
	}
	if len(arg.FiringKeys) == 0 {
		return nil
	}
	if err := w.q.PutFirings(ctx, arg); err != nil {
		return err
	}
	return w.q.InsertOccupancies(ctx, queries.InsertOccupanciesParams{StudioKey: w.Studio.Key, FiringKeys: occupying})
}

// encodeIfAny writes a body that may be missing, then as an empty text.
func encodeIfAny[T any](subject string, value *T) (string, error) {
	if value == nil {
		return "", nil
	}
	body, err := encode(subject, value)
	return string(body), err
}

// reworked takes out what is written anew: also the sum of what comes off a shared firing, which this server works out from its
// offer and its loads, and one from before shared firings reads as it stands.
func (w writer) reworked(ctx context.Context) error {
	summed := slices.Clone(w.Reworked)
	for _, f := range w.standing {
		if f.Offer != nil {
			summed = append(summed, f.Key)
		}
	}
	if len(summed) == 0 {
		return nil
	}
	if len(w.Reworked) > 0 {
		err := w.q.DeleteFiringPhases(ctx, queries.DeleteFiringPhasesParams{StudioKey: w.Studio.Key, FiringKeys: w.Reworked})
		if err != nil {
			return err
		}
	}
	return w.q.DeleteFiringReleases(ctx, queries.DeleteFiringReleasesParams{StudioKey: w.Studio.Key, FiringKeys: summed})
}

func (w writer) phases(ctx context.Context) error {
	arg := queries.InsertFiringPhasesParams{StudioKey: w.Studio.Key}
	for _, f := range w.standing {
		for i, p := range f.Phases {
			arg.FiringKeys = append(arg.FiringKeys, f.Key)
			arg.Ordinals = append(arg.Ordinals, int32(i))
			arg.Kinds = append(arg.Kinds, string(p.Kind))
			arg.StartTimes = append(arg.StartTimes, p.Window.Start)
			arg.EndTimes = append(arg.EndTimes, p.Window.End)
			arg.Watches = append(arg.Watches, string(p.Watch))
			arg.PeopleCounts = append(arg.PeopleCounts, int32(p.PeopleCount))
			arg.Kilowatts = append(arg.Kilowatts, p.Kilowatts)
		}
	}
	if len(arg.FiringKeys) == 0 {
		return nil
	}
	return w.q.InsertFiringPhases(ctx, arg)
}

func (w writer) releases(ctx context.Context) error {
	arg := queries.InsertFiringReleasesParams{StudioKey: w.Studio.Key}
	for _, f := range w.standing {
		for i, r := range f.Releases {
			arg.FiringKeys = append(arg.FiringKeys, f.Key)
			arg.Ordinals = append(arg.Ordinals, int32(i))
			arg.Species = append(arg.Species, r.Species)
			arg.StartMinutes = append(arg.StartMinutes, r.StartMinute)
			arg.EndMinutes = append(arg.EndMinutes, r.EndMinute)
			arg.GramsPerMinute = append(arg.GramsPerMinute, r.GramsPerMinute)
		}
	}
	if len(arg.FiringKeys) == 0 {
		return nil
	}
	return w.q.InsertFiringReleases(ctx, arg)
}

func (w writer) newLoads(ctx context.Context) error {
	arg, err := loadParams(w.Studio.Key, w.NewRuns)
	if err != nil || len(arg.RunKeys) == 0 {
		return err
	}
	return w.q.InsertLoads(ctx, arg)
}

func (w writer) changedLoads(ctx context.Context) error {
	arg, err := loadParams(w.Studio.Key, w.ChangedRuns)
	if err != nil || len(arg.RunKeys) == 0 {
		return err
	}
	_, err = w.q.UpdateLoads(ctx, queries.UpdateLoadsParams{
		StudioKey: arg.StudioKey, RunKeys: arg.RunKeys, Ordinals: arg.Ordinals, States: arg.States,
		FiringKeys: arg.FiringKeys, StartTimes: arg.StartTimes, EndTimes: arg.EndTimes,
		Rides: arg.Rides, Joins: arg.Joins,
	})
	w.record.expect(len(arg.RunKeys))
	return err
}

func loadParams(studioKey int64, runs []domain.Run) (queries.InsertLoadsParams, error) {
	arg := queries.InsertLoadsParams{StudioKey: studioKey}
	for _, r := range runs {
		for i, l := range r.Loads {
			arg.RunKeys = append(arg.RunKeys, r.Key)
			arg.Ordinals = append(arg.Ordinals, int32(i))
			arg.StageIds = append(arg.StageIds, l.Stage)
			arg.States = append(arg.States, string(l.State))
			arg.StartTimes = append(arg.StartTimes, l.Window.Start)
			arg.EndTimes = append(arg.EndTimes, l.Window.End)
			firing := int64(0)
			if l.Firing != nil {
				firing = l.Firing.Key
			}
			arg.FiringKeys = append(arg.FiringKeys, firing)
			ride, err := encodeIfAny("load "+l.Stage+" of run "+r.ID, l.Ride)
			if err != nil {
				return arg, err
			}
			arg.Rides, arg.Joins = append(arg.Rides, ride), append(arg.Joins, l.Joined)
		}
	}
	return arg, nil
}

func (w writer) log(ctx context.Context) error {
	for _, arg := range w.changes {
		if err := w.q.InsertChange(ctx, arg); err != nil {
			return err
		}
	}
	if w.Remembered == nil {
		return nil
	}
	return w.q.InsertRequest(ctx, requestParams(w.Studio.Key, *w.Remembered, w.Changes[0].Time))
}
