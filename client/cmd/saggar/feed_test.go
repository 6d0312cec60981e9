package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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
	kept := filepath.Join(t.TempDir(), "phone.feed")
	assert.NotContains(t, f.succeed("feed", "create", "--address-file", kept), "x.ics")
	address, err := os.ReadFile(kept)
	require.NoError(t, err)
	assert.Equal(t, made.GetAddress()+"\n", string(address))
	again := f.run("feed", "create", "--address-file", kept)
	assert.Contains(t, again.out, "x.ics", "a file that is there is left alone, and the address is not lost")
	f.answer("ListFeeds", &saggarv1.ListFeedsResponse{Feeds: []*saggarv1.Feed{made}})
	assert.Contains(t, f.succeed("feed", "list"), "people/ada")
	f.answer("RevokeFeed", made)
	f.succeed("feed", "revoke", "f1")
	assert.Equal(t, "studios/marl-lane/feeds/f1", asked[*saggarv1.RevokeFeedRequest](f).GetName())
}

// The lines are those of the example of RFC 5545, section 3.6.1, with a zone of the tz database and an alarm.
func TestEventsAreReadOutOfACalendar(t *testing.T) {
	events, err := calendarEvents([]byte("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\nBEGIN:VEVENT\r\nUID:u1\r\nDTSTAMP:20270101T000000Z\r\n" +
		"DTSTART;TZID=Europe/Lisbon:20270628T090000\r\nDTEND:20270628T093000Z\r\nSUMMARY:Draw\\, then\r\n  clear\r\nSTATUS:TENTATIVE\r\n" +
		"BEGIN:VALARM\r\nACTION:DISPLAY\r\nDESCRIPTION:x\r\nTRIGGER:-PT5M\r\nEND:VALARM\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"))
	require.NoError(t, err)
	require.Len(t, events, 1)
	e := events[0]
	assert.Equal(t, []any{"u1", "Draw, then clear", "TENTATIVE", 1}, []any{e.UID, e.Summary, e.Status, e.Alarms})
	assert.True(t, e.StartTime.Equal(time.Date(2027, 6, 28, 8, 0, 0, 0, time.UTC)), "summer time: %s", e.StartTime)
	assert.Equal(t, 90*time.Minute, e.EndTime.Sub(e.StartTime))

	_, err = calendarEvents([]byte("<html>"))
	assert.Error(t, err)
}
