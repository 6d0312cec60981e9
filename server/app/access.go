package app

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"io"
	"strings"
	"time"

	"saggar/chem/finding"
	"saggar/server/domain"
	"saggar/server/store"
)

const (
	// secretBytes is the length of a key's secret: 256 random bits.
	secretBytes = 32
	// keyIDBytes make an id that nobody has to think of; what must not be guessed is the secret.
	keyIDBytes = 8
	// touchEvery is how exactly a key's last use is kept.
	touchEvery = time.Minute
	// touchPatience bounds the writing of a last use, which no caller waits for.
	touchPatience = 5 * time.Second
	// mostLookups is how many keys are read at one time, out of the 16 connections that the store holds.
	mostLookups = 4
	// tokenDots are between the three parts of a signed token (RFC 7515, section 7.1).
	tokenDots = 2
	// firstKeyLife is how long the first steward's key waits to be exchanged.
	firstKeyLife = 24 * time.Hour
)

// TokenVerifier says whose a token is and until when it counts. Errors: domain.ErrUnauthenticated, domain.ErrIssuerAway.
type TokenVerifier interface {
	Verify(ctx context.Context, token string) (subject string, expire time.Time, err error)
}

// TrustTokens takes tokens besides keys. Call it before the first request.
func (a *App) TrustTokens(tokens TokenVerifier) { a.tokens = tokens }

// Authenticate returns who a key's secret or a token stands for, from memory for less than a second after it was read,
// otherwise in one read by an index. What expired, was revoked, was cut short or never stood is refused alike.
// Errors: domain.ErrUnauthenticated, domain.ErrIssuerAway.
func (a *App) Authenticate(ctx context.Context, secret string) (domain.Identity, error) {
	read := a.readKey
	switch {
	case isSecret(secret):
	case a.tokens != nil && strings.Count(secret, ".") == tokenDots:
		read = a.readToken
	default:
		return domain.Identity{}, noSuchKey()
	}
	hash := sha256.Sum256([]byte(secret))
	found, cached := a.keys.get(hash)
	if !cached {
		began := a.keys.now()
		var err error
		if found, err = read(ctx, secret); err != nil {
			return domain.Identity{}, err
		}
		found.read = began
		a.keys.put(hash, found)
	}
	if !found.stands(a.now()) {
		return domain.Identity{}, noSuchKey()
	}
	return found.who, nil
}

// readKey reads whom a key stands for. Few keys at a time are read; others wait. Errors: domain.ErrUnauthenticated for one that
// does not stand.
func (a *App) readKey(ctx context.Context, secret string) (cachedKey, error) {
	hash := sha256.Sum256([]byte(secret))
	select {
	case a.lookups <- struct{}{}:
		defer func() { <-a.lookups }()
	case <-ctx.Done():
		return cachedKey{}, ctx.Err()
	}
	// Many calls with one key wait together when what is remembered of it is too old; the first of them reads for all.
	if read, meanwhile := a.keys.get(hash); meanwhile {
		return read, nil
	}
	key, err := a.store.LookUpKey(ctx, hash)
	if errors.Is(err, domain.ErrNotFound) || err == nil && !key.Stands(a.now()) {
		return cachedKey{}, noSuchKey()
	}
	if err != nil {
		return cachedKey{}, err
	}
	a.touch(ctx, key)
	return cachedKey{who: key.Identity(), expire: key.ExpireTime}, nil
}

// readToken verifies a token and reads to which studios its subject belongs.
func (a *App) readToken(ctx context.Context, token string) (cachedKey, error) {
	subject, expire, err := a.tokens.Verify(ctx, token)
	if err != nil {
		return cachedKey{}, err
	}
	who := domain.Identity{ID: subject, Subject: subject}
	who.Memberships, err = a.store.LookUpMemberships(ctx, subject)
	if len(who.Memberships) > 0 {
		who.ID = who.Memberships[0].PersonID
	}
	return cachedKey{who: who, expire: expire}, err
}

// isSecret reports whether a text has a secret's form; what has not needs no look-up.
func isSecret(text string) bool {
	if len(text) != base64.RawURLEncoding.EncodedLen(secretBytes) {
		return false
	}
	_, err := base64.RawURLEncoding.Strict().DecodeString(text)
	return err == nil
}

func noSuchKey() error {
	return &domain.Error{
		Kind: domain.ErrUnauthenticated, Message: "the key opens nothing on this server",
		Cure: "name the file that holds your key with --key-file or SAGGAR_KEY_FILE, or ask a steward for a new one",
	}
}

// touch notes a use, about once a minute for each server, without letting the caller wait. A use that could not be noted
// is noted with the next one.
func (a *App) touch(ctx context.Context, key domain.AccessKey) {
	now := a.now()
	if now.Sub(key.LastUseTime) < touchEvery {
		return
	}
	go func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), touchPatience)
		defer cancel()
		_ = a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
			return tx.TouchAccessKey(ctx, key.SecretSHA256, now)
		})
	}()
}

// NewKey says for whom a key is made and what it opens.
type NewKey struct {
	StudioID string // empty: every studio
	Caller   domain.Caller
	Label    string
	Expire   time.Time // zero: never
}

// CreateAccessKey makes a key. The secret is returned once; only its SHA-256 is stored.
// Errors: finding.Faults, domain.ErrNotFound for a studio that does not stand.
func (a *App) CreateAccessKey(ctx context.Context, call Call, in NewKey) (string, domain.AccessKey, error) {
	if !in.Expire.IsZero() && !in.Expire.After(a.now()) {
		return "", domain.AccessKey{}, finding.Faults{{
			Field: "access_key.expire_time", Message: "lies in the past", Cure: "give a later time, or none for a key that does not expire",
		}}
	}
	secret, key, err := a.newKey(in)
	if err != nil {
		return "", key, err
	}
	opens := key.Caller.Role
	err = a.keyChange(ctx, call, in.StudioID, func(ctx context.Context, tx *store.Tx, studioKey int64) (_, after *domain.AccessKey, err error) {
		key.StudioKey = studioKey
		if opens, err = checkHolder(ctx, tx, key); err != nil {
			return nil, nil, err
		}
		return nil, &key, tx.InsertAccessKey(ctx, key)
	})
	if err != nil {
		return "", domain.AccessKey{}, err
	}
	key.Caller.Role = opens
	return secret, key, nil
}

// checkHolder refuses a studio's key for somebody who does not belong to it, and returns the role that it opens the studio with:
// its own, or the person's where that is less.
func checkHolder(ctx context.Context, tx *store.Tx, key domain.AccessKey) (domain.Role, error) {
	if key.StudioKey == 0 {
		return key.Caller.Role, nil
	}
	person, err := tx.Person(ctx, key.StudioKey, key.Caller.ID)
	if errors.Is(err, domain.ErrNotFound) {
		return domain.RoleNone, finding.Faults{{
			Field: "access_key.caller", Message: "there is no person " + key.Caller.ID + " in the studio",
			Cure: "add them first, as with 'saggar person add " + key.Caller.ID + " --role maker'",
		}}
	}
	return min(key.Caller.Role, person.Role), err
}

func (a *App) newKey(in NewKey) (string, domain.AccessKey, error) {
	raw := make([]byte, secretBytes+keyIDBytes)
	if _, err := io.ReadFull(a.random, raw); err != nil {
		return "", domain.AccessKey{}, err
	}
	secret := base64.RawURLEncoding.EncodeToString(raw[:secretBytes])
	return secret, domain.AccessKey{
		ID: "k" + hex.EncodeToString(raw[secretBytes:]), StudioID: in.StudioID, SecretSHA256: sha256.Sum256([]byte(secret)),
		Caller: in.Caller, Label: in.Label, CreateTime: a.now(), ExpireTime: in.Expire,
	}, nil
}

// keyDo makes a change to the keys of one studio, 0: of the whole server, and returns what it changed.
type keyDo func(ctx context.Context, tx *store.Tx, studioKey int64) (before, after *domain.AccessKey, err error)

// keyChange runs a change to keys, which is an entry of the studio's log, or of the server's for keys that open every studio;
// nothing is changed when both are nil.
func (a *App) keyChange(ctx context.Context, call Call, studioID string, do keyDo) error {
	return a.store.InTx(ctx, func(ctx context.Context, tx *store.Tx) error {
		studio, err := tx.LockStudio(ctx, studioID)
		if err != nil {
			return err
		}
		before, after, err := do(ctx, tx, studio.Key)
		if err != nil || before == nil && after == nil {
			return err
		}
		studio.Revision++
		subject := after.Name()
		entry := a.logged(call, studio.Revision, subject, loggedKey(before), loggedKey(after))
		if err := tx.AppendChange(ctx, &studio, entry); err != nil {
			return err
		}
		return tx.UpdateStudio(ctx, studio)
	})
}

// loggedKey is what the log keeps of a key: nothing by which anybody comes in.
func loggedKey(k *domain.AccessKey) any {
	if k == nil {
		return nil
	}
	return map[string]any{
		"caller": k.Caller.ID, "role": int(k.Caller.Role), "label": k.Label, "expire_time": k.ExpireTime, "revoke_time": k.RevokeTime,
	}
}

// AccessKeysQuery asks for a page of keys.
type AccessKeysQuery struct {
	StudioID      string // empty: of the whole server
	BeforeOrdinal int64  // 0: from the newest
	ShowEnded     bool
	Limit         int
}

// ListAccessKeys lists keys, newest first. Who may see only their own gets only those.
func (a *App) ListAccessKeys(ctx context.Context, call Call, q AccessKeysQuery) ([]domain.AccessKey, error) {
	var keys []domain.AccessKey
	err := a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) error {
		studioKey, err := keyOfStudio(ctx, tx, q.StudioID)
		if err != nil {
			return err
		}
		keys, err = tx.ListAccessKeys(ctx, store.AccessKeysQuery{
			StudioKey: studioKey, CallerID: call.ownerFilter(), BeforeOrdinal: q.BeforeOrdinal, ShowEnded: q.ShowEnded, At: a.now(),
			Limit: q.Limit,
		})
		return err
	})
	return keys, err
}

// keyOfStudio is the database's key of a studio, 0 for the server as a whole.
func keyOfStudio(ctx context.Context, tx *store.Tx, id string) (int64, error) {
	if id == "" {
		return 0, nil
	}
	studio, err := tx.Studio(ctx, id)
	return studio.Key, err
}

// RevokeAccessKey ends a key for good; this server refuses it at once and every other within a second.
// Errors: domain.ErrNotFound, also for the key of somebody else whom the caller may not see.
func (a *App) RevokeAccessKey(ctx context.Context, call Call, studioID, id string) (domain.AccessKey, error) {
	var key domain.AccessKey
	err := a.keyChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studioKey int64) (before, after *domain.AccessKey, err error) {
		key, err = tx.AccessKeyByID(ctx, studioKey, id)
		if err != nil {
			return nil, nil, err
		}
		if !call.mayTouch(key.Caller.ID) {
			return nil, nil, domain.NotFound("accessKeys/" + id)
		}
		if !key.RevokeTime.IsZero() {
			return nil, nil, nil
		}
		stood := key
		key.RevokeTime = a.now()
		return &stood, &key, tx.RevokeAccessKey(ctx, id, key.RevokeTime)
	})
	if err == nil {
		a.keys.forget(key.SecretSHA256)
	}
	return key, err
}

// ExchangeAccessKey makes a key in place of the one that the call was made with, which ends. A one-time key becomes one
// that does not expire; the times of others stay. Errors: domain.ErrWrongState for a call that was made without a key.
func (a *App) ExchangeAccessKey(ctx context.Context, call Call, who domain.Identity, label string) (string, domain.AccessKey, error) {
	if who.KeyID == "" {
		return "", domain.AccessKey{}, &domain.Error{
			Kind: domain.ErrWrongState, Message: "the call was not made with a key", Cure: "only a key can be exchanged for another",
		}
	}
	studioID := ""
	if len(who.Memberships) > 0 {
		studioID = who.Memberships[0].StudioID
	}
	var secret string
	var made, old domain.AccessKey
	err := a.keyChange(ctx, call, studioID, func(ctx context.Context, tx *store.Tx, studioKey int64) (before, after *domain.AccessKey, err error) {
		old, err = tx.AccessKeyByIDForUpdate(ctx, studioKey, who.KeyID)
		if err != nil {
			return nil, nil, err
		}
		if !old.Stands(a.now()) {
			return nil, nil, noSuchKey()
		}
		if secret, made, err = a.newKey(NewKey{StudioID: studioID, Caller: old.Caller, Label: label, Expire: old.ExpireTime}); err != nil {
			return nil, nil, err
		}
		made.StudioKey = studioKey
		if label == "" {
			made.Label = old.Label
		}
		if old.OneTime {
			made.ExpireTime = time.Time{}
		}
		return &old, &made, errors.Join(tx.RevokeAccessKey(ctx, old.ID, a.now()), tx.InsertAccessKey(ctx, made))
	})
	if err != nil {
		return "", domain.AccessKey{}, err
	}
	a.keys.forget(old.SecretSHA256)
	return secret, made, nil
}

// FirstKey makes the first steward's key when no key opens the server as a whole, or when anew asks for one although. It
// is good for nothing but its exchange, for a day. keep puts the secret where its owner finds it before the key counts, so
// that no crash leaves a database whose only key nobody has. The trace says that the server itself made it.
func (a *App) FirstKey(ctx context.Context, anew bool, keep func(secret string) error) error {
	var count int
	err := a.store.InSnapshot(ctx, func(ctx context.Context, tx *store.Tx) (err error) {
		count, err = tx.CountServerStewardKeys(ctx, a.now())
		return err
	})
	if err != nil || count > 0 && !anew {
		return err
	}
	secret, key, err := a.newKey(NewKey{
		Caller: domain.Caller{ID: "steward", Role: domain.RoleSteward}, Label: "first key", Expire: a.now().Add(firstKeyLife),
	})
	if err != nil {
		return err
	}
	key.OneTime = true
	if err := keep(secret); err != nil {
		return err
	}
	call := Call{Caller: domain.Caller{ID: "saggard"}, Method: "FirstKey"}
	return a.keyChange(ctx, call, domain.WholeServer, func(ctx context.Context, tx *store.Tx, _ int64) (_, after *domain.AccessKey, err error) {
		return nil, &key, tx.InsertAccessKey(ctx, key)
	})
}
