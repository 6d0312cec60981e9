package store

import (
	"context"
	"fmt"

	"saggar/server/domain"
	"saggar/server/store/queries"
)

var roleNames = map[domain.Role]string{
	domain.RoleViewer: "viewer", domain.RoleMaker: "maker", domain.RoleTechnician: "technician", domain.RoleSteward: "steward",
}

// InsertAccessKey stores a key. Errors: domain.ErrAlreadyExists when its secret is known.
func (t *Tx) InsertAccessKey(ctx context.Context, k domain.AccessKey) error {
	role, known := roleNames[k.Caller.Role]
	if !known {
		return fmt.Errorf("store a key of %q: role %d is none that a key can have", k.Caller.ID, k.Caller.Role)
	}
	return t.q.InsertAccessKey(ctx, queries.InsertAccessKeyParams{
		SecretSha256: k.SecretSHA256[:], CallerID: k.Caller.ID, Role: role, CreateTime: k.CreateTime,
	})
}

// AccessKey returns the key whose secret has the SHA-256, or domain.ErrNotFound.
func (t *Tx) AccessKey(ctx context.Context, sha256 [32]byte) (domain.AccessKey, error) {
	row, err := t.q.GetAccessKey(ctx, sha256[:])
	if err != nil {
		return domain.AccessKey{}, err
	}
	k := domain.AccessKey{SecretSHA256: sha256, Caller: domain.Caller{ID: row.CallerID}, CreateTime: row.CreateTime}
	for role, name := range roleNames {
		if name == row.Role {
			k.Caller.Role = role
		}
	}
	return k, nil
}

// CountAccessKeys returns how many keys there are.
func (t *Tx) CountAccessKeys(ctx context.Context) (int, error) {
	count, err := t.q.CountAccessKeys(ctx)
	return int(count), err
}
