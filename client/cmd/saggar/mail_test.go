package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	saggarv1 "saggar/proto/saggar/v1"
)

func TestLettersAreChosenAndListed(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetCaller", &saggarv1.Caller{Id: "x", Memberships: []*saggarv1.Membership{{Studio: "studios/marl-lane", Person: "ada"}}})
	ada := &saggarv1.MailChoice{
		Name: "studios/marl-lane/mailChoices/ada", Email: "ada@example.edu", Pace: saggarv1.MailPace_MAIL_PACE_AT_ONCE, FailedCount: 3, Failure: "550 full",
	}
	f.answer("UpdateMailChoice", ada)
	assert.Contains(t, f.succeed("mail", "choose", "--email", "ada@example.edu", "--pace", "at_once"), "at_once")
	request := asked[*saggarv1.UpdateMailChoiceRequest](f)
	assertSame(t, &saggarv1.MailChoice{
		Name: "studios/marl-lane/mailChoices/ada", Email: "ada@example.edu", Pace: saggarv1.MailPace_MAIL_PACE_AT_ONCE,
	}, request.GetMailChoice())
	assert.Equal(t, []string{"email", "pace"}, request.GetUpdateMask().GetPaths())
	f.succeed("mail", "choose", "--email", "", "--person", "ben")
	request = asked[*saggarv1.UpdateMailChoiceRequest](f)
	assert.Equal(t, "studios/marl-lane/mailChoices/ben", request.GetMailChoice().GetName())
	assert.Equal(t, []string{"email"}, request.GetUpdateMask().GetPaths(), "an address is taken away by an empty one")
	assert.Equal(t, 2, f.run("mail", "choose").code)
	assert.Equal(t, 2, f.run("mail", "choose", "--pace", "often").code)
	f.answer("ListMailChoices", &saggarv1.ListMailChoicesResponse{MailChoices: []*saggarv1.MailChoice{ada}})
	assert.Contains(t, f.succeed("mail", "list"), "550 full")
}
