package app

import (
	"context"
	"slices"
	"strings"
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

const (
	// mostReplanned runs are moved at once.
	mostReplanned = 60
	// replanDays is how far ahead runs that are hit are looked for, and replanWithin how much later they may go.
	replanDays   = 400
	replanWithin = 28 * 24 * time.Hour
	// replanTrial is how long it is tried to place one more run beside others.
	replanTrial = 2 * time.Second
)

// ReplanInput asks for new windows for runs that closures and overruns stand in the way of.
type ReplanInput struct {
	StudioID   string
	Overruns   []Overrun
	MayMove    []string  // ids of further runs that may move to make room
	End        time.Time // all must be drawn by then; zero: four weeks from now, or after the last stage that is hit
	SearchTime time.Duration
}

// ReplanAnswer is one answer of ReplanRuns.
type ReplanAnswer struct {
	Status        PlanStatus
	Hits          []RunHit
	Moves         []RunMove
	Standing      []domain.Run // those of the moves as they stand
	Overruns      []Overrun
	Blames        []PlanReason
	BlamesMinimal bool
	Findings      []finding.Finding
	Revision      int64
	Progress      PlanProgress
}

// ReplanRuns finds the runs that cannot go on as booked, and windows for them that change the least and begin no stage before
// where it stands; it hands each answer to
// send as it is found, and the last one stands. It moves nothing: MoveRuns takes the moves as they are. Runs that cannot be
// placed stay where they are, with the reason. Errors as PlanRuns.
func (a *App) ReplanRuns(ctx context.Context, call Call, in ReplanInput, send func(ReplanAnswer) error) error {
	hits, revision, err := a.runsHit(ctx, call, in)
	if err != nil {
		return err
	}
	r := &replan{app: a, in: in, hits: hits, send: send, base: ReplanAnswer{
		Status: PlanOptimal, Hits: hits, Overruns: in.Overruns, Revision: revision,
	}}
	asked, err := r.ask(ctx, call)
	if err != nil {
		return err
	}
	if len(asked.Runs) == 0 {
		return send(r.base)
	}
	answer, err := r.solve(ctx, asked)
	if err != nil {
		return err
	}
	return send(answer)
}

// replan is one call of ReplanRuns.
type replan struct {
	app      *App
	in       ReplanInput
	hits     []RunHit
	standing map[string]domain.Run // by id
	base     ReplanAnswer
	send     func(ReplanAnswer) error
}

// ask makes the runs that can be moved into a request for the least change.
func (r *replan) ask(ctx context.Context, call Call) (PlanInput, error) {
	now := r.app.now().Truncate(time.Minute).Add(time.Minute)
	asked := PlanInput{
		StudioID: r.in.StudioID, Maker: call.Caller.ID, Role: call.Caller.Role, Wish: WishLeastChange, SearchTime: r.in.SearchTime,
		Window: domain.Window{Start: now, End: r.in.End}, overruns: r.in.Overruns, notEarlier: true,
	}
	r.standing = map[string]domain.Run{}
	last := now
	for i := range r.hits {
		hit := &r.hits[i]
		for _, load := range hit.Run.Loads {
			last = later(last, load.Window.End)
		}
		if hit.NotMoved == "" && len(asked.Runs) >= mostReplanned {
			hit.NotMoved = "more runs are hit than are moved at once: accept these first and plan again"
		}
		if hit.NotMoved == "" {
			r.add(&asked, hit.Run, hit.Stages)
		}
	}
	if asked.Window.End.IsZero() {
		asked.Window.End = last.Add(replanWithin)
	}
	return asked, r.addMayMove(ctx, call, &asked)
}

// add asks for new windows for a run. What of it rides in a shared firing and is not hit stays there.
func (r *replan) add(asked *PlanInput, run domain.Run, hit []string) {
	r.standing[run.ID] = run
	request := requestOf(run)
	for _, load := range run.Loads {
		if load.Ride != nil && load.State.Occupies() && !load.Begun(r.app.now()) && !slices.Contains(hit, load.Stage) {
			request.Windows = append(request.Windows, domain.StageWindow{Stage: load.Stage, JoinFiring: load.Firing.ID})
		}
	}
	asked.Runs = append(asked.Runs, request)
}

// addMayMove adds the further runs that the caller lets go, where they may.
func (r *replan) addMayMove(ctx context.Context, call Call, asked *PlanInput) error {
	if len(r.in.MayMove) == 0 {
		return nil
	}
	hit := len(asked.Runs) > 0
	return r.app.read(ctx, r.in.StudioID, func(ctx context.Context, tx *store.Tx, studio domain.Studio) error {
		for _, id := range r.in.MayMove {
			if _, known := r.standing[id]; known || len(asked.Runs) >= mostReplanned {
				continue
			}
			run, err := tx.Run(ctx, studio.Key, id)
			if err != nil {
				return err
			}
			if err := mayChange(call, run, 0); err != nil {
				return err
			}
			if err := movable(run, r.app.now()); err != nil {
				return err
			}
			if hit {
				r.add(asked, run, nil)
			}
		}
		return nil
	})
}

// solve plans all runs at once. Where that cannot be, it leaves out those that cannot be placed beside the ones before them.
func (r *replan) solve(ctx context.Context, asked PlanInput) (ReplanAnswer, error) {
	forward := func(found PlanAnswer) error { return r.send(r.answer(found)) }
	found, err := r.app.plan(ctx, asked, forward)
	if err != nil || found.Status != PlanInfeasible || len(asked.Runs) == 1 {
		return r.answer(found), err
	}
	all := asked.Runs
	asked.Runs = nil
	for _, run := range all {
		trial := asked
		trial.Runs, trial.SearchTime = append(slices.Clone(asked.Runs), run), replanTrial
		found, err := r.app.plan(ctx, trial, func(PlanAnswer) error { return nil })
		if err != nil {
			return ReplanAnswer{}, err
		}
		if len(found.Runs) > 0 && found.Status != PlanUnresolved {
			asked.Runs = trial.Runs
			continue
		}
		r.notMoved(run.ID, found)
	}
	if len(asked.Runs) == 0 {
		return r.answer(found), nil
	}
	if found, err = r.app.plan(ctx, asked, forward); err != nil {
		return ReplanAnswer{}, err
	}
	return r.answer(found), nil
}

// notMoved says of a run why it cannot be placed.
func (r *replan) notMoved(id string, found PlanAnswer) {
	for i := range r.hits {
		if r.hits[i].Run.ID != id {
			continue
		}
		var why []string
		for _, blame := range found.Blames {
			why = append(why, blame.Message)
		}
		if len(why) == 0 {
			why = []string{"no windows were found in the time"}
		}
		r.hits[i].NotMoved = strings.Join(why, "; ") + ": give a later end, let others move, or call it off"
	}
}

// answer makes moves of a plan: of the runs that do not stay where they are.
func (r *replan) answer(found PlanAnswer) ReplanAnswer {
	answer := r.base
	answer.Status, answer.Progress = found.Status, found.Progress
	answer.Blames, answer.BlamesMinimal, answer.Findings = found.Blames, found.BlamesMinimal, found.Findings
	answer.Hits = slices.Clone(r.hits)
	if found.Revision > 0 {
		answer.Revision = found.Revision
	}
	if found.Status == PlanUnresolved {
		return answer
	}
	for _, run := range found.Runs {
		standing := r.standing[run.ID]
		if sameWindows(run.Windows, standing) {
			continue
		}
		answer.Moves = append(answer.Moves, RunMove{RunID: run.ID, Windows: run.Windows, ExpectRevision: standing.Revision})
		answer.Standing = append(answer.Standing, standing)
	}
	return answer
}

func sameWindows(windows []domain.StageWindow, run domain.Run) bool {
	for i, load := range run.Loads {
		stands := load.StageWindow()
		if load.State == domain.LoadUnplaced || stands.Furnace != windows[i].Furnace || !slices.Equal(stands.Phases, windows[i].Phases) {
			return false
		}
	}
	return true
}
