package app_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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
	_, err = b.CancelRun(b.ctx, call("CancelRun"), "test", booked.Runs[0].ID, 0)
	require.NoError(t, err)
	require.NoError(t, b.DeletePerson(b.ctx, call("DeletePerson"), "test", "ada", 0))
	conn, err := pgx.Connect(b.ctx, connString)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	return b, func(statement string) {
		_, err := conn.Exec(b.ctx, statement)
		require.NoError(t, err, statement)
	}
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
	heads, err := b.TraceHeads(b.ctx)
	require.NoError(t, err)
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
	heads, err := b.TraceHeads(b.ctx)
	require.NoError(t, err)
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
