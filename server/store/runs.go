package store

import (
	"cmp"
	"context"
	"math"

	"saggar/chem"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store/queries"
)

// Run returns a run with its loads and their firings, phases and releases, or domain.ErrNotFound. Outside the studio's
// lock it needs a snapshot to be of one piece.
func (t *Tx) Run(ctx context.Context, studioKey int64, id string) (domain.Run, error) {
	row, err := t.q.GetRun(ctx, queries.GetRunParams{StudioKey: studioKey, RunID: id})
	if err != nil {
		return domain.Run{}, named(err, "runs", id)
	}
	runs, err := t.fillRuns(ctx, studioKey, []queries.GetRunRow{row}, true)
	if err != nil {
		return domain.Run{}, err
	}
	return runs[0].AsOf(t.at), nil
}

// ListRuns returns runs with their loads, firings and phases, newest first, at most limit; 0: all. They are of one
// department unless that is empty, and have keys below beforeKey unless that is 0.
func (t *Tx) ListRuns(ctx context.Context, studioKey int64, department string, beforeKey int64, limit int) ([]domain.Run, error) {
	if beforeKey == 0 {
		beforeKey = math.MaxInt64
	}
	var rows []queries.GetRunRow
	if department == "" {
		all, err := t.q.ListRuns(ctx, queries.ListRunsParams{StudioKey: studioKey, BeforeKey: beforeKey, MaxRows: int64(limit)})
		if err != nil {
			return nil, err
		}
		rows = collect(all, func(row queries.ListRunsRow) queries.GetRunRow { return queries.GetRunRow(row) })
	} else {
		own, err := t.q.ListRunsOfDepartment(ctx, queries.ListRunsOfDepartmentParams{
			StudioKey: studioKey, Department: department, BeforeKey: beforeKey, MaxRows: int64(limit),
		})
		if err != nil {
			return nil, err
		}
		rows = collect(own, func(row queries.ListRunsOfDepartmentRow) queries.GetRunRow { return queries.GetRunRow(row) })
	}
	runs, err := t.fillRuns(ctx, studioKey, rows, false)
	for i := range runs {
		runs[i] = runs[i].AsOf(t.at)
	}
	return runs, err
}

// NextKeys takes fresh keys for runs and firings: keys that are not used leave gaps.
func (t *Tx) NextKeys(ctx context.Context, runs, firings int) (runKeys, firingKeys []int64, err error) {
	return nextKeys(ctx, t.tx, runs, firings)
}

func nextKeys(ctx context.Context, db sender, runs, firings int) (runKeys, firingKeys []int64, err error) {
	err = inOneTrip(ctx, db, func(q *queries.Queries) (err error) {
		if runKeys, err = q.NextRunKeys(ctx, int32(runs)); err != nil {
			return err
		}
		firingKeys, err = q.NextFiringKeys(ctx, int32(firings))
		return err
	})
	return runKeys, firingKeys, err
}

// fillRuns reads the loads of runs and the firings that carry them.
func (t *Tx) fillRuns(ctx context.Context, studioKey int64, rows []queries.GetRunRow, withReleases bool) ([]domain.Run, error) {
	runs, err := decodeAll(rows, toRun)
	if err != nil || len(runs) == 0 {
		return nil, err
	}
	keys := make([]int64, len(runs))
	byKey := make(map[int64]*domain.Run, len(runs))
	for i := range runs {
		keys[i] = runs[i].Key
		byKey[runs[i].Key] = &runs[i]
	}
	loads, err := t.q.LoadsOfRuns(ctx, queries.LoadsOfRunsParams{StudioKey: studioKey, RunKeys: keys})
	if err != nil {
		return nil, err
	}
	var firings []*domain.Firing
	for _, row := range loads {
		run := byKey[row.RunKey]
		load, err := toLoad(row, run)
		if err != nil {
			return nil, err
		}
		run.Loads = append(run.Loads, load)
		if load.Firing != nil {
			firings = append(firings, load.Firing)
		}
	}
	for _, run := range runs {
		for _, firing := range run.Firings() {
			if firing.State == domain.LoadTentative {
				firing.HoldExpireTime = run.HoldExpireTime()
			}
		}
	}
	return runs, t.fillFirings(ctx, studioKey, firings, withReleases)
}

func toRun(row queries.GetRunRow) (domain.Run, error) {
	scale, err := decode[chem.Scale]("scale of run "+row.RunID, row.Scale)
	if err != nil {
		return domain.Run{}, err
	}
	inputs, err := decode[domain.RunInputs]("inputs of run "+row.RunID, row.Inputs)
	if err != nil {
		return domain.Run{}, err
	}
	draws, err := decode[[]domain.LotDraw]("draws of run "+row.RunID, row.Draws)
	if err != nil {
		return domain.Run{}, err
	}
	clearances, err := decode[[]domain.Clearance]("clearances of run "+row.RunID, row.Clearances)
	if err != nil {
		return domain.Run{}, err
	}
	if len(draws) == 0 {
		draws = nil
	}
	if len(clearances) == 0 {
		clearances = nil
	}
	return domain.Run{
		StartStage: row.StartStage, FromLot: row.FromLot, Draws: draws, Clearances: clearances,
		Key: row.RunKey, ID: row.RunID, Title: row.Title, RecipeID: row.RecipeID, RecipeVersion: int(row.RecipeVersion),
		Scale: scale, Department: row.Department, Maker: row.Maker, Acknowledged: row.Acknowledged, Inputs: inputs,
		Revision: row.Revision, CreateTime: row.CreateTime,
	}, nil
}

func toLoad(row queries.LoadsOfRunsRow, run *domain.Run) (domain.Load, error) {
	load := domain.Load{
		Joined: row.Joined, Stage: row.StageID, State: domain.LoadState(row.LoadState),
		Window: domain.Window{Start: row.LoadStartTime, End: row.LoadEndTime},
	}
	if row.Ride != nil {
		ride, err := decode[domain.Ride]("load "+row.StageID+" of run "+run.ID, row.Ride)
		if err != nil {
			return load, err
		}
		load.Ride = &ride
	}
	if row.FiringKey != 0 {
		offer, err := toOffer(row.FiringID, row.Offer)
		if err != nil {
			return load, err
		}
		load.Firing = &domain.Firing{
			Offer: offer,
			Key:   row.FiringKey, ID: row.FiringID, Furnace: row.FurnaceID, Title: row.Title,
			RunID: run.ID, Stage: row.StageID, Department: run.Department, Maker: run.Maker, AttendedBy: cmp.Or(row.AttendedBy, run.Maker),
			State: domain.LoadState(row.State), Window: domain.Window{Start: row.StartTime, End: row.EndTime},
			TopCelsius: row.TopCelsius, Atmosphere: heat.Atmosphere(row.Atmosphere), Revision: row.Revision,
		}
	}
	return load, nil
}
