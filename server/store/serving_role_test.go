package store_test

import (
	"context"
	"encoding/json"
	"math"
	"net/url"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/server/domain"
	"saggar/server/store"
)

// serving is the bench's database as the role that serves sees it.
func (b *bench) serving() string {
	b.t.Helper()
	const password = "it's a \\ password"
	require.NoError(b.t, store.MakeServingRole(b.t.Context(), b.connString, password))
	address, err := url.Parse(b.connString)
	require.NoError(b.t, err)
	address.User = url.UserPassword(store.ServingRole, password)
	return address.String()
}

// Not parallel: the role is the cluster's, with one password at a time.
func TestTheRoleThatServesCannotAlterTheTrace(t *testing.T) {
	b := newBench(t)
	address := b.serving()
	served := open(t, address)
	may, err := served.MayAlterTrace(t.Context())
	require.NoError(t, err)
	assert.False(t, may)
	may, err = b.MayAlterTrace(t.Context())
	require.NoError(t, err)
	assert.True(t, may, "the owner could")

	runKeys, firingKeys, err := served.NextKeys(t.Context(), 1, 3)
	require.NoError(t, err)
	assert.Len(t, append(runKeys, firingKeys...), 4)
	require.NoError(t, served.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.LockStudio(ctx, b.studio.ID)
		if err != nil {
			return err
		}
		studio.Revision++
		if err := tx.AppendChange(ctx, &studio, domain.Change{Revision: studio.Revision, Time: at(1), Caller: "ada", Subject: "rooms/bay", After: 1}); err != nil {
			return err
		}
		return tx.UpdateStudio(ctx, studio)
	}), "it does everything else")

	conn, err := pgx.Connect(t.Context(), address)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	for _, statement := range []string{
		"UPDATE changes SET caller_id = 'eve'", "DELETE FROM changes", "TRUNCATE changes", "DROP TABLE changes",
		"ALTER TABLE changes DISABLE TRIGGER ALL", "UPDATE schema_version SET version = 0", "GRANT UPDATE ON changes TO " + store.ServingRole,
		"SET ROLE " + conn.Config().User + "; SET SESSION AUTHORIZATION saggar", "CREATE TABLE own (n integer)",
		"INSERT INTO changes SELECT * FROM changes ON CONFLICT ON CONSTRAINT changes_pkey DO UPDATE SET caller_id = 'eve'",
	} {
		_, err := conn.Exec(t.Context(), statement)
		if statement[:5] == "GRANT" {
			// PostgreSQL only warns that nothing was granted.
			may, err := served.MayAlterTrace(t.Context())
			require.NoError(t, err)
			assert.False(t, may, statement)
			continue
		}
		assert.Error(t, err, statement)
	}
	require.NoError(t, store.GrantServing(t.Context(), b.connString, address), "granting again changes nothing")
}

// TestNoStatementAltersTheTrace tries as the schema's owner, as which a server may serve that was given no other role.
func TestNoStatementAltersTheTrace(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.do(func(ctx context.Context, tx *store.Tx) error {
		return tx.AppendChange(ctx, &b.studio, domain.Change{Revision: 1, Time: at(1), Caller: "ada", Subject: "rooms/bay", After: 1})
	})
	for _, statement := range []string{
		"UPDATE changes SET caller_id = 'eve'", "UPDATE changes SET caller_id = 'eve' WHERE false", "DELETE FROM changes", "TRUNCATE changes",
		"INSERT INTO changes SELECT * FROM changes ON CONFLICT ON CONSTRAINT changes_pkey DO UPDATE SET caller_id = 'eve'",
		"MERGE INTO changes c USING changes d ON c.revision = d.revision WHEN MATCHED THEN DELETE",
	} {
		_, err := b.conn().Exec(t.Context(), statement)
		assert.ErrorContains(t, err, "only ever added", statement)
	}
	b.do(func(ctx context.Context, tx *store.Tx) error {
		stands, err := tx.ListChanges(ctx, b.studio.Key, 0, 0)
		require.Len(t, stands, 1)
		assert.Equal(t, "ada", stands[0].Caller)
		return err
	})
}

// TestTheLinkOutlastsTheDatabase stores whatever JSON can hold and reckons the link of what comes back.
func TestTheLinkOutlastsTheDatabase(t *testing.T) {
	b := newBench(t)
	rapid.Check(t, func(rt *rapid.T) {
		value := map[string]any{
			"x": rapid.Float64Range(-math.MaxFloat64, math.MaxFloat64).Draw(rt, "x"), "tiny": rapid.Float64Range(0, 1e-300).Draw(rt, "tiny"),
			"n": rapid.Int64().Draw(rt, "n"), "text": rapid.StringMatching(`[ -~äß漢<>&\x{2028}]{0,20}`).Draw(rt, "text"), "zero": math.Copysign(0, -1),
			"list": rapid.SliceOfN(rapid.Bool(), 0, 3).Draw(rt, "list"), "time": at(rapid.Float64Range(0, 99).Draw(rt, "hour")),
		}
		b.do(func(ctx context.Context, tx *store.Tx) error {
			former := b.studio.ChainSHA256
			b.studio.Revision++
			c := domain.Change{Revision: b.studio.Revision, Time: at(1.0000001), Caller: "ada", Subject: "rooms/bay", Before: value, RequestID: requestA}
			require.NoError(rt, tx.AppendChange(ctx, &b.studio, c))
			back, err := tx.ListChanges(ctx, b.studio.Key, b.studio.Revision-1, 1)
			require.NoError(rt, err)
			require.Len(rt, back, 1)
			assert.IsType(rt, json.RawMessage{}, back[0].Before)
			link, err := back[0].Link(b.studio.ID, former)
			require.NoError(rt, err)
			assert.Equal(rt, back[0].ChainSHA256, link)
			assert.Equal(rt, b.studio.ChainSHA256, link)
			return nil
		})
	})
}
