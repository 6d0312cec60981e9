package app_test

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

// office takes letters, or fails as a test wants; one that is real is talked to in server/post.
type office struct {
	mu      sync.Mutex
	letters []domain.Letter
	fail    error
}

func (o *office) send(_ context.Context, letter domain.Letter) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.fail != nil {
		return o.fail
	}
	o.letters = append(o.letters, letter)
	return nil
}

func (o *office) to(address string) (bodies []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, letter := range o.letters {
		if letter.To == address {
			bodies = append(bodies, letter.Body)
		}
	}
	return bodies
}

// mailed is the test studio with an office and a clock that a test moves.
type mailed struct {
	bench
	office *office
	clock  time.Time
}

func newMailed(t *testing.T) *mailed {
	t.Helper()
	m := &mailed{bench: newBench(t), office: &office{}, clock: monday.Add(-time.Hour)}
	m.App = m.server()
	return m
}

// server is another server on the same database with the same office.
func (m *mailed) server() *app.App {
	a := app.New(m.store, func() time.Time { return m.clock }, rand.Reader)
	a.SendMail(m.office.send)
	return a
}

// person adds somebody who wants letters.
func (m *mailed) person(t *testing.T, p domain.Person, pace domain.MailPace) {
	t.Helper()
	_, err := m.UpdatePerson(m.ctx, call("UpdatePerson"), "test", p, app.Expectation{AllowMissing: true})
	require.NoError(t, err)
	_, err = m.UpdateMailChoice(m.ctx, call("UpdateMailChoice"), "test",
		domain.MailChoice{PersonID: p.ID, Email: p.ID + "@example.edu", Pace: pace}, app.Expectation{AllowMissing: true})
	require.NoError(t, err)
}

// bookAs books a run of the red recipe as a maker.
func (m *mailed) bookAs(t *testing.T, maker string) domain.Run {
	t.Helper()
	answer := m.plan(t, request("red", 1), m.clock.Add(time.Hour))
	c := app.Call{Caller: domain.Caller{ID: maker, Role: domain.RoleMaker}, Method: "BookRun"}
	booked, err := m.BookRun(m.ctx, c, app.BookRunInput{StudioID: "test", Runs: []app.RunRequest{answer.Run}, Acknowledged: codes(answer)})
	require.NoError(t, err)
	return booked.Runs[0]
}

// deliver looks after everybody who is due.
func (m *mailed) deliver(t *testing.T) {
	t.Helper()
	for range 100 {
		due, err := m.DeliverMail(m.ctx)
		require.NoError(t, err)
		if !due {
			return
		}
	}
	require.Fail(t, "somebody is due for ever")
}

func (m *mailed) later(d time.Duration) { m.clock = m.clock.Add(d) }

func (m *mailed) cancel(t *testing.T, run domain.Run, by domain.Caller) {
	t.Helper()
	_, err := m.CancelRun(m.ctx, app.Call{Caller: by, Method: "CancelRun"}, app.CancelRunInput{StudioID: "test", RunID: run.ID, NeverCharged: true})
	require.NoError(t, err)
}

func TestPeopleAreToldOfWhatOthersChangeAboutTheirRuns(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	tom := domain.Caller{ID: "tom", Role: domain.RoleTechnician}
	m.person(t, domain.Person{ID: "ada", Role: domain.RoleMaker}, domain.MailAtOnce)
	m.person(t, domain.Person{ID: "ben", Role: domain.RoleMaker}, domain.MailAtOnce)
	m.person(t, domain.Person{ID: "tom", Role: domain.RoleTechnician, Trainings: []domain.Training{
		{Subject: "furnaces/pot", DoneOn: "2027-01-01", ExpiresOn: "2028-01-01"},
	}}, domain.MailAtOnce)
	m.person(t, domain.Person{ID: "tess", Role: domain.RoleTechnician, Trainings: []domain.Training{
		{Subject: "furnaces/dust-hood", DoneOn: "2027-01-01", ExpiresOn: "2028-01-01"},
	}}, domain.MailAtOnce)
	own := m.bookAs(t, "ada")
	m.later(2 * time.Minute)
	m.deliver(t)
	assert.Empty(t, m.office.to("ada@example.edu"), "what one did oneself")
	require.Len(t, m.office.to("tom@example.edu"), 1, "whoever looks after the bay")
	assert.Contains(t, m.office.to("tom@example.edu")[0], "ada booked the run of ada "+own.ID)
	assert.Empty(t, m.office.to("tess@example.edu"), "whoever looks after another room")

	load := own.Loads[0]
	_, err := m.UpdateEquipment(m.ctx, app.Call{Caller: tom, Method: "UpdateClosure"}, app.EquipmentUpdate{StudioID: "test", AllowMissing: true, Equipment: domain.Equipment{
		Kind: domain.KindClosure, ID: "fan", Closure: &domain.Closure{
			ID: "fan", SubjectKind: domain.KindCircuit, SubjectID: "fan", Start: load.Window.Start, End: load.Window.End, Reason: "bearing",
		},
	}})
	require.NoError(t, err)
	m.cancel(t, own, tom)
	m.later(2 * time.Minute)
	m.deliver(t)
	ada := m.office.to("ada@example.edu")
	require.Len(t, ada, 1, "two changes, one letter")
	assert.Contains(t, ada[0], "tom called off your run "+own.ID+" (red).\n  calcine in "+load.Firing.Furnace+" ")
	assert.Empty(t, m.office.to("ben@example.edu"), "whom nothing hit")
	assert.Len(t, m.office.to("tom@example.edu"), 1, "tom's own doing")
}

func TestAClosureIsToldToThoseWhoseRunsItHits(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	for _, id := range []string{"ada", "ben"} {
		m.person(t, domain.Person{ID: id, Role: domain.RoleMaker}, domain.MailAtOnce)
	}
	run := m.bookAs(t, "ada")
	start := run.Loads[0].Window.Start
	closeBay := func(id string, from, to time.Time) {
		_, err := m.UpdateEquipment(m.ctx, call("UpdateClosure"), app.EquipmentUpdate{StudioID: "test", AllowMissing: true, Equipment: domain.Equipment{
			Kind: domain.KindClosure, ID: id, Closure: &domain.Closure{ID: id, SubjectKind: domain.KindRoom, SubjectID: "bay", Start: from, End: to, Reason: "floor\r\nBcc: x"},
		}})
		require.NoError(t, err)
	}
	closeBay("hits", start.Add(time.Hour), start.Add(2*time.Hour))
	closeBay("misses", start.AddDate(0, 1, 0), start.AddDate(0, 2, 0))
	m.later(2 * time.Minute)
	m.deliver(t)
	ada := m.office.to("ada@example.edu")
	require.Len(t, ada, 1)
	assert.Contains(t, ada[0], "steward closed rooms/bay from ")
	assert.Contains(t, ada[0], "(floor  Bcc: x).\n  It hits your run "+run.ID+": calcine in ")
	assert.Equal(t, 1, strings.Count(ada[0], "closed rooms/bay"), "the one that hits nothing is not told")
	assert.Empty(t, m.office.to("ben@example.edu"))
}

func TestADigestWaitsForItsTimeAndNoneIsNone(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	m.person(t, domain.Person{ID: "ada", Role: domain.RoleMaker}, domain.MailDaily)
	m.person(t, domain.Person{ID: "ben", Role: domain.RoleMaker}, domain.MailNone)
	m.person(t, domain.Person{ID: "cid", Role: domain.RoleMaker}, domain.MailHourly)
	runs := map[string][]domain.Run{}
	for _, id := range []string{"ada", "ben", "cid"} {
		runs[id] = append(runs[id], m.bookAs(t, id), m.bookAs(t, id))
	}
	for _, of := range runs {
		m.cancel(t, of[0], steward)
	}
	m.later(2 * time.Hour) // 09:00
	m.deliver(t)
	assert.Empty(t, m.office.to("ada@example.edu"))
	assert.Len(t, m.office.to("cid@example.edu"), 1)
	m.cancel(t, runs["ada"][1], steward)
	m.later(22 * time.Hour) // the next day's 07:00
	m.deliver(t)
	ada := m.office.to("ada@example.edu")
	require.Len(t, ada, 1)
	assert.Equal(t, 2, strings.Count(ada[0], "called off your run"))
	assert.Empty(t, m.office.to("ben@example.edu"))
	m.later(24 * time.Hour)
	m.deliver(t)
	assert.Len(t, m.office.letters, 2, "nothing happened, nothing is written")
}

func TestWhatCannotBeSentIsTriedAgainAndGivenUpInTheEnd(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	m.person(t, domain.Person{ID: "ada", Role: domain.RoleMaker}, domain.MailAtOnce)
	choice := func() domain.MailChoice {
		found, err := m.GetMailChoice(m.ctx, call("GetMailChoice"), "test", "ada")
		require.NoError(t, err)
		return found
	}
	m.cancel(t, m.bookAs(t, "ada"), steward)
	m.office.fail = errors.New("connection refused\r\nby 192.0.2.1")
	m.later(2 * time.Minute)
	due, err := m.DeliverMail(m.ctx)
	assert.True(t, due)
	assert.ErrorContains(t, err, "connection refused")
	failed := choice()
	assert.Equal(t, "connection refused  by 192.0.2.1", failed.Failure, "for stewards to see, on one line")
	assert.Equal(t, m.clock.Add(time.Minute), failed.NextTime)
	due, err = m.DeliverMail(m.ctx)
	require.NoError(t, err)
	assert.False(t, due, "not before the pause is over")
	m.cancel(t, m.bookAs(t, "ada"), steward) // which belongs to the next letter
	pauses := []time.Duration{}
	for choice().DroppedTime.IsZero() {
		require.Less(t, len(pauses), 20, "given up in the end")
		next := choice().NextTime
		pauses = append(pauses, next.Sub(m.clock))
		m.clock = next
		_, _ = m.DeliverMail(m.ctx)
	}
	assert.Len(t, pauses, 11)
	assert.Equal(t, 6*time.Hour, pauses[10], "pauses grow to a bound")
	m.office.fail = nil
	m.later(time.Hour)
	m.deliver(t)
	require.Len(t, m.office.letters, 1, "the next letter goes out")
	assert.Equal(t, 1, strings.Count(m.office.letters[0].Body, "called off"))
	assert.Empty(t, choice().Failure)

	m.cancel(t, m.bookAs(t, "ada"), steward)
	m.office.fail = domain.LetterRefused{Cause: errors.New("550 no such mailbox")}
	m.later(time.Hour)
	_, err = m.DeliverMail(m.ctx)
	require.Error(t, err)
	assert.Equal(t, m.clock, choice().DroppedTime, "what is refused for good is given up at once")
	assert.Equal(t, "refused for good: 550 no such mailbox", choice().Failure)
}

// TestALetterSentTwiceAfterACrashIsKnownForOne crashes between sending and noting, by a panic, and lets another server go on once
// the lease is over, while more happens.
func TestALetterSentTwiceAfterACrashIsKnownForOne(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	m.person(t, domain.Person{ID: "ada", Role: domain.RoleMaker}, domain.MailAtOnce)
	m.cancel(t, m.bookAs(t, "ada"), steward)
	m.later(2 * time.Minute)
	crashing := m.server()
	crashing.SendMail(func(ctx context.Context, letter domain.Letter) error {
		_ = m.office.send(ctx, letter)
		panic("crash")
	})
	assert.Panics(t, func() { _, _ = crashing.DeliverMail(m.ctx) })
	m.cancel(t, m.bookAs(t, "ada"), steward)
	due, err := m.DeliverMail(m.ctx)
	require.NoError(t, err)
	assert.False(t, due, "the crashed server still has the letter")
	m.later(6 * time.Minute)
	m.deliver(t)
	m.later(2 * time.Minute)
	m.deliver(t)
	require.Len(t, m.office.letters, 3)
	first, again, next := m.office.letters[0], m.office.letters[1], m.office.letters[2]
	assert.Equal(t, first.ID, again.ID)
	assert.Equal(t, first.Body, again.Body, "the same letter, though more happened")
	assert.NotEqual(t, first.ID, next.ID)
}

// TestServersNeverSendALetterTwice lets four servers look after thirty people at the same time.
func TestServersNeverSendALetterTwice(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	const people = 30
	for i := range people {
		m.person(t, domain.Person{ID: fmt.Sprint("p", i), Role: domain.RoleTechnician}, domain.MailAtOnce)
	}
	m.cancel(t, m.bookAs(t, "p0"), steward)
	m.later(2 * time.Minute)
	var group sync.WaitGroup
	for range 4 {
		server := m.server()
		group.Go(func() {
			for {
				due, err := server.DeliverMail(m.ctx)
				if !assert.NoError(t, err) || !due {
					return
				}
			}
		})
	}
	group.Wait()
	seen := map[string]int{}
	for _, letter := range m.office.letters {
		seen[letter.To]++
	}
	assert.Len(t, seen, people)
	for to, count := range seen {
		assert.Equal(t, 1, count, to)
	}
}

func TestWhoLeavesIsNotWrittenTo(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	m.person(t, domain.Person{ID: "ada", Role: domain.RoleMaker}, domain.MailAtOnce)
	m.cancel(t, m.bookAs(t, "ada"), steward)
	require.NoError(t, m.DeletePerson(m.ctx, call("DeletePerson"), "test", "ada", 0))
	m.later(time.Hour)
	m.deliver(t)
	assert.Empty(t, m.office.letters)
	_, err := m.UpdateMailChoice(m.ctx, call("UpdateMailChoice"), "test", domain.MailChoice{PersonID: "ada", Email: "ada@example.edu", Pace: domain.MailDaily},
		app.Expectation{AllowMissing: true})
	assert.ErrorContains(t, err, "there is no person ada")
	_, err = app.New(m.store, time.Now, rand.Reader).UpdateMailChoice(m.ctx, call("UpdateMailChoice"), "test", domain.MailChoice{PersonID: "ada"},
		app.Expectation{AllowMissing: true})
	assert.ErrorIs(t, err, domain.ErrWrongState, "a server that sends no letters says so")
}

// TestALetterIsBoundedAndTheTraceTellsNoAddress books and calls off more than one letter tells.
func TestTheTraceTellsNoAddress(t *testing.T) {
	t.Parallel()
	connString := pgtest.New(t)
	m := &mailed{bench: benchOn(t, connString), office: &office{}, clock: monday.Add(-time.Hour)}
	m.App = m.server()
	m.person(t, domain.Person{ID: "ada", Role: domain.RoleMaker}, domain.MailAtOnce)
	require.NoError(t, m.store.InSnapshot(m.ctx, func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.Studio(ctx, "test")
		require.NoError(t, err)
		changes, err := tx.ListChanges(ctx, studio.Key, 0, 0)
		require.NoError(t, err)
		last := changes[len(changes)-1]
		assert.Equal(t, "mailChoices/ada", last.Subject)
		assert.NotContains(t, fmt.Sprintf("%s", last.After), "example.edu")
		return nil
	}))
}
