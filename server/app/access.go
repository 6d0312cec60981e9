package app

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"io"

	"saggar/server/domain"
	"saggar/server/store"
)

// secretBytes is the length of a key's secret: 256 random bits.
const secretBytes = 32

// Authenticate returns who a key's secret stands for. Errors: domain.ErrUnauthenticated.
func (a *App) Authenticate(ctx context.Context, secret string) (domain.Caller, error) {
	var key domain.AccessKey
	err := a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		key, err = tx.AccessKey(ctx, sha256.Sum256([]byte(secret)))
		return err
	})
	if errors.Is(err, domain.ErrNotFound) {
		return domain.Caller{}, &domain.Error{
			Kind: domain.ErrUnauthenticated, Message: "the key is not one of this server's",
			Cure: "name the file that holds your key with --key-file or SAGGAR_KEY_FILE",
		}
	}
	return key.Caller, err
}

// CreateAccessKey makes a key for a person or program. The secret is returned once; only its SHA-256 is stored.
func (a *App) CreateAccessKey(ctx context.Context, _ Call, callerID string, role domain.Role) (string, domain.AccessKey, error) {
	var key domain.AccessKey
	raw := make([]byte, secretBytes)
	if _, err := io.ReadFull(a.random, raw); err != nil {
		return "", key, err
	}
	secret := base64.RawURLEncoding.EncodeToString(raw)
	key = domain.AccessKey{
		SecretSHA256: sha256.Sum256([]byte(secret)), Caller: domain.Caller{ID: callerID, Role: role}, CreateTime: a.now(),
	}
	err := a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error { return tx.InsertAccessKey(ctx, key) })
	return secret, key, err
}

// FirstKey makes the first steward's key when the database has no key at all; made says whether it did.
func (a *App) FirstKey(ctx context.Context) (secret string, made bool, err error) {
	var count int
	err = a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		count, err = tx.CountAccessKeys(ctx)
		return err
	})
	if err != nil || count > 0 {
		return "", false, err
	}
	secret, _, err = a.CreateAccessKey(ctx, Call{}, "steward", domain.RoleSteward)
	return secret, err == nil, err
}
