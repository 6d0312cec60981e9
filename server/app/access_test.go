package app_test

import (
	"context"
	"encoding/base64"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
	"saggar/server/app"
	"saggar/server/domain"
)

func TestTheFirstKeyIsMadeOnceAndOnlyWhenItCouldBeKept(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	full := errors.New("no room")
	require.ErrorIs(t, b.FirstKey(b.ctx, false, func(string) error { return full }), full)
	var secret string
	keep := func(s string) error { secret = s; return nil }
	require.NoError(t, b.FirstKey(b.ctx, false, keep), "a key that could not be kept does not count")
	who, err := b.Authenticate(b.ctx, secret)
	require.NoError(t, err)
	assert.Equal(t, domain.RoleSteward, who.ServerRole)
	assert.True(t, who.MustExchange)
	require.NoError(t, b.FirstKey(b.ctx, false, func(string) error { t.Error("a second first key"); return nil }))
	first := secret
	require.NoError(t, b.FirstKey(b.ctx, true, keep))
	assert.NotEqual(t, first, secret, "asked for, it is made although one stands")
}

func TestTheFirstKeyIsGoodForOneExchangeWithinADay(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var first string
	require.NoError(t, b.FirstKey(b.ctx, false, func(s string) error { first = s; return nil }))
	who, err := b.Authenticate(b.ctx, first)
	require.NoError(t, err)
	secret, key, err := b.ExchangeAccessKey(b.ctx, call("ExchangeAccessKey"), who, "desk")
	require.NoError(t, err)
	assert.True(t, key.ExpireTime.IsZero())
	who, err = b.Authenticate(b.ctx, secret)
	require.NoError(t, err)
	assert.False(t, who.MustExchange)
	assert.Equal(t, domain.RoleSteward, who.ServerRole)
	_, err = b.Authenticate(b.ctx, first)
	require.ErrorIs(t, err, domain.ErrUnauthenticated, "used up")
	require.NoError(t, b.FirstKey(b.ctx, false, func(string) error { t.Error("a steward's key stands"); return nil }))

	late := newBench(t)
	require.NoError(t, late.FirstKey(late.ctx, false, func(s string) error { first = s; return nil }))
	late = late.at(monday.Add(-time.Hour).Add(24 * time.Hour))
	_, err = late.Authenticate(late.ctx, first)
	require.ErrorIs(t, err, domain.ErrUnauthenticated, "a day is over")
	made := false
	require.NoError(t, late.FirstKey(late.ctx, false, func(string) error { made = true; return nil }))
	assert.True(t, made, "nobody is locked out of a server whose first key expired")
}

var allowMissing = app.Expectation{AllowMissing: true}

// key makes a key for a member of the test studio.
func (b bench) key(t *testing.T, id string, expire time.Time) (string, domain.AccessKey) {
	t.Helper()
	_, err := b.UpdatePerson(b.ctx, call("UpdatePerson"), "test", domain.Person{ID: id, Role: domain.RoleMaker}, allowMissing)
	require.NoError(t, err)
	secret, key, err := b.CreateAccessKey(b.ctx, call("CreateAccessKey"), app.NewKey{
		StudioID: "test", Caller: domain.Caller{ID: id, Role: domain.RoleMaker}, Label: "desk", Expire: expire,
	})
	require.NoError(t, err)
	return secret, key
}

func TestKeysThatOpenNothingAreRefusedAlike(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	good, _ := b.key(t, "ada", time.Time{})
	expired, expiring := b.key(t, "ada", monday)
	revoked, key := b.key(t, "ada", time.Time{})
	_, err := b.RevokeAccessKey(b.ctx, call("RevokeAccessKey"), "test", key.ID)
	require.NoError(t, err)
	other := newBench(t)
	foreign, _ := other.key(t, "ada", time.Time{})
	at := b.at(expiring.ExpireTime)
	_, err = at.Authenticate(at.ctx, good)
	require.NoError(t, err)
	flipped := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' {
			return r - 'a' + 'A'
		}
		return r
	}, good)
	texts := map[string]string{
		"expired on the minute": expired, "revoked": revoked, "of another server": foreign, "cut short": good[:len(good)-1],
		"too long": good + "A", "empty": "", "no base64": "!" + good[1:], "padded": good + "=", "in capitals": flipped,
		"of a megabyte":     strings.Repeat("k", 1<<20),
		"never made":        base64.RawURLEncoding.EncodeToString(make([]byte, 32)),
		"SQL":               "' OR 1=1 --",
		"loose bits at end": good[:len(good)-1] + "_",
	}
	for name, secret := range texts {
		t.Run(name, func(t *testing.T) {
			_, err := at.Authenticate(at.ctx, secret)
			require.ErrorIs(t, err, domain.ErrUnauthenticated)
			assert.Equal(t, "the key opens nothing on this server: name the file that holds your key with --key-file or "+
				"SAGGAR_KEY_FILE, or ask a steward for a new one", err.Error(), "no way to tell why")
		})
	}
}

func TestAKeyStandsUntilItsLastInstant(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	secret, key := b.key(t, "ada", monday)
	before := b.at(key.ExpireTime.Add(-time.Microsecond))
	_, err := before.Authenticate(b.ctx, secret)
	require.NoError(t, err)
	_, err = b.at(key.ExpireTime).Authenticate(b.ctx, secret)
	require.ErrorIs(t, err, domain.ErrUnauthenticated)
	_, _, err = b.at(monday).CreateAccessKey(b.ctx, call("CreateAccessKey"), app.NewKey{
		StudioID: "test", Caller: steward, Expire: monday,
	})
	assert.NotNil(t, finding.FaultsOf(err), "a key that has ended when it is made")
}

func TestRevocationReachesOtherServersWithinASecond(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	secret, key := b.key(t, "ada", time.Time{})
	elsewhere := b.at(monday.Add(-time.Hour)) // another server on the same database
	_, err := elsewhere.Authenticate(b.ctx, secret)
	require.NoError(t, err)
	_, err = b.RevokeAccessKey(b.ctx, call("RevokeAccessKey"), "test", key.ID)
	require.NoError(t, err)
	revoked := time.Now()
	_, err = b.Authenticate(b.ctx, secret)
	require.ErrorIs(t, err, domain.ErrUnauthenticated, "at once where it was revoked")
	require.Eventually(t, func() bool {
		_, err := elsewhere.Authenticate(b.ctx, secret)
		return errors.Is(err, domain.ErrUnauthenticated)
	}, time.Until(revoked.Add(time.Second)), 10*time.Millisecond)
}

func TestTheLastUseIsKept(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	secret, key := b.key(t, "ada", time.Time{})
	_, err := b.Authenticate(b.ctx, secret)
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		keys, err := b.ListAccessKeys(b.ctx, call("ListAccessKeys"), app.AccessKeysQuery{StudioID: "test"})
		require.NoError(t, err)
		require.Len(t, keys, 1)
		assert.Equal(t, key.ID, keys[0].ID)
		return keys[0].LastUseTime.Equal(monday.Add(-time.Hour))
	}, 10*time.Second, 10*time.Millisecond)
}

func TestOnesOwnKeysOnly(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, adas := b.key(t, "ada", time.Time{})
	_, bens := b.key(t, "ben", time.Time{})
	ada := app.Call{Caller: domain.Caller{ID: "ada", Role: domain.RoleMaker}, OwnOnly: true, Method: "RevokeAccessKey"}
	keys, err := b.ListAccessKeys(b.ctx, ada, app.AccessKeysQuery{StudioID: "test"})
	require.NoError(t, err)
	require.Len(t, keys, 1)
	assert.Equal(t, adas.ID, keys[0].ID)
	_, foreign := b.RevokeAccessKey(b.ctx, ada, "test", bens.ID)
	require.ErrorIs(t, foreign, domain.ErrNotFound)
	_, missing := b.RevokeAccessKey(b.ctx, ada, "test", "k0")
	assert.Equal(t, strings.ReplaceAll(missing.Error(), "k0", bens.ID), foreign.Error(), "a foreign and a missing key answer alike")
	_, err = b.RevokeAccessKey(b.ctx, ada, "test", adas.ID)
	require.NoError(t, err)
}

func TestAKeyIsExchangedOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	secret, _ := b.key(t, "ada", monday.Add(time.Hour))
	who, err := b.Authenticate(b.ctx, secret)
	require.NoError(t, err)
	results := make(chan error, 2)
	for range 2 {
		go func() {
			_, key, err := b.ExchangeAccessKey(b.ctx, call("ExchangeAccessKey"), who, "")
			if err == nil {
				assert.Equal(t, monday.Add(time.Hour), key.ExpireTime, "an exchange does not lengthen a key's life")
				assert.Equal(t, "desk", key.Label)
			}
			results <- err
		}()
	}
	first, second := <-results, <-results
	if first != nil {
		first, second = second, first
	}
	require.NoError(t, first)
	require.ErrorIs(t, second, domain.ErrUnauthenticated)
}

// tokens are as a verifier of an issuer takes them: by subject, for a while.
type tokens map[string]time.Time

func (t tokens) Verify(_ context.Context, token string) (string, time.Time, error) {
	subject, _, _ := strings.Cut(token, ".")
	expire, good := t[subject]
	if !good {
		return "", expire, domain.ErrUnauthenticated
	}
	return subject, expire, nil
}

func TestATokenOpensTheStudiosOfItsSubject(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.Authenticate(b.ctx, "ada.b.c")
	require.ErrorIs(t, err, domain.ErrUnauthenticated, "no issuer is trusted")
	b.TrustTokens(tokens{"ada": monday, "stranger": monday})
	south := testStudio()
	south.StudioID, south.Studio = "south", &domain.Studio{ID: "south", TimeZone: "UTC"}
	_, err = b.LoadStudio(b.ctx, call("LoadStudio"), south)
	require.NoError(t, err)
	for studio, person := range map[string]domain.Person{
		"test": {ID: "ada", Role: domain.RoleMaker, OpenIDSubject: "ada"}, "south": {ID: "a-l", Role: domain.RoleSteward, OpenIDSubject: "ada"},
	} {
		_, err := b.UpdatePerson(b.ctx, call("UpdatePerson"), studio, person, allowMissing)
		require.NoError(t, err)
	}
	who, err := b.Authenticate(b.ctx, "ada.b.c")
	require.NoError(t, err)
	assert.Equal(t, domain.RoleNone, who.In("").Role, "no token opens the server as a whole")
	assert.Equal(t, "ada", who.Subject)
	assert.Equal(t, domain.Caller{ID: "ada", Role: domain.RoleMaker}, who.In("test"))
	assert.Equal(t, domain.Caller{ID: "a-l", Role: domain.RoleSteward}, who.In("south"))
	stranger, err := b.Authenticate(b.ctx, "stranger.b.c")
	require.NoError(t, err)
	assert.Equal(t, domain.RoleNone, stranger.Anywhere().Role, "known to the issuer, member of nothing")
	_, err = b.Authenticate(b.ctx, "eve.b.c")
	require.ErrorIs(t, err, domain.ErrUnauthenticated)

	late := b.at(monday)
	late.TrustTokens(tokens{"ada": monday})
	_, err = late.Authenticate(b.ctx, "ada.b.c")
	require.ErrorIs(t, err, domain.ErrUnauthenticated, "expired, also while it is remembered")
	_, _, err = b.ExchangeAccessKey(b.ctx, call("ExchangeAccessKey"), who, "")
	require.ErrorIs(t, err, domain.ErrWrongState, "a token is no key")
}

// TestAKeyIsShownAsItOpens: a viewer's key says viewer, whatever it was asked for, and opens more once they may do more.
func TestAKeyIsShownAsItOpens(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	put := func(role domain.Role) {
		_, err := b.UpdatePerson(b.ctx, call("UpdatePerson"), "test", domain.Person{ID: "vic", Role: role}, allowMissing)
		require.NoError(t, err)
	}
	put(domain.RoleViewer)
	secret, key, err := b.CreateAccessKey(b.ctx, call("CreateAccessKey"), app.NewKey{StudioID: "test", Caller: domain.Caller{ID: "vic", Role: domain.RoleMaker}})
	require.NoError(t, err)
	assert.Equal(t, domain.RoleViewer, key.Caller.Role)
	put(domain.RoleMaker)
	fresh := b.at(monday)
	who, err := fresh.Authenticate(b.ctx, secret)
	require.NoError(t, err)
	assert.Equal(t, domain.RoleMaker, who.Memberships[0].Role, "what is stored is what was asked for")
}

// TestWhoIsNoneOfThePeopleIsToldHowToBecomeOne: the first steward's key opens every studio, and names nobody of it.
func TestWhoIsNoneOfThePeopleIsToldHowToBecomeOne(t *testing.T) {
	t.Parallel()
	m := newMailed(t)
	server := m.server()
	server.ServeFeeds("https://calendar.example.edu")
	_, _, err := server.CreateFeed(m.ctx, call("CreateFeed"), "test", domain.Feed{Subject: "people/steward"})
	require.ErrorContains(t, err, "add yourself first, as with 'saggar person add steward --role steward'")
	_, err = server.UpdateMailChoice(m.ctx, call("UpdateMailChoice"), "test",
		domain.MailChoice{PersonID: "steward", Email: "steward@example.edu", Pace: domain.MailDaily}, allowMissing)
	require.ErrorContains(t, err, "add yourself first, as with 'saggar person add steward --role steward'")
	_, _, err = server.CreateFeed(m.ctx, call("CreateFeed"), "test", domain.Feed{Subject: "people/ada"})
	require.ErrorContains(t, err, "'saggar person add ada --role maker'")
}

// TestWhatWasDeletedMeanwhileIsStale: a caller who saw it, and would make it anew, is told that it changed, not that it never was.
func TestWhatWasDeletedMeanwhileIsStale(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	update := app.EquipmentUpdate{StudioID: "test", AllowMissing: true, Equipment: domain.Equipment{Kind: domain.KindClosure, ID: "repair", Closure: &domain.Closure{
		ID: "repair", SubjectKind: domain.KindFurnace, SubjectID: "kiln", Start: monday, End: monday.Add(time.Hour),
	}}}
	stood, err := b.UpdateEquipment(b.ctx, call("UpdateClosure"), update)
	require.NoError(t, err)
	require.NoError(t, b.DeleteEquipment(b.ctx, call("DeleteClosure"), update))
	update.ExpectRevision = stood.Revision
	_, err = b.UpdateEquipment(b.ctx, call("UpdateClosure"), update)
	require.ErrorIs(t, err, domain.ErrChangedMeanwhile)
}
