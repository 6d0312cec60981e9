package calendar

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the zones must not depend on the machine
	"unicode/utf8"

	other "github.com/emersion/go-ical"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/heat"
	"saggar/server/domain"
)

func zoneOf(t *testing.T, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	require.NoError(t, err)
	return zone
}

// calcine is a firing overnight with an alarm at both of its ends.
func calcine(start time.Time) domain.Appointment {
	window := func(from, to int) domain.Window {
		return domain.Window{Start: start.Add(time.Duration(from) * time.Minute), End: start.Add(time.Duration(to) * time.Minute)}
	}
	return domain.Appointment{
		RunID: "blue-7", RunTitle: "Blue", RecipeID: "blue", Department: "ceramics", Maker: "ada", Stage: "calcine", State: domain.LoadConfirmed,
		Window: window(0, 1440), Furnace: "pot", Revision: 41, ChangeTime: start.AddDate(0, 0, -3), RunCreateTime: start.AddDate(0, 0, -9),
		Phases: []domain.FiringPhase{
			{Kind: heat.Charge, Window: window(0, 15)}, {Kind: heat.Fire, Window: window(15, 600)},
			{Kind: heat.Cool, Window: window(600, 1400)}, {Kind: heat.Draw, Window: window(1400, 1440)},
		},
	}
}

func written(t *testing.T, c Calendar) string {
	t.Helper()
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	out := &bytes.Buffer{}
	require.NoError(t, c.Write(out))
	return out.String()
}

// parsed reads a calendar with another library than the one that wrote it.
func parsed(t *testing.T, text string) *other.Calendar {
	t.Helper()
	c, err := other.NewDecoder(strings.NewReader(text)).Decode()
	require.NoError(t, err, text)
	return c
}

func text(t *testing.T, e *other.Component, name string) string {
	t.Helper()
	value, err := e.Props.Text(name)
	require.NoError(t, err)
	return value
}

func TestAnotherLibraryReadsWhatIsWritten(t *testing.T) {
	lisbon := zoneOf(t, "Europe/Lisbon")
	a := calcine(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))
	c := parsed(t, written(t, Calendar{
		Title: "Marl Lane: pot", StudioID: "marl-lane", Zone: lisbon, Furnaces: map[string]string{"pot": "Crucible, small; old"}, Appointments: []domain.Appointment{a},
	}))
	events := c.Events()
	require.Len(t, events, 1)
	e := events[0]
	start, err := e.DateTimeStart(nil)
	require.NoError(t, err)
	end, err := e.DateTimeEnd(nil)
	require.NoError(t, err)
	assert.True(t, a.Window.Start.Equal(start) && a.Window.End.Equal(end), "%s to %s", start, end)
	assert.Equal(t, "Europe/Lisbon", e.Props.Get("DTSTART").Params.Get("TZID"))
	assert.Equal(t, "calcine: Blue in Crucible, small; old", text(t, e.Component, "SUMMARY"))
	assert.Equal(t, "Crucible, small; old", text(t, e.Component, "LOCATION"))
	assert.Equal(t, "41", e.Props.Get("SEQUENCE").Value)
	assert.Equal(t, "CONFIRMED", e.Props.Get("STATUS").Value)
	assert.Equal(t, "20270226T080000Z", e.Props.Get("DTSTAMP").Value)
	assert.Equal(t, "20270226T080000Z", e.Props.Get("LAST-MODIFIED").Value)
	assert.Equal(t, "20270220T080000Z", e.Props.Get("CREATED").Value)
	assert.Equal(t, "Run blue-7 by ada for ceramics, recipe blue\ncharge Mon 1 Mar 08:00 to Mon 1 Mar 08:15\n"+
		"fire Mon 1 Mar 08:15 to Mon 1 Mar 18:00\ncool Mon 1 Mar 18:00 to Tue 2 Mar 07:20\ndraw Tue 2 Mar 07:20 to Tue 2 Mar 08:00",
		text(t, e.Component, "DESCRIPTION"))
	var alarms []string
	for _, child := range e.Children {
		alarms = append(alarms, child.Name+" "+child.Props.Get("TRIGGER").Value+" "+child.Props.Get("ACTION").Value)
	}
	assert.Equal(t, []string{"VALARM 20270301T080000Z DISPLAY", "VALARM 20270302T072000Z DISPLAY"}, alarms)
}

func TestAStageInASharedFiringSaysWhose(t *testing.T) {
	a := calcine(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))
	a.Firing, a.SharedBy = "f12", "tove"
	event := func() other.Event {
		return parsed(t, written(t, Calendar{Appointments: []domain.Appointment{a}})).Events()[0]
	}
	e := event()
	assert.Contains(t, text(t, e.Component, "DESCRIPTION"), "In shared firing f12, which tove answers for")
	a.State = domain.LoadUnplaced
	e = event()
	assert.Equal(t, "CANCELLED", e.Props.Get("STATUS").Value, "it has no firing now")
}

func TestAnEventKeepsItsUIDWhenItIsMovedAndRaisesItsSequence(t *testing.T) {
	a := calcine(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))
	moved := calcine(time.Date(2027, 3, 8, 8, 0, 0, 0, time.UTC))
	moved.RunCreateTime, moved.Revision, moved.Furnace = a.RunCreateTime, 42, "muffle"
	sibling, elsewhere := a, Calendar{StudioID: "other", Zone: time.UTC}
	sibling.Stage = "oxidise"
	c := Calendar{StudioID: "marl-lane", Zone: time.UTC}
	assert.Equal(t, c.uid(a), c.uid(moved))
	assert.NotEqual(t, c.uid(a), c.uid(sibling), "another stage is another event")
	assert.NotEqual(t, c.uid(a), elsewhere.uid(a), "another studio's run of the same id is another event")
	c.Appointments = []domain.Appointment{a}
	assert.Equal(t, written(t, c), written(t, c), "the same gives the same text")
}

func TestStatusesAreThoseOfTheStandard(t *testing.T) {
	for state, want := range map[domain.LoadState]string{
		domain.LoadTentative: "TENTATIVE", domain.LoadConfirmed: "CONFIRMED", domain.LoadUnderFire: "CONFIRMED", domain.LoadDrawn: "CONFIRMED",
		domain.LoadStopped: "CONFIRMED", domain.LoadMissed: "CANCELLED", domain.LoadExpired: "CANCELLED", domain.LoadCancelled: "CANCELLED",
	} {
		a := calcine(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))
		a.State = state
		e := parsed(t, written(t, Calendar{Appointments: []domain.Appointment{a}})).Events()[0]
		assert.Equal(t, want, e.Props.Get("STATUS").Value, state)
		assert.Equal(t, want != "CANCELLED", len(e.Children) > 0, "what is called off rings no alarm: %s", state)
	}
}

// checkLines holds a text against RFC 5545, section 3.1: CRLF at each end, at most 75 octets, no character split, no control
// character.
func checkLines(t *testing.T, text string) {
	t.Helper()
	require.True(t, strings.HasSuffix(text, "END:VCALENDAR\r\n"))
	for _, line := range strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n") {
		assert.LessOrEqual(t, len(line), 75, line)
		assert.True(t, utf8.ValidString(line), "%q splits a character", line)
		assert.NotContains(t, line, "\n")
		assert.NotContains(t, line, "\r")
		assert.NotEmpty(t, line)
	}
}

func TestLinesAreFoldedBetweenCharactersAndTextComesBackWhole(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	letters := []rune("abc ,;:\\\"'nN=éß漢字🔥\u0301")
	for range 300 {
		title := make([]rune, 1+random.IntN(200))
		for i := range title {
			title[i] = letters[random.IntN(len(letters))]
		}
		a := calcine(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))
		a.RunTitle = "x" + string(title) + "x"
		out := written(t, Calendar{Title: a.RunTitle, Appointments: []domain.Appointment{a}})
		checkLines(t, out)
		assert.Equal(t, "calcine: "+a.RunTitle+" in pot", text(t, parsed(t, out).Events()[0].Component, "SUMMARY"))
	}
}

func TestControlCharactersOpenNoLineOfTheirOwn(t *testing.T) {
	a := calcine(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))
	a.RunTitle, a.Maker, a.Department = "a\r\nATTACH:http://evil.example/", "b\x00\x1b[2J", "c\r\nEND:VEVENT\r\nBEGIN:VEVENT"
	out := written(t, Calendar{Title: "t\r\nX-EVIL:1", Furnaces: map[string]string{"pot": "p\nX-EVIL:2"}, Appointments: []domain.Appointment{a}})
	checkLines(t, out)
	c := parsed(t, out)
	require.Len(t, c.Events(), 1)
	assert.Nil(t, c.Events()[0].Props.Get("ATTACH"))
	assert.NotContains(t, out, "\r\nX-EVIL")
}

// atOffset is the offset that a VTIMEZONE gives for an instant: that of the latest onset before it (RFC 5545, section 3.6.5).
func atOffset(t *testing.T, zone *other.Component, at time.Time) int {
	t.Helper()
	found, latest := -1, time.Time{}
	for _, o := range zone.Children {
		from, to := secondsOf(t, o.Props.Get("TZOFFSETFROM").Value), secondsOf(t, o.Props.Get("TZOFFSETTO").Value)
		local, err := time.Parse(localForm, o.Props.Get("DTSTART").Value)
		require.NoError(t, err)
		if onset := local.Add(-time.Duration(from) * time.Second); !onset.After(at) && !onset.Before(latest) {
			found, latest = to, onset
		}
	}
	return found
}

func secondsOf(t *testing.T, offset string) int {
	t.Helper()
	var sign rune
	var h, m int
	_, err := fmt.Sscanf(offset, "%c%02d%02d", &sign, &h, &m)
	require.NoError(t, err, offset)
	if sign == '-' {
		return -(h*3600 + m*60)
	}
	return h*3600 + m*60
}

func zoneIn(t *testing.T, c *other.Calendar) *other.Component {
	t.Helper()
	for _, child := range c.Children {
		if child.Name == "VTIMEZONE" {
			return child
		}
	}
	require.Fail(t, "no VTIMEZONE")
	return nil
}

// TestOffsetsAreThoseOfTheTzDatabase goes over both clock changes of two years in zones of both hemispheres, one that changes by
// half an hour, and one that never does, and asks for each half hour.
func TestOffsetsAreThoseOfTheTzDatabase(t *testing.T) {
	for _, name := range []string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "America/Santiago", "Europe/Dublin", "Asia/Tokyo"} {
		zone := zoneOf(t, name)
		first, last := time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC), time.Date(2027, 12, 20, 0, 0, 0, 0, time.UTC)
		c := parsed(t, written(t, Calendar{Zone: zone, Appointments: []domain.Appointment{calcine(first), calcine(last)}}))
		vtimezone := zoneIn(t, c)
		assert.Equal(t, name, vtimezone.Props.Get("TZID").Value)
		for at := first; at.Before(last); at = at.Add(30 * time.Minute) {
			_, want := at.In(zone).Zone()
			if !assert.Equal(t, want, atOffset(t, vtimezone, at), "%s at %s", name, at) {
				break
			}
		}
	}
}

// TestAnHourThatComesTwiceIsTold books into both passes of 01:30 on the night on which Lisbon puts its clock back.
func TestAnHourThatComesTwiceIsTold(t *testing.T) {
	lisbon := zoneOf(t, "Europe/Lisbon")
	for _, start := range []time.Time{
		time.Date(2027, 10, 31, 0, 30, 0, 0, time.UTC), time.Date(2027, 10, 31, 1, 30, 0, 0, time.UTC), time.Date(2027, 10, 31, 2, 0, 0, 0, time.UTC),
		time.Date(2027, 3, 28, 0, 59, 0, 0, time.UTC), time.Date(2027, 3, 28, 1, 0, 0, 0, time.UTC),
	} {
		e := parsed(t, written(t, Calendar{Zone: lisbon, Appointments: []domain.Appointment{calcine(start)}})).Events()[0]
		got, err := e.DateTimeStart(nil)
		require.NoError(t, err)
		assert.True(t, start.Equal(got), "%s comes back as %s from %s", start, got, e.Props.Get("DTSTART").Value)
	}
	twice := parsed(t, written(t, Calendar{Zone: lisbon, Appointments: []domain.Appointment{calcine(time.Date(2027, 10, 31, 1, 30, 0, 0, time.UTC))}})).Events()[0]
	assert.Equal(t, "20271031T013000Z", twice.Props.Get("DTSTART").Value, "what comes twice is written in UTC")
}

func TestUTCNeedsNoZone(t *testing.T) {
	out := written(t, Calendar{Appointments: []domain.Appointment{calcine(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))}})
	assert.NotContains(t, out, "VTIMEZONE")
	assert.Contains(t, out, "DTSTART:20270301T080000Z\r\n")
	empty := written(t, Calendar{Title: "Empty", Zone: zoneOf(t, "Europe/Lisbon")})
	checkLines(t, empty)
	assert.NotContains(t, empty, "VTIMEZONE", "no event, no zone")
}
