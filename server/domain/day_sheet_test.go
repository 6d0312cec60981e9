package domain

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/heat"
)

func TestALocalDayIsAsLongAsTheClocksMakeIt(t *testing.T) {
	lisbon, err := LoadZone("Europe/Lisbon")
	require.NoError(t, err)
	beirut, err := LoadZone("Asia/Beirut") // changes its clock at midnight
	require.NoError(t, err)
	for date, hours := range map[string]float64{"2027-03-27": 24, "2027-03-28": 23, "2027-10-31": 25} {
		day, err := LocalDay("date", date, lisbon)
		require.NoError(t, err)
		assert.InDelta(t, hours, day.End.Sub(day.Start).Hours(), 0, date)
	}
	day, err := LocalDay("date", "2027-03-28", beirut)
	require.NoError(t, err)
	assert.Equal(t, "01:00", day.Start.In(beirut).Format("15:04"), "midnight is skipped")
	assert.InDelta(t, 23, day.End.Sub(day.Start).Hours(), 0)
	for _, wrong := range []string{"", "2027-02-29", "27-01-01", "1999-12-31", "2100-01-01"} {
		_, err := LocalDay("date", wrong, lisbon)
		assert.Error(t, err, wrong)
	}
}

func TestMarks(t *testing.T) {
	for index, mark := range map[int]string{0: "A", 25: "Z", 26: "AA", 51: "AZ", 52: "BA", 701: "ZZ", 702: "AAA"} {
		assert.Equal(t, mark, Mark(index))
	}
}

func hour(n int) time.Time { return time.Date(2027, 3, 1, n, 0, 0, 0, time.UTC) }

func TestUnattendedHeatIsWhatTheStaffedHoursLeave(t *testing.T) {
	day := Window{hour(0), hour(24)}
	staffed := []Window{{hour(8), hour(18)}, {hour(32), hour(42)}}
	phases := []FiringPhase{
		{Kind: heat.Charge, Window: Window{hour(9), hour(10)}, Watch: heat.InRoom},
		{Kind: heat.Fire, Window: Window{hour(10), hour(20)}, Watch: heat.InReach, Kilowatts: 5},
		{Kind: heat.Fire, Window: Window{hour(20), hour(34)}, Watch: heat.WatchNone, Kilowatts: 5},
		{Kind: heat.Cool, Window: Window{hour(34), hour(50)}, Watch: heat.WatchNone},
	}
	assert.Equal(t, []UnattendedHeat{
		{Window{hour(18), hour(20)}, heat.InReach}, {Window{hour(20), hour(32)}, heat.WatchNone},
	}, Unattended(phases, staffed, day), "to its end in the next morning")
	assert.Empty(t, Unattended(phases, []Window{{hour(0), hour(48)}}, day))
	assert.Equal(t, []UnattendedHeat{{Window{hour(20), hour(32)}, heat.WatchNone}},
		Unattended(phases, staffed, Window{hour(24), hour(48)}), "the day after sees only what reaches into it")
	whole := Unattended(phases, nil, day)
	assert.Len(t, whole, 2, "nobody ever answers for the room")
}

func TestPeopleAtOnceCountsThoseWhoMustBeInTheRoomTogether(t *testing.T) {
	job := func(room string, watch heat.Watch, people, from, until int) DayJob {
		return DayJob{Furnace: heat.Furnace{Room: room}, Load: Load{Firing: &Firing{Phases: []FiringPhase{{
			Kind: heat.Charge, Window: Window{hour(from), hour(until)}, Watch: watch, PeopleCount: people,
		}}}}}
	}
	sheet := DaySheet{Day: Window{hour(0), hour(24)}, Jobs: []DayJob{
		job("bay", heat.InRoom, 2, -3, 2), job("bay", heat.InRoom, 1, 1, 3), job("bay", heat.InRoom, 4, 3, 5),
		job("bay", heat.InReach, 9, 0, 24), job("hall", heat.InRoom, 9, 0, 24), job("bay", heat.InRoom, 20, 24, 30),
	}}
	assert.Equal(t, 4, sheet.PeopleAtOnce("bay"), "2 and 1 together are 3; 4 come as they leave")
}

func TestADetectorsTestCountsThirtyDays(t *testing.T) {
	room := air.Room{Detectors: []air.Detector{
		{Species: "SO2", TestedOn: "2027-02-01"}, {Species: "CO"}, {Species: "H2S", TestedOn: "2027-03-04"},
	}}
	for date, overdue := range map[string][]bool{
		"2027-03-03": {true, true, false}, "2027-03-04": {true, false, true},
	} {
		list := DetectorsOn(room, date)
		require.Len(t, list, 3)
		for i, species := range []string{"CO", "H2S", "SO2"} {
			assert.Equal(t, species, list[i].Species)
			assert.Equal(t, overdue[i], list[i].Overdue, "%s on %s", species, date)
		}
	}
	assert.Equal(t, "2027-03-03", DetectorsOn(room, "2027-03-03")[2].DueOn)
}
