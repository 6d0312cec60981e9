package app_test

import (
	"context"
	"crypto/rand"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

// anotherServer is an application with a store of its own on the same database, which hears of changes.
func anotherServer(t *testing.T, connString string) *app.App {
	t.Helper()
	st, err := store.Open(t.Context(), connString, store.Options{})
	require.NoError(t, err)
	a := app.New(st, time.Now, rand.Reader)
	ctx, cancel := context.WithCancel(context.Background())
	var group sync.WaitGroup
	group.Go(func() { a.RunWatches(ctx) })
	t.Cleanup(func() {
		cancel()
		group.Wait()
		st.Close()
	})
	return a
}

// listener follows as somebody and hands out what was told.
type listener struct {
	answers chan app.WatchAnswer
	ended   chan error
	leave   context.CancelFunc
}

func listen(t *testing.T, a *app.App, who domain.Caller, in app.WatchInput) *listener {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	l := &listener{answers: make(chan app.WatchAnswer, 1000), ended: make(chan error, 1), leave: cancel}
	allowed := func(context.Context) (app.Call, error) { return app.Call{Caller: who}, nil }
	go func() {
		l.ended <- a.WatchStudio(ctx, in, allowed, func(answer app.WatchAnswer) error {
			l.answers <- answer
			return nil
		})
	}()
	return l
}

// next waits for an answer.
func (l *listener) next(t *testing.T) app.WatchAnswer {
	t.Helper()
	select {
	case answer := <-l.answers:
		return answer
	case err := <-l.ended:
		require.NoError(t, err, "the watch ended")
	case <-time.After(30 * time.Second):
		require.Fail(t, "nothing is told")
	}
	return app.WatchAnswer{}
}

func (l *listener) subjects(t *testing.T, until int64) (subjects []string) {
	t.Helper()
	for {
		answer := l.next(t)
		for _, n := range answer.Notices {
			subjects = append(subjects, n.Subject)
		}
		if answer.Revision >= until {
			return subjects
		}
	}
}

func after(revision int64) *int64 { return &revision }

func TestAChangeOnOneServerIsHeardOnAnother(t *testing.T) {
	t.Parallel()
	connString := pgtest.New(t)
	b := benchOn(t, connString)
	other := anotherServer(t, connString)
	viewer := domain.Caller{ID: "vic", Role: domain.RoleViewer}
	all := listen(t, other, viewer, app.WatchInput{StudioID: "test"})
	begun := all.next(t)
	assert.Empty(t, begun.Notices, "from now on")
	answer := b.plan(t, request("red", 1), monday)
	booked, err := b.book(answer, "")
	require.NoError(t, err)
	told := all.next(t)
	require.Len(t, told.Notices, 1)
	n := told.Notices[0]
	assert.Equal(t, begun.Revision+1, told.Revision)
	assert.Equal(t, "runs/"+booked.Runs[0].ID, n.Subject)
	assert.Equal(t, booked.Runs[0].Loads[0].Firing.Furnace, n.RunAfter.Loads[0].Furnace)
	assert.Nil(t, n.RunBefore)

	again := listen(t, other, viewer, app.WatchInput{StudioID: "test", After: after(begun.Revision)})
	again.next(t)
	assert.Equal(t, told.Notices[0].Subject, again.next(t).Notices[0].Subject, "from a revision that is past")
	whole := listen(t, other, viewer, app.WatchInput{StudioID: "test", After: after(0), Filter: domain.NoticeFilter{Kinds: []string{"furnaces"}}})
	assert.ElementsMatch(t, []string{"furnaces/dust-hood", "furnaces/pot", "furnaces/muffle-a", "furnaces/muffle-b", "furnaces/kiln"},
		whole.subjects(t, 1+7+4), "the whole log, filtered")
}

func TestKeysOfOthersAreNotNoticed(t *testing.T) {
	t.Parallel()
	connString := pgtest.New(t)
	b := benchOn(t, connString)
	for _, id := range []string{"ada", "ben"} {
		_, err := b.UpdatePerson(b.ctx, call("UpdatePerson"), "test", domain.Person{ID: id, Role: domain.RoleMaker}, app.Expectation{AllowMissing: true})
		require.NoError(t, err)
		_, _, err = b.CreateAccessKey(b.ctx, call("CreateAccessKey"), app.NewKey{StudioID: "test", Caller: domain.Caller{ID: id, Role: domain.RoleMaker}})
		require.NoError(t, err)
		_, err = b.CreateTimeRequest(b.ctx, as(id, domain.RoleMaker, "CreateTimeRequest"), "test", domain.TimeRequest{
			Furnaces: []string{"pot"}, Window: domain.Window{Start: monday, End: monday.Add(time.Hour)}, LeastMinutes: 60,
		})
		require.NoError(t, err)
	}
	_, err := b.UpdateDepartment(b.ctx, call("UpdateDepartment"), "test", domain.Department{ID: "last"}, app.Expectation{AllowMissing: true})
	require.NoError(t, err)
	studio, err := b.GetStudio(b.ctx, "test")
	require.NoError(t, err)
	other := anotherServer(t, connString)
	for caller, want := range map[domain.Caller][2]int{ // keys, and requests for time
		{ID: "ada", Role: domain.RoleMaker}: {1, 1}, {ID: "tom", Role: domain.RoleTechnician}: {0, 2}, steward: {2, 2},
	} {
		l := listen(t, other, caller, app.WatchInput{StudioID: "test", After: after(0)})
		heard := map[string]int{}
		for _, subject := range l.subjects(t, studio.Revision) {
			kind, _, _ := strings.Cut(subject, "/")
			heard[kind]++
		}
		assert.Equal(t, want, [2]int{heard["accessKeys"], heard["timeRequests"]}, "what %s hears of", caller.ID)
	}
}

func TestARevisionThatIsNotKeptOrNotReachedIsRefused(t *testing.T) {
	t.Parallel()
	connString := pgtest.New(t)
	b := benchOn(t, connString)
	other := anotherServer(t, connString)
	beyond := listen(t, other, steward, app.WatchInput{StudioID: "test", After: after(1 << 40)})
	err := <-beyond.ended
	require.ErrorIs(t, err, domain.ErrOutOfRange)
	assert.ErrorContains(t, err, "was never at")
	assert.ErrorIs(t, <-listen(t, other, steward, app.WatchInput{StudioID: "nowhere"}).ended, domain.ErrNotFound)

	// The schema's owner cuts the beginning of the log off.
	conn, err := pgx.Connect(b.ctx, connString)
	require.NoError(t, err)
	defer conn.Close(b.ctx)
	_, err = conn.Exec(b.ctx, "ALTER TABLE changes DISABLE TRIGGER changes_only_added; DELETE FROM changes WHERE revision <= 5")
	require.NoError(t, err)
	gone := listen(t, other, steward, app.WatchInput{StudioID: "test", After: after(2)})
	gone.next(t)
	err = <-gone.ended
	require.ErrorIs(t, err, domain.ErrOutOfRange)
	assert.ErrorContains(t, err, "revision 3 is no longer kept; the oldest after it is 6")
}

// TestALostBellDelaysAndLosesNothing writes a change in plain SQL, which rings no bell.
func TestALostBellDelaysAndLosesNothing(t *testing.T) {
	t.Parallel()
	connString := pgtest.New(t)
	b := benchOn(t, connString)
	l := listen(t, anotherServer(t, connString), steward, app.WatchInput{StudioID: "test"})
	begun := l.next(t)
	conn, err := pgx.Connect(b.ctx, connString)
	require.NoError(t, err)
	defer conn.Close(b.ctx)
	_, err = conn.Exec(b.ctx, `BEGIN;
		UPDATE studios SET revision = revision + 1 WHERE studio_id = 'test';
		INSERT INTO changes (studio_key, revision, change_time, caller_id, method, subject)
		SELECT studio_key, revision, now(), 'sql', 'Silent', 'rooms/quiet' FROM studios WHERE studio_id = 'test';
		COMMIT`)
	require.NoError(t, err)
	told := l.next(t)
	assert.Equal(t, begun.Revision+1, told.Revision)
	assert.Equal(t, "rooms/quiet", told.Notices[0].Subject)
}

// TestWatchesGoOnAfterTheDatabaseCutEveryConnection cuts them all, the one that listens too.
func TestWatchesGoOnAfterTheDatabaseCutEveryConnection(t *testing.T) {
	t.Parallel()
	connString := pgtest.New(t)
	b := benchOn(t, connString)
	l := listen(t, anotherServer(t, connString), steward, app.WatchInput{StudioID: "test"})
	l.next(t)
	conn, err := pgx.Connect(b.ctx, connString)
	require.NoError(t, err)
	defer conn.Close(b.ctx)
	for i := range 3 {
		_, err = conn.Exec(b.ctx, `SELECT pg_terminate_backend(pid) FROM pg_stat_activity
			WHERE datname = current_database() AND pid <> pg_backend_pid()`)
		require.NoError(t, err)
		id := string(rune('a' + i))
		_, err = b.UpdateDepartment(b.ctx, call("UpdateDepartment"), "test", domain.Department{ID: id}, app.Expectation{AllowMissing: true})
		require.NoError(t, err)
		assert.Equal(t, "departments/"+id, l.next(t).Notices[0].Subject)
	}
}
