package store

import (
	"context"
	"fmt"
	"time"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

var roleNames = map[domain.Role]string{
	domain.RoleViewer: "viewer", domain.RoleMaker: "maker", domain.RoleTechnician: "technician", domain.RoleSteward: "steward",
}

// InsertAccessKey stores a key. Errors: domain.ErrAlreadyExists when its secret or id is known.
func (t *Tx) InsertAccessKey(ctx context.Context, k domain.AccessKey) error {
	role, known := roleNames[k.Caller.Role]
	if !known {
		return fmt.Errorf("store a key of %q: role %d is none that a key can have", k.Caller.ID, k.Caller.Role)
	}
	return t.q.InsertAccessKey(ctx, queries.InsertAccessKeyParams{
		SecretSha256: k.SecretSHA256[:], KeyID: k.ID, StudioKey: orNull(k.StudioKey), CallerID: k.Caller.ID, Role: role,
		Label: k.Label, OneTime: k.OneTime, CreateTime: k.CreateTime, ExpireTime: orNull(k.ExpireTime),
	})
}

// AccessKey returns the key whose secret has the SHA-256, in one read by primary key, or domain.ErrNotFound. It may have
// ended.
func (t *Tx) AccessKey(ctx context.Context, sha256 [32]byte) (domain.AccessKey, error) {
	row, err := t.q.GetAccessKey(ctx, sha256[:])
	return toAccessKey(row), err
}

// LookUpKey is Tx.AccessKey in one round trip, outside any transaction: every caller comes in through it.
func (s *Store) LookUpKey(ctx context.Context, sha256 [32]byte) (domain.AccessKey, error) {
	var row queries.GetAccessKeyRow
	err := s.readOne(ctx, func(q *queries.Queries) (err error) {
		row, err = q.GetAccessKey(ctx, sha256[:])
		return err
	})
	return toAccessKey(row), err
}

// LookUpMemberships is Tx.MembershipsOf in one round trip, outside any transaction.
func (s *Store) LookUpMemberships(ctx context.Context, openIDSubject string) (memberships []domain.Membership, err error) {
	err = s.readOne(ctx, func(q *queries.Queries) (err error) {
		memberships, err = (&Tx{q: q}).MembershipsOf(ctx, openIDSubject)
		return err
	})
	return memberships, err
}

// AccessKeyByID returns a key of a studio; 0: of the whole server. Errors: domain.ErrNotFound.
func (t *Tx) AccessKeyByID(ctx context.Context, studioKey int64, id string) (domain.AccessKey, error) {
	row, err := t.q.GetAccessKeyByID(ctx, queries.GetAccessKeyByIDParams{KeyID: id, StudioKey: orNull(studioKey)})
	return toAccessKey(queries.GetAccessKeyRow(row)), named(err, "accessKeys", id)
}

// AccessKeyByIDForUpdate is AccessKeyByID, and makes every other change of the key wait until this transaction ends.
func (t *Tx) AccessKeyByIDForUpdate(ctx context.Context, studioKey int64, id string) (domain.AccessKey, error) {
	if err := t.q.LockAccessKey(ctx, id); err != nil {
		return domain.AccessKey{}, err
	}
	return t.AccessKeyByID(ctx, studioKey, id)
}

// AccessKeysQuery asks for keys of one studio, or with StudioKey 0 of the whole server.
type AccessKeysQuery struct {
	StudioKey     int64
	CallerID      string // empty: anybody's
	BeforeOrdinal int64  // 0: from the newest
	ShowEnded     bool
	At            time.Time // when those that expired count as ended
	Limit         int       // 0: all
}

// ListAccessKeys returns keys, newest first.
func (t *Tx) ListAccessKeys(ctx context.Context, q AccessKeysQuery) ([]domain.AccessKey, error) {
	rows, err := t.q.ListAccessKeys(ctx, queries.ListAccessKeysParams{
		StudioKey: orNull(q.StudioKey), CallerID: q.CallerID, BeforeOrdinal: q.BeforeOrdinal, ShowEnded: q.ShowEnded, At: q.At,
		MaxRows: int64(q.Limit),
	})
	return collect(rows, func(row queries.ListAccessKeysRow) domain.AccessKey { return toAccessKey(queries.GetAccessKeyRow(row)) }), err
}

// RevokeAccessKey ends a key for good; one that was revoked before stays so since then.
func (t *Tx) RevokeAccessKey(ctx context.Context, id string, at time.Time) error {
	return t.q.RevokeAccessKey(ctx, queries.RevokeAccessKeyParams{KeyID: id, RevokeTime: at})
}

// TouchAccessKey notes when a key was used.
func (t *Tx) TouchAccessKey(ctx context.Context, sha256 [32]byte, at time.Time) error {
	return t.q.TouchAccessKey(ctx, queries.TouchAccessKeyParams{SecretSha256: sha256[:], At: at})
}

// CountServerStewardKeys returns how many keys open everything at an instant.
func (t *Tx) CountServerStewardKeys(ctx context.Context, at time.Time) (int, error) {
	count, err := t.q.CountServerStewardKeys(ctx, at)
	return int(count), err
}

func toAccessKey(row queries.GetAccessKeyRow) domain.AccessKey {
	k := domain.AccessKey{
		ID: row.KeyID, Ordinal: row.Ordinal, StudioKey: orZero(row.StudioKey), StudioID: row.StudioID,
		Caller: domain.Caller{ID: row.CallerID, Role: roleOf(row.Role)}, Label: row.Label, OneTime: row.OneTime, CreateTime: row.CreateTime,
		ExpireTime: orZero(row.ExpireTime), RevokeTime: orZero(row.RevokeTime), LastUseTime: orZero(row.LastUseTime),
	}
	copy(k.SecretSHA256[:], row.SecretSha256)
	k.PersonRole = roleOf(row.PersonRole)
	return k
}

func roleOf(name string) domain.Role {
	for role, known := range roleNames {
		if known == name {
			return role
		}
	}
	return domain.RoleNone
}

// orNull is nil, which the database takes for NULL, for a value that is not set.
func orNull[T comparable](value T) *T {
	var zero T
	if value == zero {
		return nil
	}
	return &value
}

func orZero[T any](value *T) (zero T) {
	if value == nil {
		return zero
	}
	return *value
}
