package domain

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestThePaceSaysWhenSomebodyIsNextWrittenTo(t *testing.T) {
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)
	at := func(text string) time.Time {
		parsed, err := time.Parse(time.RFC3339, text)
		require.NoError(t, err)
		return parsed
	}
	for _, c := range []struct {
		pace        MailPace
		after, next string
	}{
		{MailAtOnce, "2027-03-01T08:00:30Z", "2027-03-01T08:01:30Z"},
		{MailHourly, "2027-03-01T08:00:00Z", "2027-03-01T09:00:00Z"},
		{MailHourly, "2027-03-01T08:59:59Z", "2027-03-01T09:00:00Z"},
		{MailDaily, "2027-03-01T06:59:59Z", "2027-03-01T07:00:00Z"},
		{MailDaily, "2027-03-01T07:00:00Z", "2027-03-02T07:00:00Z"},
		{MailDaily, "2027-03-27T23:00:00Z", "2027-03-28T06:00:00Z"}, // the clock is put forward that night
		{MailDaily, "2027-10-30T12:00:00Z", "2027-10-31T07:00:00Z"}, // and back
	} {
		assert.Equal(t, at(c.next), c.pace.Next(at(c.after), lisbon), "%s after %s", c.pace, c.after)
	}
}

func TestAddressesAreAddressesAndNothingElse(t *testing.T) {
	for address, good := range map[string]bool{
		"": true, "ada@example.edu": true, "Ada <ada@example.edu>": false, "ada": false, "a@b, c@d": false, "ada@example.edu\r\nBcc: x@y": false,
	} {
		assert.Equal(t, good, len(MailChoice{Email: address}.Check()) == 0, "%q", address)
	}
}

func TestTheSameChangesToldToTheSamePersonAreOneLetter(t *testing.T) {
	claim := MailClaim{StudioID: "north", Choice: MailChoice{PersonID: "ada", Revision: 3, ToldRevision: 7}, Until: 9}
	again, further, other := claim, claim, claim
	again.Choice.Attempts, further.Until, other.Choice.PersonID = 5, 10, "ben"
	assert.Equal(t, claim.LetterID(), again.LetterID())
	assert.NotEqual(t, claim.LetterID(), further.LetterID())
	assert.NotEqual(t, claim.LetterID(), other.LetterID())
	assert.Regexp(t, "^[0-9a-f]{32}$", claim.LetterID())
}
