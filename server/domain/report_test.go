package domain

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/heat"
)

// counted is a row as a count minute by minute gives it.
type counted struct {
	firings, held, heldStaffed, all, staffed, inRoom, inReach, missed, cancelled int
	energy, cost                                                                 float64
}

func (r ReportRow) counted() counted {
	return counted{
		r.FiringCount, r.HeldMinutes, r.HeldStaffedMinutes, r.AllMinutes, r.StaffedMinutes, r.InRoomMinutes, r.InReachMinutes,
		r.MissedMinutes, r.CancelledMinutes, r.EnergyKilowattHours, r.Cost,
	}
}

// count adds up a report by asking of every minute of the window who does what in it.
func count(in ReportInput) map[rowKey]*counted {
	rows := map[rowKey]*counted{}
	furnaces := map[string]ReportFurnace{}
	for _, f := range in.Furnaces {
		furnaces[f.ID] = f
	}
	for minute := in.Window.Start; minute.Before(in.Window.End); minute = minute.Add(time.Minute) {
		for _, u := range in.Uses {
			if !holds(u.Window, minute) {
				continue
			}
			key := rowKey{u.Department, u.Maker, u.Furnace, minute.In(in.Zone).Format("2006-01")}
			if rows[key] == nil {
				rows[key] = &counted{}
			}
			rows[key].addMinute(u, minute, furnaces[u.Furnace])
		}
	}
	return rows
}

func holds(w Window, minute time.Time) bool { return !minute.Before(w.Start) && minute.Before(w.End) }

// addMinute adds one minute in which a use holds.
func (c *counted) addMinute(u ReportUse, minute time.Time, furnace ReportFurnace) {
	switch u.State {
	case LoadMissed:
		c.missed++
		return
	case LoadCancelled, LoadExpired:
		c.cancelled++
		return
	}
	if minute.Equal(u.Window.Start) {
		c.firings++
	}
	c.addPhases(u, minute, furnace.PricePerKilowattHour)
	if u.Furnace == "" {
		return
	}
	c.held++
	c.cost += furnace.PricePerHour / 60
	for _, w := range furnace.Staffed {
		if holds(w, minute) {
			c.heldStaffed++
		}
	}
}

func (c *counted) addPhases(u ReportUse, minute time.Time, price float64) {
	heated := 0
	for _, p := range u.Phases {
		if p.Kilowatts > 0 {
			heated += p.Window.Minutes()
		}
	}
	for _, p := range u.Phases {
		if !holds(p.Window, minute) {
			continue
		}
		switch p.Watch {
		case heat.InRoom:
			c.inRoom += p.PeopleCount
		case heat.InReach:
			c.inReach += p.PeopleCount
		}
		if p.Kilowatts > 0 && u.Furnace != "" {
			c.energy += u.EnergyKilowattHours / float64(heated)
			c.cost += u.EnergyKilowattHours / float64(heated) * price
		}
	}
}

func randomReport(random *rand.Rand, zone *time.Location) ReportInput {
	// The windows lie over a change of the clock and the ends of months.
	start := time.Date(2027, time.Month(3+7*random.IntN(2)), 20+random.IntN(10), random.IntN(24), random.IntN(60), 0, 0, time.UTC)
	in := ReportInput{
		Zone: zone, Window: Window{start, start.Add(time.Duration(1+random.IntN(20*24*60)) * time.Minute)},
		GroupBy: []ReportDimension{ByMonth, ByDepartment, ByMaker, ByFurnace},
	}
	hours := StaffedHours{Weekly: []WeeklyHours{
		{Days: []time.Weekday{0, 1, 2, 3, 4, 5, 6}, OpensMinute: random.IntN(600), ClosesMinute: 700 + random.IntN(740)},
	}}
	for _, id := range []string{"kiln", "muffle"} {
		in.Furnaces = append(in.Furnaces, ReportFurnace{
			ID: id, Staffed: hours.Windows(in.Window, zone), PricePerHour: random.Float64(), PricePerKilowattHour: random.Float64(),
		})
	}
	states := []LoadState{LoadConfirmed, LoadDrawn, LoadStopped, LoadMissed, LoadCancelled, LoadExpired, LoadUnderFire}
	for range random.IntN(12) {
		use := ReportUse{
			Department: []string{"ceramics", "sculpture"}[random.IntN(2)], Maker: []string{"ada", "ben"}[random.IntN(2)],
			Furnace: []string{"kiln", "muffle", ""}[random.IntN(3)], State: states[random.IntN(len(states))], EnergyKilowattHours: 50 * random.Float64(),
		}
		at := in.Window.Start.Add(time.Duration(random.IntN(25*24*60)-3*24*60) * time.Minute)
		use.Window.Start = at
		for k := range 1 + random.IntN(5) {
			end := at.Add(time.Duration(random.IntN(900)) * time.Minute)
			phase := FiringPhase{
				Kind: heat.Fire, Window: Window{at, end}, Watch: []heat.Watch{heat.WatchNone, heat.InReach, heat.InRoom}[random.IntN(3)],
				PeopleCount: random.IntN(3),
			}
			if k == 0 || random.IntN(2) == 0 {
				phase.Kilowatts = 5
				phase.Window.End = phase.Window.End.Add(time.Minute)
			}
			use.Phases = append(use.Phases, phase)
			at = phase.Window.End
		}
		use.Window.End = at
		in.Uses = append(in.Uses, use)
	}
	return in
}

func TestAReportIsWhatACountMinuteByMinuteGives(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 1))
	for _, name := range []string{"Europe/Lisbon", "Asia/Beirut", "Australia/Lord_Howe", "UTC"} {
		zone, err := LoadZone(name)
		require.NoError(t, err)
		for try := range 12 {
			in := randomReport(random, zone)
			where := fmt.Sprintf("seed %d, %s, try %d", seed, name, try)
			rows, total := Report(in)
			want := count(in)
			var sum counted
			for _, row := range rows {
				got := row.counted()
				key := rowKey{row.Department, row.Maker, row.Furnace, row.Month}
				expected := want[key]
				require.NotNil(t, expected, "%s: %v", where, key)
				delete(want, key)
				assert.InDelta(t, expected.energy, got.energy, 1e-6, where)
				assert.InDelta(t, expected.cost, got.cost, 1e-6, where)
				sum.energy, sum.held, sum.firings = sum.energy+got.energy, sum.held+got.held, sum.firings+got.firings
				sum.inRoom, sum.missed, sum.cancelled = sum.inRoom+got.inRoom, sum.missed+got.missed, sum.cancelled+got.cancelled
				got.energy, got.cost, got.all, got.staffed = expected.energy, expected.cost, 0, 0
				assert.Equal(t, *expected, got, "%s: %v", where, key)
			}
			assert.Empty(t, want, "%s: rows that are missing", where)
			assert.InDelta(t, total.EnergyKilowattHours, sum.energy, 1e-6, where)
			assert.Equal(t, []int{total.HeldMinutes, total.FiringCount, total.InRoomMinutes, total.MissedMinutes, total.CancelledMinutes},
				[]int{sum.held, sum.firings, sum.inRoom, sum.missed, sum.cancelled}, where)
		}
	}
}

func TestTheHoursOfAMonthAreThoseOfItsClocks(t *testing.T) {
	lisbon, err := LoadZone("Europe/Lisbon")
	require.NoError(t, err)
	day := func(year int, month time.Month, day int) time.Time {
		return time.Date(year, month, day, 0, 0, 0, 0, lisbon)
	}
	in := ReportInput{
		Zone: lisbon, Window: Window{day(2027, 1, 1), day(2028, 1, 1)}, GroupBy: []ReportDimension{ByFurnace, ByMonth},
		Furnaces: []ReportFurnace{{ID: "kiln"}},
	}
	in.Furnaces[0].Staffed = StaffedHours{Weekly: []WeeklyHours{
		{Days: []time.Weekday{time.Monday}, OpensMinute: 480, ClosesMinute: 960},
	}}.Windows(in.Window, lisbon)
	rows, total := Report(in)
	require.Len(t, rows, 12, "used or not")
	for i, hours := range []int{744, 672, 743, 720, 744, 720, 744, 744, 720, 745, 720, 744} {
		assert.Equal(t, fmt.Sprintf("2027-%02d", i+1), rows[i].Month)
		assert.Equal(t, hours*60, rows[i].AllMinutes, rows[i].Month)
	}
	assert.Equal(t, 8760*60, total.AllMinutes)
	assert.Equal(t, 52*8*60, total.StaffedMinutes, "52 Mondays in 2027")
}

func TestAReportSaysWhatItDoesNotKnow(t *testing.T) {
	use := ReportUse{
		Department: "ceramics", Furnace: "kiln", State: LoadConfirmed, Window: Window{hour(0), hour(10)}, EnergyKilowattHours: -1,
		Phases: []FiringPhase{{Kind: heat.Fire, Window: Window{hour(0), hour(10)}, Kilowatts: 5}},
	}
	in := ReportInput{Zone: time.UTC, Window: Window{hour(0), hour(24)}, Furnaces: []ReportFurnace{{ID: "kiln"}}, Uses: []ReportUse{use}}
	rows, total := Report(in)
	assert.Nil(t, rows, "no dimension: the total only")
	assert.Equal(t, 1, total.UnknownEnergyCount)
	assert.Zero(t, total.EnergyKilowattHours)
	assert.False(t, total.Priced, "no price, no cost")
	in.Furnaces[0].PricePerHour = 2
	_, total = Report(in)
	assert.True(t, total.Priced)
	assert.InDelta(t, 20, total.Cost, 1e-12)
	in.GroupBy = []ReportDimension{ByDepartment}
	rows, _ = Report(in)
	require.Len(t, rows, 1)
	assert.Equal(t, 24*60, rows[0].AllMinutes, "a department's share is of all furnaces' hours")
	in.Window = Window{hour(5), hour(5)}
	_, total = Report(in)
	assert.Zero(t, total.HeldMinutes)
}
