package app_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/pgtest"
)

// traced is a bench with every kind of change in its trace, and a way past the server.
func traced(t *testing.T) (bench, func(statement string)) {
	t.Helper()
	connString := pgtest.New(t)
	b := benchOn(t, connString)
	booked, err := b.book(b.plan(t, request("red", 1), monday), "")
	require.NoError(t, err)
	b.key(t, "ada", time.Time{})
	_, err = b.CancelRun(b.ctx, call("CancelRun"), app.CancelRunInput{StudioID: "test", RunID: booked.Runs[0].ID, ExpectRevision: 0})
	require.NoError(t, err)
	require.NoError(t, b.DeletePerson(b.ctx, call("DeletePerson"), "test", "ada", 0))
	conn, err := pgx.Connect(b.ctx, connString)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	_, err = conn.Exec(b.ctx, "SET session_replication_role = replica") // past the trigger too
	require.NoError(t, err)
	return b, func(statement string) {
		_, err := conn.Exec(b.ctx, statement)
		require.NoError(t, err, statement)
	}
}

// headsOf is where one trace ends now.
func (b bench) headsOf(t *testing.T, studioID string) []domain.TraceHead {
	t.Helper()
	heads, err := b.TraceHeads(b.ctx)
	require.NoError(t, err)
	return slices.DeleteFunc(heads, func(head domain.TraceHead) bool { return head.StudioID != studioID })
}

func TestATraceIsWholeAfterEveryKindOfChange(t *testing.T) {
	t.Parallel()
	b, _ := traced(t)
	report, err := b.VerifyTrace(b.ctx, "test", nil)
	require.NoError(t, err)
	assert.Empty(t, report.Faults)
	assert.Zero(t, report.UnlinkedCount)
	studio, err := b.GetStudio(b.ctx, "test")
	require.NoError(t, err)
	assert.EqualValues(t, studio.Revision, report.ChangeCount)
	changes, err := b.ListChanges(b.ctx, "test", report.Head.Revision-1, 1)
	require.NoError(t, err)
	require.Equal(t, "DeletePerson", changes[0].Method)
	keys, err := b.ListAccessKeys(b.ctx, call("ListAccessKeys"), app.AccessKeysQuery{StudioID: "test", ShowEnded: true})
	require.NoError(t, err)
	require.Len(t, keys, 1)
	for _, told := range []string{`"id": "ada"`, `"ended_keys": ["` + keys[0].ID + `"]`} {
		assert.Contains(t, fmt.Sprintf("%s", changes[0].Before), told, "who left, and which keys ended with it")
	}
	heads := b.headsOf(t, "test")
	require.Len(t, heads, 1)
	assert.Equal(t, report.Head.ChainSHA256, heads[0].ChainSHA256)
	report, err = b.VerifyTrace(b.ctx, "test", heads)
	require.NoError(t, err)
	assert.Empty(t, report.Faults)
	assert.Equal(t, 1, report.HeadCount)
	_, err = b.VerifyTrace(b.ctx, "nowhere", nil)
	assert.ErrorIs(t, err, domain.ErrNotFound)
}

func TestTamperingWithTheTraceShows(t *testing.T) {
	t.Parallel()
	b, tamper := traced(t)
	heads := b.headsOf(t, "test")
	last := heads[0].Revision
	for name, c := range map[string]struct {
		statement, says string
	}{
		"caller":  {"UPDATE changes SET caller_id = 'eve' WHERE revision = 3", "revision 3 is not what was written"},
		"time":    {"UPDATE changes SET change_time = change_time + interval '1 microsecond' WHERE revision = 4", "revision 4 is not"},
		"body":    {`UPDATE changes SET after = after || '{"title": "other"}' WHERE revision = 5`, "revision 5 is not"},
		"nothing": {"UPDATE changes SET before = '{}' WHERE revision = 2 AND before IS NULL", "revision 2 is not"},
		"key":     {"UPDATE changes SET key_id = 'k9' WHERE revision = 6", "revision 6 is not"},
		"address": {"UPDATE changes SET caller_address = '192.0.2.9' WHERE revision = 6", "revision 6 is not"},
		"link":    {"UPDATE changes SET chain_sha256 = decode(repeat('ab', 32), 'hex') WHERE revision = 7", "revision 7 is not"},
		"no link": {"UPDATE changes SET chain_sha256 = NULL WHERE revision = 8", "revision 8 has lost its link"},
		"removed": {"DELETE FROM changes WHERE revision = 5", "revisions 5 to 5 are missing"},
		"swapped": {"UPDATE changes SET revision = 14 - revision - 1000 WHERE revision IN (6, 7); " +
			"UPDATE changes SET revision = revision + 999 WHERE revision < 0", "is not what was written"},
		"begun later": {"DELETE FROM changes WHERE revision <= 2", "revisions 1 to 2 are missing"},
		"cut off":     {fmt.Sprintf("DELETE FROM changes WHERE revision > %d", last-2), fmt.Sprintf("ends at revision %d, the studio is at %d", last-2, last)},
		"cut off with the studio's row": {fmt.Sprintf(`DELETE FROM changes WHERE revision > %[1]d;
			UPDATE studios SET revision = %[1]d, equipment_revision = 0, own_revision = 0,
				chain_sha256 = (SELECT chain_sha256 FROM changes WHERE revision = %[1]d)`, last-2),
			fmt.Sprintf("ends at revision %d, and was seen to end at %d", last-2, last)},
		"replaced": {fmt.Sprintf(`UPDATE changes SET chain_sha256 = decode(repeat('cd', 32), 'hex') WHERE revision = %d;
			UPDATE studios SET chain_sha256 = decode(repeat('cd', 32), 'hex')`, last), "had another link when it was the last"},
	} {
		t.Run(name, func(t *testing.T) {
			tamper("CREATE TABLE kept_changes AS TABLE changes; CREATE TABLE kept_studios AS TABLE studios")
			tamper(c.statement)
			report, err := b.VerifyTrace(b.ctx, "test", heads)
			require.NoError(t, err)
			require.NotEmpty(t, report.Faults)
			assert.Contains(t, fmt.Sprint(report.Faults), c.says)
			tamper("DELETE FROM changes; INSERT INTO changes SELECT * FROM kept_changes; DROP TABLE kept_changes")
			tamper(`UPDATE studios s SET revision = k.revision, equipment_revision = k.equipment_revision, own_revision = k.own_revision,
				chain_sha256 = k.chain_sha256 FROM kept_studios k WHERE k.studio_key = s.studio_key; DROP TABLE kept_studios`)
			report, err = b.VerifyTrace(b.ctx, "test", heads)
			require.NoError(t, err)
			require.Empty(t, report.Faults, "what was restored is whole")
		})
	}
}

func TestATraceFromBeforeTheChainGoesOn(t *testing.T) {
	t.Parallel()
	b, tamper := traced(t)
	tamper("UPDATE changes SET chain_sha256 = NULL; UPDATE studios SET chain_sha256 = decode(repeat('00', 32), 'hex')")
	_, err := b.UpdateDepartment(b.ctx, call("UpdateDepartment"), "test", domain.Department{ID: "glass"}, allowMissing)
	require.NoError(t, err)
	report, err := b.VerifyTrace(b.ctx, "test", nil)
	require.NoError(t, err)
	assert.Empty(t, report.Faults)
	assert.Equal(t, report.ChangeCount-1, report.UnlinkedCount, "and says how much no link holds")
}

// TestKeysOfTheWholeServerAreTraced follows them from the first one, which the server makes itself, before any studio stands.
func TestKeysOfTheWholeServerAreTraced(t *testing.T) {
	t.Parallel()
	b, tamper := traced(t)
	var first string
	require.NoError(t, b.FirstKey(b.ctx, false, func(secret string) error { first = secret; return nil }))
	who, err := b.Authenticate(b.ctx, first)
	require.NoError(t, err)
	exchange := call("ExchangeAccessKey")
	exchange.KeyID, exchange.Address, exchange.ID = who.KeyID, "192.0.2.7", "call-one"
	lasting, kept, err := b.ExchangeAccessKey(b.ctx, exchange, who, "desk")
	require.NoError(t, err)
	secret, made, err := b.CreateAccessKey(b.ctx, call("CreateAccessKey"), app.NewKey{Caller: domain.Caller{ID: "robot", Role: domain.RoleViewer}})
	require.NoError(t, err)
	for range 2 {
		_, err = b.RevokeAccessKey(b.ctx, call("RevokeAccessKey"), domain.WholeServer, made.ID)
		require.NoError(t, err)
	}
	changes, err := b.ListChanges(b.ctx, domain.WholeServer, 0, 0)
	require.NoError(t, err)
	var methods []string
	for _, c := range changes {
		methods = append(methods, c.Method)
		for _, s := range []string{first, lasting, secret} {
			assert.NotContains(t, fmt.Sprintf("%s %s %+v", c.Before, c.After, c), s)
		}
	}
	assert.Equal(t, []string{"FirstKey", "ExchangeAccessKey", "CreateAccessKey", "RevokeAccessKey"}, methods, "nothing that changed nothing")
	assert.Equal(t, "saggard", changes[0].Caller)
	assert.Equal(t, []string{kept.Name(), who.KeyID, "192.0.2.7", "call-one"},
		[]string{changes[1].Subject, changes[1].KeyID, changes[1].Address, changes[1].CallID})
	assert.Nil(t, changes[2].Before)
	assert.Contains(t, fmt.Sprintf("%s", changes[3].Before), `"caller": "robot"`)

	heads := b.headsOf(t, domain.WholeServer)
	report, err := b.VerifyTrace(b.ctx, domain.WholeServer, heads)
	require.NoError(t, err)
	assert.Empty(t, report.Faults)
	assert.Equal(t, 4, report.ChangeCount)
	assert.Equal(t, heads[0].ChainSHA256, report.Head.ChainSHA256)
	studios, err := b.ListStudios(b.ctx, domain.Identity{ServerRole: domain.RoleSteward}, app.Page{Limit: 10})
	require.NoError(t, err)
	require.Len(t, studios, 1, "the server is no studio")
	assert.Equal(t, "test", studios[0].ID)

	tamper("DELETE FROM changes WHERE studio_key = 0 AND revision = 3")
	report, err = b.VerifyTrace(b.ctx, domain.WholeServer, heads)
	require.NoError(t, err)
	assert.Contains(t, fmt.Sprint(report.Faults), "revisions 3 to 3 are missing")
	report, err = b.VerifyTrace(b.ctx, "test", nil)
	require.NoError(t, err)
	assert.Empty(t, report.Faults, "each trace stands for itself")
}

func TestFewTracesAreVerifiedAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	inside, leave := make(chan struct{}, 8), make(chan struct{})
	b.KeepHeads(func(string) ([]domain.TraceHead, error) {
		inside <- struct{}{}
		<-leave
		return nil, nil
	})
	results := make(chan error, 8)
	for range 8 {
		go func() {
			_, err := b.VerifyTrace(b.ctx, "test", nil)
			results <- err
		}()
	}
	<-inside
	<-inside
	hurried, cancel := context.WithTimeout(b.ctx, 50*time.Millisecond)
	defer cancel()
	_, err := b.VerifyTrace(hurried, "test", nil)
	require.ErrorIs(t, err, context.DeadlineExceeded, "a third waits, and no longer than its caller")
	assert.Empty(t, inside)
	close(leave)
	for range 8 {
		assert.NoError(t, <-results)
	}
}
