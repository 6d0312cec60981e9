package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	saggarv1 "saggar/proto/saggar/v1"
)

func TestFeedsAreMadeListedAndRevoked(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetCaller", &saggarv1.Caller{Id: "x", Memberships: []*saggarv1.Membership{{Studio: "studios/marl-lane", Person: "ada"}}})
	made := &saggarv1.Feed{Name: "studios/marl-lane/feeds/f1", Subject: "people/ada", Address: "https://kiln.example/feeds/x.ics", Label: "phone"}
	f.answer("CreateFeed", made)
	assert.Contains(t, f.succeed("feed", "create", "--label", "phone"), "https://kiln.example/feeds/x.ics")
	assertSame(t, &saggarv1.Feed{Subject: "people/ada", Label: "phone"}, asked[*saggarv1.CreateFeedRequest](f).GetFeed())
	for flag, subject := range map[string]string{"--furnace": "furnaces/x", "--department": "departments/x", "--person": "people/x"} {
		f.succeed("feed", "create", flag, "x")
		assert.Equal(t, subject, asked[*saggarv1.CreateFeedRequest](f).GetFeed().GetSubject())
	}
	assert.Equal(t, 2, f.run("feed", "create", "--furnace", "x", "--person", "y").code)
	f.answer("ListFeeds", &saggarv1.ListFeedsResponse{Feeds: []*saggarv1.Feed{made}})
	assert.Contains(t, f.succeed("feed", "list"), "people/ada")
	f.answer("RevokeFeed", made)
	f.succeed("feed", "revoke", "f1")
	assert.Equal(t, "studios/marl-lane/feeds/f1", asked[*saggarv1.RevokeFeedRequest](f).GetName())
}
