package store_test

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
	"saggar/server/store"
)

func TestTheLogKeepsWhatStoodBeforeAndAfter(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	lisbon := time.FixedZone("WEST", 3600)
	var none *domain.Supply
	changes := []domain.Change{
		{Revision: 2, Time: at(1).In(lisbon), Caller: "ada", RequestID: requestA, Method: "UpdateSupply", Subject: "supplies/panel",
			Before: none, After: domain.Supply{ID: "panel", LimitKilowatts: 40}},
		{Revision: 3, Time: at(2), Caller: "grace", Method: "DeleteSupply", Subject: "supplies/panel",
			Before: json.RawMessage(`{"id":"panel"}`)},
	}
	b.do(func(ctx context.Context, tx *store.Tx) error {
		for _, c := range changes {
			require.NoError(t, tx.AppendChange(ctx, &b.studio, c))
		}
		list, err := tx.ListChanges(ctx, b.studio.Key, 0, 0)
		require.NoError(t, err)
		require.Len(t, list, 2)
		assert.Nil(t, list[0].Before)
		assert.JSONEq(t, `{"id":"panel","title":"","limit_kilowatts":40}`, string(list[0].After.(json.RawMessage)))
		assert.JSONEq(t, `{"id":"panel"}`, string(list[1].Before.(json.RawMessage)))
		assert.Nil(t, list[1].After)
		for i := range list {
			assert.True(t, list[i].Linked)
			list[i].Linked, list[i].ChainSHA256 = false, [32]byte{}
			list[i].Before, list[i].After = nil, nil
			changes[i].Before, changes[i].After, changes[i].Time = nil, nil, changes[i].Time.UTC()
		}
		assert.Equal(t, changes, list)

		page, err := tx.ListChanges(ctx, b.studio.Key, 2, 1)
		require.NoError(t, err)
		require.Len(t, page, 1)
		assert.Equal(t, int64(3), page[0].Revision)
		page, err = tx.ListChanges(ctx, b.studio.Key, 0, 1)
		require.Len(t, page, 1)
		assert.Equal(t, int64(2), page[0].Revision)
		return err
	})
	err := b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return tx.AppendChange(ctx, &b.studio, changes[1])
	})
	require.ErrorIs(t, err, domain.ErrChangedMeanwhile, "a revision is written once")
	err = b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return tx.AppendChange(ctx, &b.studio, domain.Change{Revision: 4, Time: at(1), Subject: "supplies/panel", After: math.NaN()})
	})
	require.ErrorContains(t, err, "store supplies/panel", "no JSON has it")
}

func TestRequestsAreRememberedByCallerAndForgotten(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.do(func(ctx context.Context, tx *store.Tx) error {
		require.NoError(t, tx.Remember(ctx, b.studio.Key, *remembered(requestA), at(1)))
		require.NoError(t, tx.Remember(ctx, b.studio.Key, domain.Remembered{Caller: "ada", RequestID: requestB}, at(2)))
		did, err := tx.Remembered(ctx, b.studio.Key, "ada", requestA)
		require.NoError(t, err)
		assert.Equal(t, remembered(requestA), did)
		for caller, id := range map[string]string{"grace": requestA, "ada": ""} {
			did, err = tx.Remembered(ctx, b.studio.Key, caller, id)
			require.NoError(t, err)
			assert.Nil(t, did, "%s %s", caller, id)
		}
		require.NoError(t, tx.ForgetRequestsBefore(ctx, at(2)))
		did, err = tx.Remembered(ctx, b.studio.Key, "ada", requestA)
		require.NoError(t, err)
		assert.Nil(t, did)
		did, err = tx.Remembered(ctx, b.studio.Key, "ada", requestB)
		assert.NotNil(t, did, "not older than that instant")
		return err
	})
	err := b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error {
		return tx.Remember(ctx, b.studio.Key, *remembered(requestB), at(3))
	})
	require.ErrorIs(t, err, domain.ErrAlreadyExists)
}

func TestAccessKeys(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for _, role := range []domain.Role{domain.RoleViewer, domain.RoleMaker, domain.RoleTechnician, domain.RoleSteward} {
		key := domain.AccessKey{
			ID: fmt.Sprintf("k%d", role), SecretSHA256: sha256.Sum256([]byte{byte(role)}), Caller: domain.Caller{ID: "ada", Role: role},
			StudioKey: b.studio.Key, StudioID: b.studio.ID, Label: "desk", CreateTime: monday, ExpireTime: monday.Add(time.Hour),
		}
		b.do(func(ctx context.Context, tx *store.Tx) error {
			require.NoError(t, tx.InsertAccessKey(ctx, key))
			found, err := tx.AccessKey(ctx, key.SecretSHA256)
			assert.Equal(t, key, withoutOrdinal(found))
			found, err = tx.AccessKeyByID(ctx, b.studio.Key, key.ID)
			assert.Equal(t, key, withoutOrdinal(found))
			_, elsewhere := tx.AccessKeyByID(ctx, 0, key.ID)
			assert.ErrorIs(t, elsewhere, domain.ErrNotFound, "a studio's key is none of the server's")
			return err
		})
		err := b.InTx(t.Context(), func(ctx context.Context, tx *store.Tx) error { return tx.InsertAccessKey(ctx, key) })
		require.ErrorIs(t, err, domain.ErrAlreadyExists)
		found, err := b.LookUpKey(t.Context(), key.SecretSHA256)
		require.NoError(t, err)
		assert.Equal(t, key, withoutOrdinal(found))
	}
	b.do(func(ctx context.Context, tx *store.Tx) error {
		_, err := tx.AccessKey(ctx, sha256.Sum256([]byte("guess")))
		require.ErrorIs(t, err, domain.ErrNotFound)
		require.ErrorContains(t, tx.InsertAccessKey(ctx, domain.AccessKey{Caller: domain.Caller{ID: "eve"}}), "role 0")
		count, err := tx.CountServerStewardKeys(ctx, monday)
		assert.Zero(t, count, "a studio's steward does not open the server")
		return err
	})
}

func TestAKeyIsLookedUpOnAConnectionThatLives(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.LookUpKey(t.Context(), [32]byte{})
	require.ErrorIs(t, err, domain.ErrNotFound)
	_, err = b.conn().Exec(t.Context(), `SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity
		WHERE datname = current_database() AND pid <> pg_backend_pid()`)
	require.NoError(t, err)
	_, err = b.LookUpKey(t.Context(), [32]byte{})
	require.ErrorIs(t, err, domain.ErrNotFound, "those that died in the pool are replaced")
	memberships, err := b.LookUpMemberships(t.Context(), "nobody")
	require.NoError(t, err)
	require.Empty(t, memberships)
}

func withoutOrdinal(k domain.AccessKey) domain.AccessKey {
	k.Ordinal = 0
	return k
}

func TestKeysAreListedTouchedAndRevoked(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.do(func(ctx context.Context, tx *store.Tx) error {
		for i, owner := range []string{"ada", "ben", "ada"} {
			key := domain.AccessKey{
				ID: fmt.Sprintf("k%d", i), SecretSHA256: sha256.Sum256([]byte{byte(i)}), StudioKey: b.studio.Key,
				Caller: domain.Caller{ID: owner, Role: domain.RoleMaker}, CreateTime: monday,
			}
			if i == 2 {
				key.ExpireTime = monday.Add(time.Hour)
			}
			require.NoError(t, tx.InsertAccessKey(ctx, key))
		}
		return nil
	})
	list := func(q store.AccessKeysQuery) (ids []string) {
		q.StudioKey = b.studio.Key
		b.do(func(ctx context.Context, tx *store.Tx) error {
			keys, err := tx.ListAccessKeys(ctx, q)
			for _, k := range keys {
				ids = append(ids, k.ID)
			}
			return err
		})
		return ids
	}
	assert.Equal(t, []string{"k2", "k1", "k0"}, list(store.AccessKeysQuery{At: monday}))
	assert.Equal(t, []string{"k1", "k0"}, list(store.AccessKeysQuery{At: monday.Add(time.Hour)}), "k2 expires on the hour")
	assert.Equal(t, []string{"k2", "k0"}, list(store.AccessKeysQuery{At: monday, CallerID: "ada"}))
	b.do(func(ctx context.Context, tx *store.Tx) error {
		require.NoError(t, tx.RevokeAccessKey(ctx, "k0", monday))
		require.NoError(t, tx.RevokeAccessKey(ctx, "k0", monday.Add(time.Hour)))
		require.NoError(t, tx.TouchAccessKey(ctx, sha256.Sum256([]byte{0}), monday.Add(time.Minute)))
		require.NoError(t, tx.TouchAccessKey(ctx, sha256.Sum256([]byte{0}), monday))
		k, err := tx.AccessKeyByID(ctx, b.studio.Key, "k0")
		assert.Equal(t, monday, k.RevokeTime, "what was revoked stays so since then")
		assert.Equal(t, monday.Add(time.Minute), k.LastUseTime, "no earlier use overwrites a later one")
		return err
	})
	assert.Equal(t, []string{"k2", "k1"}, list(store.AccessKeysQuery{At: monday}))
	assert.Equal(t, []string{"k1"}, list(store.AccessKeysQuery{At: monday, ShowEnded: true, BeforeOrdinal: 3, Limit: 1}))
}
