package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
	"saggar/server/invariant"
	"saggar/server/store"
)

// contest is what callers did to a studio in which little fits beside each other, and what they were told.
type contest struct {
	*crowd
	templates []*saggarv1.PlanRunsResponse
	mu        sync.Mutex
	bookings  map[string]*booking // by request id
	refused   int
	moved     int
}

// booking is one request for runs, all or none; each has a title of its own.
type booking struct {
	titles []string
	asked  []*saggarv1.Run
	told   codes.Code // OK: acknowledged; Unknown: no answer came
	ended  map[string]codes.Code
}

// templates are windows of a clean recipe, and of one with so much sulfur that two at once are too much for the air.
func (c *crowd) templates(connection *api.Connection) []*saggarv1.PlanRunsResponse {
	plan := func(recipe string, factor float64) *saggarv1.PlanRunsResponse {
		stream, err := connection.Runs.PlanRuns(c.t.Context(), &saggarv1.PlanRunsRequest{
			Parent: "studios/marl-lane", StartTime: timestamppb.New(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)),
			Runs: []*saggarv1.Run{{Recipe: "studios/marl-lane/recipes/" + recipe, Department: "ceramics", Scale: &saggarv1.Scale{Factor: factor}}},
		})
		require.NoError(c.t, err)
		answer, err := lastOf(stream.Recv, func(*saggarv1.PlanRunsResponse) error { return nil })
		require.NoError(c.t, err)
		return answer
	}
	all := []*saggarv1.PlanRunsResponse{plan("red", 1), plan("blue", 2)}
	for _, answer := range all {
		require.True(c.t, canBeBooked(answer), "%v %v", answer.GetBlames(), answer.GetFindings())
	}
	require.False(c.t, canBeBooked(plan("blue", 4)), "two of them together are too much")
	return all
}

// caller does one thing after the other, each through any of the servers.
func (k *contest) caller(ctx context.Context, t *testing.T, random *rand.Rand) {
	connections := make([]*api.Connection, len(k.servers))
	for i := range connections {
		connections[i] = k.connect(i)
		defer connections[i].Close()
	}
	call := func(do func(ctx context.Context, connection *api.Connection) error) codes.Code {
		return k.untilAnswered(ctx, t, random, connections, do)
	}
	type run struct {
		booking     *booking
		asked       *saggarv1.Run
		title, name string
	}
	var own []run
	for ctx.Err() == nil {
		switch pick := random.IntN(20); {
		case pick == 0:
			k.closeOrOpen(random, call)
		case pick < 11 || len(own) == 0:
			made, names := k.book(random, call)
			for i, name := range names {
				own = append(own, run{made, made.asked[i], made.titles[i], name})
			}
		case pick < 18: // seldom called off, so that the studio stays full
			one := own[random.IntN(len(own))]
			id := api.NewRequestID()
			windows := k.somewhere(random, k.templateOf(one.asked)).GetStageWindows()
			told := call(func(ctx context.Context, connection *api.Connection) error {
				_, err := connection.Runs.MoveRun(ctx, &saggarv1.MoveRunRequest{
					Name: one.name, StageWindows: windows, AcknowledgedFindingCodes: codesOfAll(k.templates), RequestId: id,
				})
				return err
			})
			k.count(told == codes.OK)
		default:
			i := random.IntN(len(own))
			one, id := own[i], api.NewRequestID()
			told := call(func(ctx context.Context, connection *api.Connection) error {
				_, err := connection.Runs.CancelRun(ctx, &saggarv1.CancelRunRequest{Name: one.name, RequestId: id})
				return err
			})
			k.mu.Lock()
			one.booking.ended[one.title] = told
			k.mu.Unlock()
			own = append(own[:i], own[i+1:]...)
		}
	}
}

func (k *contest) count(moved bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if moved {
		k.moved++
	} else {
		k.refused++
	}
}

// untilAnswered repeats a call through any server until one answers it, as the same request, so that what a killed server did or
// did not do is done once. Unknown: the time was over before.
func (k *contest) untilAnswered(ctx context.Context, t *testing.T, random *rand.Rand, connections []*api.Connection,
	do func(ctx context.Context, connection *api.Connection) error,
) codes.Code {
	for ctx.Err() == nil {
		err := do(ctx, connections[random.IntN(len(connections))])
		switch code := status.Code(err); {
		case ctx.Err() != nil && err != nil:
			return codes.Unknown
		case api.IsBrokenOff(err) || code == codes.Canceled:
			time.Sleep(time.Duration(random.IntN(50)) * time.Millisecond)
		case code == codes.OK, code == codes.FailedPrecondition, code == codes.Aborted:
			return code
		default:
			assert.NoError(t, err)
			return code
		}
	}
	return codes.Unknown
}

type caller func(do func(ctx context.Context, connection *api.Connection) error) codes.Code

// book asks for one run or two, all or none.
func (k *contest) book(random *rand.Rand, call caller) (made *booking, names []string) {
	id := api.NewRequestID()
	made = &booking{ended: map[string]codes.Code{}}
	var runs []*saggarv1.Run
	for i := range 1 + random.IntN(2) {
		run := k.somewhere(random, k.templates[random.IntN(len(k.templates))].GetRuns()[0])
		run.Title = fmt.Sprintf("%s %d", id, i)
		made.titles, runs = append(made.titles, run.GetTitle()), append(runs, run)
	}
	made.asked = runs
	k.mu.Lock()
	k.bookings[id] = made
	k.mu.Unlock()
	made.told = call(func(ctx context.Context, connection *api.Connection) error {
		answer, err := connection.Runs.BookRun(ctx, &saggarv1.BookRunRequest{
			Parent: "studios/marl-lane", Runs: runs, AcknowledgedFindingCodes: codesOfAll(k.templates), RequestId: id,
		})
		names = nil
		for _, run := range answer.GetRuns() {
			names = append(names, run.GetName())
		}
		return err
	})
	if made.told != codes.OK {
		k.count(false)
		return made, nil
	}
	return made, names
}

// templateOf is the run of the same recipe as planned.
func (k *contest) templateOf(run *saggarv1.Run) *saggarv1.Run {
	for _, template := range k.templates {
		if template.GetRuns()[0].GetRecipe() == run.GetRecipe() {
			return template.GetRuns()[0]
		}
	}
	return nil
}

// codesOfAll are those of the findings of templates, and of what the air only warns of where several meet.
func codesOfAll(templates []*saggarv1.PlanRunsResponse) []string {
	list := []string{"AIR_CEILING", "AIR_SHIFT_LIMIT", "AIR_SHORT_TERM_LIMIT"}
	seen := map[string]bool{list[0]: true, list[1]: true, list[2]: true}
	for _, template := range templates {
		for _, f := range template.GetFindings() {
			if !seen[f.GetCode()] {
				seen[f.GetCode()] = true
				list = append(list, f.GetCode())
			}
		}
	}
	return list
}

// somewhere is a run on any furnace in one of ten days, so that callers are in each other's way.
func (k *contest) somewhere(random *rand.Rand, run *saggarv1.Run) *saggarv1.Run {
	moved := proto.CloneOf(run)
	by := time.Duration(random.IntN(10))*24*time.Hour + time.Duration(random.IntN(8))*15*time.Minute
	for _, window := range moved.GetStageWindows() {
		window.Furnace = []string{"pot", "muffle-a", "muffle-b", "kiln"}[random.IntN(4)]
		for _, p := range window.GetPhases() {
			p.StartTime, p.EndTime = timestamppb.New(p.GetStartTime().AsTime().Add(by)), timestamppb.New(p.GetEndTime().AsTime().Add(by))
		}
	}
	return moved
}

// closeOrOpen closes a furnace for a few hours, or opens it again.
func (k *contest) closeOrOpen(random *rand.Rand, call caller) {
	furnace := []string{"muffle-b", "kiln"}[random.IntN(2)]
	name := "studios/marl-lane/closures/" + furnace
	start := time.Date(2027, 3, 1+random.IntN(10), 8+random.IntN(6), 0, 0, 0, time.UTC)
	if random.IntN(2) == 0 {
		call(func(ctx context.Context, connection *api.Connection) error {
			_, err := connection.Equipment.DeleteClosure(ctx, &saggarv1.DeleteClosureRequest{Name: name})
			if status.Code(err) == codes.NotFound {
				return nil
			}
			return err
		})
		return
	}
	call(func(ctx context.Context, connection *api.Connection) error {
		_, err := connection.Equipment.UpdateClosure(ctx, &saggarv1.UpdateClosureRequest{AllowMissing: true, Closure: &saggarv1.Closure{
			Name: name, Subject: "furnaces/" + furnace, StartTime: timestamppb.New(start), EndTime: timestamppb.New(start.Add(4 * time.Hour)), Reason: "contest",
		}})
		return err
	})
}

// verify recomputes from scratch what must never happen, and returns the studio as it then stands.
func (k *contest) verify(t *testing.T, connection *api.Connection) *saggarv1.Studio {
	t.Helper()
	ctx := t.Context()
	require.Eventually(t, func() bool { // the server may have been killed a moment ago
		_, err := connection.Studios.GetStudio(ctx, &saggarv1.GetStudioRequest{Name: "studios/marl-lane"})
		return err == nil
	}, time.Minute, 50*time.Millisecond)
	studio, err := connection.Studios.GetStudio(ctx, &saggarv1.GetStudioRequest{Name: "studios/marl-lane"})
	require.NoError(t, err)
	k.verifyStored(t)
	k.verifyTold(t, connection)
	report, err := connection.Trace.VerifyTrace(ctx, &saggarv1.VerifyTraceRequest{Name: "studios/marl-lane"})
	require.NoError(t, err)
	assert.Empty(t, report.GetFaults(), "the chain of the log is broken")
	assert.Equal(t, int64(studio.GetRevision()), report.GetChangeCount(), "every change is in the trace")
	assert.Zero(t, report.GetUnlinkedCount())
	return studio
}

// verifyNowAndThen recomputes what is stored while callers go on, each time from one snapshot, until the context ends.
func (k *contest) verifyNowAndThen(ctx context.Context, t *testing.T, every time.Duration) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(every):
			k.verifyStored(t)
		}
	}
}

// verifyStored looks at furnaces, closures, the panel, people and the air, and at the log's numbers.
func (k *contest) verifyStored(t *testing.T) {
	t.Helper()
	kept, err := store.Open(t.Context(), k.database, store.Options{})
	if !assert.NoError(t, err) {
		return
	}
	defer kept.Close()
	var site *domain.Site
	var equipment []domain.Equipment
	var firings []domain.Firing
	assert.NoError(t, kept.InSnapshot(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.Studio(ctx, "marl-lane")
		if err != nil {
			return err
		}
		if equipment, err = tx.Equipment(ctx, studio.Key); err != nil {
			return err
		}
		if site, err = domain.NewSite(studio, equipment); err != nil {
			return err
		}
		changes, err := tx.ListChanges(ctx, studio.Key, 0, int(studio.Revision)+1)
		for i, c := range changes {
			assert.Equal(t, int64(i+1), c.Revision, "the log has a gap or a repeat")
		}
		assert.Len(t, changes, int(studio.Revision))
		if err != nil {
			return err
		}
		firings, err = tx.FiringsOver(ctx, studio.Key, store.FiringsQuery{WithReleases: true, Window: domain.Window{
			Start: time.Date(2027, 2, 1, 0, 0, 0, 0, time.UTC), End: time.Date(2027, 5, 1, 0, 0, 0, 0, time.UTC),
		}})
		return err
	}))
	if site == nil {
		return
	}
	assert.Empty(t, invariant.Overlaps(firings))
	assert.Empty(t, invariant.Closed(site, equipment, firings))
	assert.Empty(t, invariant.Sums(site, firings))
	wrong, highest := invariant.Air(site, "bay", firings)
	assert.Empty(t, wrong)
	t.Logf("%d firings stand; highest in the bay, ppm: %v", len(firings), highest)
}

// verifyTold holds what stands against what callers were told: nothing in part, nothing twice, nothing lost, nothing that was refused.
func (k *contest) verifyTold(t *testing.T, connection *api.Connection) {
	t.Helper()
	all, err := pages(func(token string) (proto.Message, string, error) {
		page, err := connection.Runs.ListRuns(t.Context(), &saggarv1.ListRunsRequest{Parent: "studios/marl-lane", PageSize: 1000, PageToken: token})
		return page, page.GetNextPageToken(), err
	})
	require.NoError(t, err)
	byTitle := map[string][]*saggarv1.Run{}
	for _, run := range all.(*saggarv1.ListRunsResponse).GetRuns() {
		byTitle[run.GetTitle()] = append(byTitle[run.GetTitle()], run)
		assert.Len(t, run.GetLoads(), 1, "%s is there in part", run.GetName())
	}
	acknowledged, unanswered, cancelled := 0, 0, 0
	for id, b := range k.bookings {
		stand := 0
		for _, title := range b.titles {
			assert.LessOrEqual(t, len(byTitle[title]), 1, "request %s booked twice", id)
			stand += len(byTitle[title])
		}
		switch b.told {
		case codes.OK:
			acknowledged++
			assert.Equal(t, len(b.titles), stand, "request %s was acknowledged and is lost, or there in part", id)
		case codes.Unknown:
			unanswered++
			assert.Contains(t, []int{0, len(b.titles)}, stand, "request %s is there in part", id)
		default:
			assert.Zero(t, stand, "request %s was refused and stands", id)
		}
		for _, title := range b.titles {
			told, ended := b.ended[title]
			for _, run := range byTitle[title] {
				switch {
				case ended && told == codes.OK:
					cancelled++
					assert.Equal(t, saggarv1.RunState_RUN_STATE_CANCELLED, run.GetState(), "%s was called off", run.GetName())
				case !ended:
					assert.Equal(t, saggarv1.RunState_RUN_STATE_CONFIRMED, run.GetState(), "nobody called %s off", run.GetName())
				}
			}
		}
	}
	t.Logf("%d requests: %d booked, %d unanswered; %d moves, %d called off, %d refused", len(k.bookings), acknowledged, unanswered, k.moved, cancelled, k.refused)
	assert.Positive(t, acknowledged)
	assert.Positive(t, k.refused, "nothing was in anything's way: it shows nothing")
}
