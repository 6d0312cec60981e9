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
	secret, key, err := a.newKey(domain.Caller{ID: callerID, Role: role})
	if err != nil {
		return "", key, err
	}
	return secret, key, a.storeKey(ctx, key)
}

func (a *App) newKey(caller domain.Caller) (string, domain.AccessKey, error) {
	raw := make([]byte, secretBytes)
	if _, err := io.ReadFull(a.random, raw); err != nil {
		return "", domain.AccessKey{}, err
	}
	secret := base64.RawURLEncoding.EncodeToString(raw)
	return secret, domain.AccessKey{SecretSHA256: sha256.Sum256([]byte(secret)), Caller: caller, CreateTime: a.now()}, nil
}

func (a *App) storeKey(ctx context.Context, key domain.AccessKey) error {
	return a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error { return tx.InsertAccessKey(ctx, key) })
}

// FirstKey makes the first steward's key when the database has no key at all. keep puts the secret where its owner finds it
// before the key counts, so that no crash leaves a database whose only key nobody has.
func (a *App) FirstKey(ctx context.Context, keep func(secret string) error) error {
	var count int
	err := a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		count, err = tx.CountAccessKeys(ctx)
		return err
	})
	if err != nil || count > 0 {
		return err
	}
	secret, key, err := a.newKey(domain.Caller{ID: "steward", Role: domain.RoleSteward})
	if err != nil {
		return err
	}
	if err := keep(secret); err != nil {
		return err
	}
	return a.storeKey(ctx, key)
}
