package app_test

import (
	"errors"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

// asked is the test studio with one firing that may fall free, and people who ask for its time.
type asked struct {
	bench
	planned planned
	run     domain.Run
	furnace string
	window  domain.Window
}

func newAsked(t *testing.T) *asked {
	t.Helper()
	return askedOn(t, newBench(t))
}

func askedOn(t *testing.T, b bench) *asked {
	t.Helper()
	a := &asked{bench: b}
	a.planned = b.plan(t, request("red", 1), monday)
	run, blocks, err := b.tryBook(as("ada", domain.RoleMaker, "BookRun"), a.planned.Run, codes(a.planned))
	require.NoError(t, err)
	require.Empty(t, blocks)
	a.run, a.furnace, a.window = run, run.Firings()[0].Furnace, run.Firings()[0].Window
	return a
}

// ask asks as a maker for at least an hour of the firing's time.
func (a *asked) ask(t *testing.T, who string) domain.TimeRequest {
	t.Helper()
	made, err := a.CreateTimeRequest(a.ctx, as(who, domain.RoleMaker, "CreateTimeRequest"), "test", domain.TimeRequest{
		Department: "ceramics", Furnaces: []string{a.furnace}, Window: a.window, LeastMinutes: a.window.Minutes() / 2,
	})
	require.NoError(t, err)
	return made
}

func (a *asked) cancel(t *testing.T) {
	t.Helper()
	_, err := a.CancelRun(a.ctx, as("ada", domain.RoleMaker, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: a.run.ID})
	require.NoError(t, err)
}

// now reads a request as it stands.
func (a *asked) now(t *testing.T, r domain.TimeRequest) domain.TimeRequest {
	t.Helper()
	found, err := a.GetTimeRequest(a.ctx, call("GetTimeRequest"), "test", r.ID())
	require.NoError(t, err)
	return found
}

// bookFreed books the time of the firing as somebody, and returns the codes that refuse.
func (a *asked) bookFreed(t *testing.T, who string) []string {
	t.Helper()
	_, blocks, err := a.tryBook(as(who, domain.RoleMaker, "BookRun"), a.planned.Run, codes(a.planned))
	require.NoError(t, err)
	return refusedBy(blocks)
}

func TestTimeThatFallsFreeIsHeldForWhoAskedFirst(t *testing.T) {
	t.Parallel()
	a := newAsked(t)
	ben, cid := a.ask(t, "ben"), a.ask(t, "cid")
	assert.Equal(t, domain.TimeWaiting, ben.State)
	a.cancel(t)
	offered := a.now(t, ben)
	require.Equal(t, domain.TimeOffered, offered.State)
	assert.Equal(t, domain.FurnaceTime{Furnace: a.furnace, Window: a.window}, offered.Offer.FurnaceTime)
	assert.Equal(t, monday, offered.Offer.ExpireTime, "an hour after the studio's clock, which shows an hour before")
	assert.Equal(t, domain.TimeWaiting, a.now(t, cid).State, "there is nothing left for the second")

	_, blocks, err := a.tryBook(as("dan", domain.RoleMaker, "BookRun"), a.planned.Run, codes(a.planned))
	require.NoError(t, err)
	require.Equal(t, []string{"FURNACE_OFFERED"}, refusedBy(blocks))
	assert.Equal(t, "runs[0].stage_windows[0]", blocks[0].Field)
	assert.NotContains(t, blocks[0].Message+blocks[0].Cure, "ben", "whose turn it is, is not said")
	assert.Contains(t, blocks[0].Cure, "Mon 1 Mar 08:00")
	checked, err := a.BookRun(a.ctx, app.Call{Caller: domain.Caller{ID: "cid", Role: domain.RoleMaker}, Method: "CheckRun", ValidateOnly: true},
		app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{a.planned.Run}})
	require.NoError(t, err)
	assert.True(t, hasCode(checked.Findings, "FURNACE_OFFERED"), "a check says it too")
	elsewhere := a.plan(t, request("red", 1), monday)
	for _, w := range elsewhere.Run.Windows {
		assert.False(t, w.Furnace == a.furnace && w.Window().Overlaps(a.window), "nothing is planned on held time")
	}

	assert.Empty(t, a.bookFreed(t, "ben"))
	taken := a.now(t, ben)
	assert.Equal(t, domain.TimeTaken, taken.State)
	assert.NotEmpty(t, taken.Run)
	run, err := a.GetRun(a.ctx, "test", taken.Run)
	require.NoError(t, err)
	assert.Equal(t, "ben", run.Maker)
	assert.Equal(t, domain.TimeWaiting, a.now(t, cid).State)
}

func hasCode(findings []finding.Finding, code string) bool {
	for _, f := range findings {
		if f.Code == code {
			return true
		}
	}
	return false
}

func TestAnOfferThatLapsesGoesOnAndThenIsSimplyFree(t *testing.T) {
	t.Parallel()
	a := newAsked(t)
	ben, cid := a.ask(t, "ben"), a.ask(t, "cid")
	a.cancel(t)
	a.bench = a.at(monday.Add(-time.Second))
	assert.Equal(t, []string{"FURNACE_OFFERED"}, a.bookFreed(t, "dan"), "to the last second")
	a.bench = a.at(monday.Add(time.Minute))
	later := postponed(a.planned.Run, 10*time.Minute)
	_, blocks, err := a.tryBook(as("ben", domain.RoleMaker, "BookRun"), later, codes(a.planned))
	require.NoError(t, err)
	assert.Equal(t, []string{"FURNACE_OFFERED"}, refusedBy(blocks), "it is the next one's by now")
	assert.Equal(t, domain.TimeWaiting, a.now(t, ben).State)
	passed := a.now(t, cid)
	require.Equal(t, domain.TimeOffered, passed.State)
	assert.Equal(t, monday.Add(time.Hour+time.Minute), passed.Offer.ExpireTime)
	assert.False(t, passed.Offer.Window.Start.Before(monday.Add(2*time.Minute)), "from the next whole minute on")
	declined, err := a.DeclineTimeOffer(a.ctx, as("cid", domain.RoleMaker, "DeclineTimeOffer"), "test", cid.ID(), 0)
	require.NoError(t, err)
	assert.Equal(t, domain.TimeWaiting, declined.State)
	assert.Equal(t, domain.TimeWaiting, a.now(t, ben).State, "what was let go is not offered again")
	_, err = a.DeclineTimeOffer(a.ctx, as("cid", domain.RoleMaker, "DeclineTimeOffer"), "test", cid.ID(), 0)
	assert.ErrorIs(t, err, domain.ErrWrongState)
	_, blocks, err = a.tryBook(as("dan", domain.RoleMaker, "BookRun"), later, codes(a.planned))
	require.NoError(t, err)
	assert.Empty(t, blocks, "nobody is left to offer it to")
}

func TestTheSweepPassesOffersOn(t *testing.T) {
	t.Parallel()
	a := newAsked(t)
	ben, cid := a.ask(t, "ben"), a.ask(t, "cid")
	a.cancel(t)
	early, err := a.at(monday.Add(-time.Second)).ExpireRuns(a.ctx)
	require.NoError(t, err)
	assert.Zero(t, early)
	a.bench = a.at(monday)
	count, err := a.ExpireRuns(a.ctx)
	require.NoError(t, err)
	assert.Equal(t, 2, count, "one lapsed, one is offered it")
	again, err := a.ExpireRuns(a.ctx)
	require.NoError(t, err)
	assert.Zero(t, again)
	assert.Equal(t, domain.TimeWaiting, a.now(t, ben).State)
	assert.Equal(t, domain.TimeOffered, a.now(t, cid).State)
	require.NoError(t, a.WithdrawTimeRequest(a.ctx, as("cid", domain.RoleMaker, "DeleteTimeRequest"), "test", cid.ID(), 0))
	assert.Equal(t, domain.TimeWithdrawn, a.now(t, cid).State)
	require.NoError(t, a.WithdrawTimeRequest(a.ctx, as("cid", domain.RoleMaker, "DeleteTimeRequest"), "test", cid.ID(), 0), "once more does no harm")
}

func TestTheRestOfAMissedFiringIsOffered(t *testing.T) {
	t.Parallel()
	a := newAsked(t)
	ben := a.ask(t, "ben")
	a.bench = a.at(a.window.Start.Add(90 * time.Second))
	_, err := a.CancelRun(a.ctx, as("tom", domain.RoleTechnician, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: a.run.ID, NeverCharged: true})
	require.NoError(t, err)
	offered := a.now(t, ben)
	require.Equal(t, domain.TimeOffered, offered.State)
	assert.Equal(t, domain.Window{Start: a.window.Start.Add(2 * time.Minute), End: a.window.End}, offered.Offer.Window)
}

func TestWhatExpiresAndWhatIsMovedAwayIsOffered(t *testing.T) {
	t.Parallel()
	a := newAsked(t)
	ben := a.ask(t, "ben")
	_, err := a.MoveRuns(a.ctx, as("ada", domain.RoleMaker, "MoveRuns"), app.MoveRunsInput{
		StudioID: "test", Moves: []app.RunMove{{RunID: a.run.ID, Windows: shifted(a.planned.Run.Windows, 24*time.Hour)}}, Acknowledged: codes(a.planned),
	})
	require.NoError(t, err)
	assert.Equal(t, domain.TimeOffered, a.now(t, ben).State)

	waits := newAsked(t)
	waits.cancel(t)
	waits.rule(t, domain.ClearanceRule{ID: "first", FirstRun: true, Role: domain.RoleTechnician, ExpiresAfterHours: 0.25})
	run, blocks, err := waits.tryBook(as("eve", domain.RoleMaker, "BookRun"), waits.planned.Run, codes(waits.planned))
	require.NoError(t, err)
	require.Empty(t, blocks)
	require.Equal(t, domain.RunTentative, run.State())
	cid := waits.ask(t, "cid")
	waits.bench = waits.at(monday.Add(-44 * time.Minute))
	_, err = waits.ExpireRuns(waits.ctx)
	require.NoError(t, err)
	assert.Equal(t, domain.TimeOffered, waits.now(t, cid).State)
}

func TestTheTimeOfACalledOffFiringIsOffered(t *testing.T) {
	t.Parallel()
	a := &asked{bench: newSharedBench(t), furnace: "kiln"}
	opened := a.open(t)
	a.window = opened.Window
	ben := a.ask(t, "ben")
	_, err := a.CancelFiring(a.ctx, by(tove, "CancelFiring"), app.CancelFiringInput{StudioID: "test", FiringID: opened.ID})
	require.NoError(t, err)
	offered := a.now(t, ben)
	require.Equal(t, domain.TimeOffered, offered.State)
	assert.Equal(t, opened.Window, offered.Offer.Window)

	_, err = a.BookFiring(a.ctx, by(tove, "BookFiring"), opening())
	assert.Equal(t, []string{"FURNACE_OFFERED"}, blocked(t, err), "nor is a firing opened over it")
	a.bench = a.at(offered.Offer.ExpireTime)
	a.open(t)
	assert.Equal(t, domain.TimeWaiting, a.now(t, ben).State)
}

// What a shared firing takes in its new place is not free, though its old place was.
func TestAMovedFiringOffersOnlyWhatItLeaves(t *testing.T) {
	t.Parallel()
	a := &asked{bench: newSharedBench(t), furnace: "kiln"}
	opened := a.open(t)
	a.window = opened.Window
	ben := a.ask(t, "ben") // for half of it at least
	move := func(start time.Time) {
		_, err := a.MoveRuns(a.ctx, by(tove, "MoveRuns"), app.MoveRunsInput{
			StudioID: "test", Firings: []app.FiringMove{{FiringID: opened.ID, Start: start}},
		})
		require.NoError(t, err)
	}
	move(opened.Window.Start.Add(30 * time.Minute))
	assert.Equal(t, domain.TimeWaiting, a.now(t, ben).State)
}

// TestNothingIsOfferedThatCannotBeUsed lets the first asker be out of the question for one reason each, so that the second has it.
func TestNothingIsOfferedThatCannotBeUsed(t *testing.T) {
	t.Parallel()
	limit := func(l domain.BookingLimit) domain.BookingRule {
		return domain.BookingRule{Kind: domain.KindBookingLimit, ID: "x", Limit: &l}
	}
	week := []time.Weekday{0, 1, 2, 3, 4, 5, 6}
	for name, c := range map[string]struct {
		rule    domain.BookingRule
		nobody  bool // the second neither
		offered bool // the first all the same
	}{
		"too far ahead":       {rule: limit(domain.BookingLimit{Role: domain.RoleViewer, AheadDays: 0.01})},
		"not too far ahead":   {rule: limit(domain.BookingLimit{Role: domain.RoleViewer, AheadDays: 30}), offered: true},
		"nothing more unused": {rule: limit(domain.BookingLimit{Role: domain.RoleViewer, UnusedHours: 0.1})},
		"allotment is spent":  {rule: allotment(domain.Allotment{ID: "x", Department: "ceramics", FurnaceHours: 0.1}), nobody: true},
		"a class of others": {rule: domain.BookingRule{Kind: domain.KindTaughtHours, ID: "x", Taught: &domain.TaughtHours{
			Department: "glass", Weekly: []domain.WeeklyHours{{Days: week, ClosesMinute: 24 * 60}},
		}}, nobody: true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a := newAsked(t)
			// Asked as a viewer, so that limits by role bind the first only.
			first, err := a.CreateTimeRequest(a.ctx, as("ben", domain.RoleViewer, "CreateTimeRequest"), "test", domain.TimeRequest{
				Department: "ceramics", Furnaces: []string{a.furnace}, Window: a.window, LeastMinutes: 60,
			})
			require.NoError(t, err)
			second := a.ask(t, "cid")
			a.limitBy(t, c.rule)
			a.cancel(t)
			assert.Equal(t, c.offered, a.now(t, first).State == domain.TimeOffered)
			assert.Equal(t, !c.offered && !c.nobody, a.now(t, second).State == domain.TimeOffered)
		})
	}
	a := newAsked(t)
	closed := domain.Closure{ID: "c", SubjectKind: domain.KindFurnace, SubjectID: a.furnace, Start: a.window.Start, End: a.window.End}
	ben := a.ask(t, "ben")
	_, err := a.UpdateEquipment(a.ctx, call("UpdateClosure"), app.EquipmentUpdate{
		StudioID: "test", Equipment: domain.Equipment{Kind: domain.KindClosure, ID: "c", Closure: &closed}, AllowMissing: true,
	})
	require.NoError(t, err)
	a.cancel(t)
	assert.Equal(t, domain.TimeWaiting, a.now(t, ben).State, "it is closed")
}

func TestWhoAsksForWhatAndSeesWhat(t *testing.T) {
	t.Parallel()
	a := newAsked(t)
	_, err := a.UpdateDepartment(a.ctx, call("UpdateDepartment"), "test", domain.Department{ID: "ceramics"}, allowMissing)
	require.NoError(t, err)
	_, err = a.UpdateDepartment(a.ctx, call("UpdateDepartment"), "test", domain.Department{ID: "glass"}, allowMissing)
	require.NoError(t, err)
	a.staff(t, domain.Person{ID: "ben", Role: domain.RoleMaker, Departments: []string{"ceramics"}})
	ben := a.ask(t, "ben")
	own := as("ben", domain.RoleMaker, "CreateTimeRequest")
	own.OwnOnly = true
	wish := domain.TimeRequest{Department: "glass", Furnaces: []string{a.furnace}, Window: a.window, LeastMinutes: 60}
	_, err = a.CreateTimeRequest(a.ctx, own, "test", wish)
	assert.ErrorIs(t, err, domain.ErrForbidden)
	wish.Department, wish.Furnaces = "ceramics", []string{a.furnace, "none"}
	_, err = a.CreateTimeRequest(a.ctx, own, "test", wish)
	assert.Equal(t, "furnaces[1]", finding.FaultsOf(err)[0].Field)
	other := as("eve", domain.RoleMaker, "ListTimeRequests")
	other.OwnOnly = true
	list, err := a.ListTimeRequests(a.ctx, other, app.TimeRequestsQuery{StudioID: "test"})
	require.NoError(t, err)
	assert.Empty(t, list)
	_, err = a.GetTimeRequest(a.ctx, other, "test", ben.ID())
	assert.ErrorIs(t, err, domain.ErrNotFound)
	_, err = a.DeclineTimeOffer(a.ctx, other, "test", ben.ID(), 0)
	assert.ErrorIs(t, err, domain.ErrNotFound)
	list, err = a.ListTimeRequests(a.ctx, call("ListTimeRequests"), app.TimeRequestsQuery{StudioID: "test"})
	require.NoError(t, err)
	assert.Len(t, list, 1)
	wish.Furnaces = []string{a.furnace}
	for range 19 {
		_, err = a.CreateTimeRequest(a.ctx, own, "test", wish)
		require.NoError(t, err)
	}
	_, err = a.CreateTimeRequest(a.ctx, own, "test", wish)
	assert.ErrorIs(t, err, domain.ErrWrongState)
	require.NoError(t, a.DeletePerson(a.ctx, call("DeletePerson"), "test", "ben", 0))
	assert.Equal(t, domain.TimeWithdrawn, a.now(t, ben).State, "who leaves asks for nothing")
	a.cancel(t)
	assert.Equal(t, domain.TimeWithdrawn, a.now(t, ben).State)
}

func TestWhoAskedIsWrittenTo(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	m.person(t, domain.Person{ID: "ben", Role: domain.RoleMaker}, domain.MailAtOnce)
	m.person(t, domain.Person{ID: "cid", Role: domain.RoleMaker}, domain.MailAtOnce)
	a := askedOn(t, m.bench)
	a.ask(t, "ben")
	a.cancel(t)
	m.clock = m.clock.Add(2 * time.Minute)
	_, err := m.server().DeliverMail(m.ctx)
	require.NoError(t, err)
	letters := m.office.to("ben@example.edu")
	require.Len(t, letters, 1)
	assert.Contains(t, letters[0], "It is held for you until Mon 1 Mar 2027 08:00")
	assert.Contains(t, letters[0], "saggar request decline t")
	for _, letter := range m.office.to("cid@example.edu") {
		assert.NotContains(t, letter, "held for you")
	}
}

// TestOfferedTimeIsNeverBookedByOthers lets callers on several servers book, call off, decline and ask at random over the same
// time, and then goes through the change log: whatever was booked over an offer that stood was booked by its owner, which ended
// it, and no two offers ever stood over the same time of one furnace.
func TestOfferedTimeIsNeverBookedByOthers(t *testing.T) {
	t.Parallel()
	seed := raceSeed(t)
	connString := pgtest.New(t)
	a := askedOn(t, benchOn(t, connString))
	makers := []string{"ada", "ben", "cid"}
	var group sync.WaitGroup
	for i := range 6 {
		kept, err := store.Open(a.ctx, connString, store.Options{MaxConnections: 3})
		require.NoError(t, err)
		t.Cleanup(kept.Close)
		server := bench{app.New(kept, func() time.Time { return monday.Add(-time.Hour) }, rand.NewChaCha8([32]byte{byte(i)})), kept, a.ctx}
		group.Go(func() {
			(&asked{bench: server, planned: a.planned, run: a.run, furnace: a.furnace, window: a.window}).race(t, seed, i, makers)
		})
	}
	group.Wait()
	changes, err := a.ListChanges(a.ctx, "test", 0, 1000)
	require.NoError(t, err)
	held, counts := map[string]domain.TimeRequest{}, map[string]int{}
	for _, c := range changes {
		n := domain.NoticeOf(c)
		if run := n.RunAfter; run != nil && n.Action == domain.ActionCreated {
			counts["booked"]++
			for _, r := range held {
				over := run.Loads[0].Furnace == r.Offer.Furnace && (domain.Window{Start: run.Loads[0].Start, End: run.Loads[0].End}).Overlaps(r.Offer.Window)
				assert.False(t, over && run.Maker != r.Asker, "revision %d: %s booked over what was held for %s", c.Revision, run.Maker, r.Asker)
			}
		}
		if r := n.TimeRequest; r != nil {
			counts[string(r.State)]++
			delete(held, n.Subject)
			if r.Offer == nil {
				continue
			}
			for _, other := range held {
				assert.False(t, other.Offer.Furnace == r.Offer.Furnace && other.Offer.Window.Overlaps(r.Offer.Window), "revision %d: held twice", c.Revision)
			}
			held[n.Subject] = *r
		}
	}
	t.Log(counts)
	require.Positive(t, counts["TAKEN"], "the race met no offer that was taken: it shows nothing")
	for _, r := range held {
		for _, f := range (&race{bench: a.bench}).allFirings(t) {
			assert.False(t, f.Furnace == r.Offer.Furnace && f.Window.Overlaps(r.Offer.Window), "%s stands over what is held for %s", f.ID, r.Asker)
		}
	}
}

func (a *asked) race(t *testing.T, seed uint64, stream int, makers []string) {
	random := rand.New(rand.NewPCG(seed, uint64(stream)))
	who := makers[stream%len(makers)]
	var own []string
	if stream == 0 {
		own = append(own, a.run.ID) // ada's
	}
	for range 24 {
		var err error
		day := time.Duration(random.IntN(4)) * 24 * time.Hour
		switch pick := random.IntN(8); {
		case pick < 2:
			_, err = a.CreateTimeRequest(a.ctx, as(who, domain.RoleMaker, "CreateTimeRequest"), "test", domain.TimeRequest{
				Department: "ceramics", Furnaces: []string{a.furnace}, LeastMinutes: 60,
				Window: domain.Window{Start: a.window.Start, End: a.window.End.Add(day)},
			})
		case pick < 5:
			var run domain.Run
			var blocks []finding.Finding
			run, blocks, err = a.tryBook(as(who, domain.RoleMaker, "BookRun"), postponed(a.planned.Run, day), codes(a.planned))
			if err == nil && len(blocks) == 0 {
				own = append(own, run.ID)
			}
		case pick < 7:
			for _, id := range own {
				_, lost := a.CancelRun(a.ctx, as(who, domain.RoleMaker, "CancelRun"), app.CancelRunInput{StudioID: "test", RunID: id})
				assert.NoError(t, lost)
			}
			own = nil
		default:
			list, lost := a.ListTimeRequests(a.ctx, app.Call{Caller: domain.Caller{ID: who}, OwnOnly: true}, app.TimeRequestsQuery{StudioID: "test"})
			err = lost
			for _, r := range list {
				if r.Offer != nil {
					_, err = a.DeclineTimeOffer(a.ctx, as(who, domain.RoleMaker, "DeclineTimeOffer"), "test", r.ID(), 0)
				}
			}
		}
		if !errors.Is(err, domain.ErrChangedMeanwhile) && !errors.Is(err, domain.ErrWrongState) {
			assert.NoError(t, err)
		}
	}
}
