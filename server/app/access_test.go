package app_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/server/domain"
)

func TestTheFirstKeyIsMadeOnceAndOnlyWhenItCouldBeKept(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	full := errors.New("no room")
	require.ErrorIs(t, b.FirstKey(b.ctx, func(string) error { return full }), full)
	var secret string
	keep := func(s string) error { secret = s; return nil }
	require.NoError(t, b.FirstKey(b.ctx, keep), "a key that could not be kept does not count")
	caller, err := b.Authenticate(b.ctx, secret)
	require.NoError(t, err)
	assert.Equal(t, domain.Caller{ID: "steward", Role: domain.RoleSteward}, caller)
	require.NoError(t, b.FirstKey(b.ctx, func(string) error { t.Error("a second first key"); return nil }))
	_, err = b.Authenticate(b.ctx, secret+"x")
	require.ErrorIs(t, err, domain.ErrUnauthenticated)
}
