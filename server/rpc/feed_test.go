package rpc

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestFeedsAreMadeListedAndRevoked(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	keys := s.people(t)
	feeds := saggarv1.NewFeedServiceClient(s.connection)
	create := func(role domain.Role, subject string) *saggarv1.Feed {
		made, err := feeds.CreateFeed(withKey(t, keys[role]), &saggarv1.CreateFeedRequest{
			Parent: north, Feed: &saggarv1.Feed{Subject: subject, Label: "phone", Owner: "vic", Address: "https://evil.example"},
		})
		require.NoError(t, err)
		return made
	}
	mine, theirs := create(domain.RoleMaker, "people/mia"), create(domain.RoleTechnician, "departments/pigments")
	assert.Equal(t, "mia", mine.GetOwner(), "what the caller says of the owner is not looked at")
	assert.Regexp(t, `^https://kiln\.example/feeds/[A-Za-z0-9_-]{43}\.ics$`, mine.GetAddress())
	assert.NotEqual(t, mine.GetAddress(), theirs.GetAddress())
	list := func(role domain.Role, ended bool) (names []string) {
		page, err := feeds.ListFeeds(withKey(t, keys[role]), &saggarv1.ListFeedsRequest{Parent: north, ShowEnded: ended})
		require.NoError(t, err)
		for _, f := range page.GetFeeds() {
			names = append(names, f.GetName())
			assert.Empty(t, f.GetAddress(), "an address is shown once")
		}
		return names
	}
	assert.Equal(t, []string{mine.GetName()}, list(domain.RoleMaker, false))
	assert.Equal(t, []string{theirs.GetName(), mine.GetName()}, list(domain.RoleSteward, false))

	_, err := feeds.RevokeFeed(withKey(t, keys[domain.RoleMaker]), &saggarv1.RevokeFeedRequest{Name: theirs.GetName()})
	assert.Equal(t, codes.NotFound, status.Code(err), "somebody else's")
	_, err = feeds.RevokeFeed(s.steward(t), &saggarv1.RevokeFeedRequest{Name: strings.Replace(mine.GetName(), north, "studios/south", 1)})
	assert.Equal(t, codes.NotFound, status.Code(err), "in another studio's name")
	revoked, err := feeds.RevokeFeed(withKey(t, keys[domain.RoleSteward]), &saggarv1.RevokeFeedRequest{Name: mine.GetName()})
	require.NoError(t, err)
	assert.NotNil(t, revoked.GetRevokeTime())
	again, err := feeds.RevokeFeed(withKey(t, keys[domain.RoleMaker]), &saggarv1.RevokeFeedRequest{Name: mine.GetName()})
	require.NoError(t, err, "revoking twice is the same")
	assert.Equal(t, revoked.GetRevokeTime().AsTime(), again.GetRevokeTime().AsTime())
	assert.Empty(t, list(domain.RoleMaker, false))
	assert.Len(t, list(domain.RoleMaker, true), 1)

	for _, subject := range []string{"people/nobody", "furnaces/none", "departments/none"} {
		_, err := feeds.CreateFeed(withKey(t, keys[domain.RoleMaker]), &saggarv1.CreateFeedRequest{Parent: north, Feed: &saggarv1.Feed{Subject: subject}})
		assert.Equal(t, []string{"feed.subject"}, fieldsOf(err), "%s: %v", subject, err)
	}
	trace, err := saggarv1.NewTraceServiceClient(s.connection).ListChanges(s.steward(t), &saggarv1.ListChangesRequest{Parent: north})
	require.NoError(t, err)
	secret := strings.TrimSuffix(strings.TrimPrefix(mine.GetAddress(), "https://kiln.example/feeds/"), ".ics")
	traced := 0
	for _, c := range trace.GetChanges() {
		assert.NotContains(t, c.String(), secret, "the trace tells no address")
		if strings.HasPrefix(c.GetSubject(), "feeds/") {
			traced++
		}
	}
	assert.Equal(t, 3, traced, "two made, one revoked")
	s.server.options.App.ServeFeeds("")
	_, err = feeds.CreateFeed(s.steward(t), &saggarv1.CreateFeedRequest{Parent: north, Feed: &saggarv1.Feed{Subject: "people/mia"}})
	assert.Equal(t, codes.FailedPrecondition, status.Code(err), "a server that serves none makes none")
}
