package app

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/server/domain"
)

var eight = time.Date(2027, time.March, 1, 8, 0, 0, 0, time.UTC)

// twoRooms are rooms a and b with a fan each, and a furnace without a hood in each.
func twoRooms(t testing.TB, more ...domain.Equipment) *domain.Site {
	t.Helper()
	var equipment []domain.Equipment
	for _, id := range []string{"a", "b"} {
		equipment = append(equipment,
			domain.Equipment{Kind: domain.KindRoom, ID: id, Room: &air.Room{
				ID: id, VolumeCubicMeters: 100, MakeUpCubicMetersPerSecond: 1, MixingFactor: 1, CrewCount: 5,
				Detectors: []air.Detector{{Species: "SO2", TestedOn: "2027-02-22"}},
			}},
			domain.Equipment{Kind: domain.KindCircuit, ID: "fan-" + id, Circuit: &air.Circuit{ID: "fan-" + id, Branches: []air.Branch{
				{ID: "wall", Room: id, CubicMetersPerSecond: 0.5, MeasuredOn: "2027-01-01"},
			}}},
			domain.Equipment{Kind: domain.KindFurnace, ID: "in-" + id, Furnace: &heat.Furnace{ID: "in-" + id, Room: id}},
			domain.Equipment{Kind: domain.KindFurnace, ID: "besides-" + id, Furnace: &heat.Furnace{ID: "besides-" + id, Room: id}})
	}
	site, err := domain.NewSite(domain.Studio{TimeZone: "UTC"}, append(equipment, more...))
	require.NoError(t, err)
	return site
}

// watched is a firing, at person@furnace, in whose room somebody is for all of its hours while it gives off sulfur dioxide, so that the room soon
// holds so many ppm of it: a room of 100 m3 with 0.5 m3/s of air is at its steady state within minutes.
func watched(id, place string, start time.Time, hours, ppm float64) domain.Firing {
	person, furnace, _ := strings.Cut(place, "@")
	window := domain.Window{Start: start, End: start.Add(time.Duration(hours * float64(time.Hour)))}
	f := domain.Firing{ID: id, Furnace: furnace, Title: id, AttendedBy: person, Window: window, Phases: []domain.FiringPhase{
		{Kind: heat.Fire, Window: window, Watch: heat.InRoom, PeopleCount: 1},
	}}
	if ppm > 0 {
		gramsPerMinute := ppm * 64.06 / 24.45 * 0.5 * 60 / 1000
		f.Releases = []air.Release{{Species: "SO2", StartMinute: 0, EndMinute: hours * 60, GramsPerMinute: gramsPerMinute}}
	}
	return f
}

func refusals(findings []finding.Finding) (list []finding.Finding) {
	for _, f := range findings {
		if f.Severity == finding.Block {
			list = append(list, f)
		}
	}
	return list
}

// NIOSH's 2 ppm of SO2 hold over ten hours: four hours at 3.8 ppm pass in each room, and not one after the other.
func TestTwoRoomsThatEachPassMakeADayThatDoesNot(t *testing.T) {
	morning, noon := watched("morning", "mira@in-a", eight, 4, 3.8), eight.Add(4*time.Hour+30*time.Minute)
	j := joint{site: twoRooms(t), today: "2027-03-01", existing: []domain.Firing{morning}}
	with := func(planned domain.Firing) joint {
		now := j
		now.planned = []plannedFiring{{Firing: planned, field: "runs[0].stage_windows[0]"}}
		return now
	}
	second := with(watched("second", "mira@in-b", noon, 4, 3.8))
	air, _ := second.air()
	require.Empty(t, refusals(air), "each room by itself passes")
	found, days, assumptions := second.days()
	over := refusals(found)
	require.Len(t, over, 1)
	assert.Equal(t, []string{"AIR_PERSON_SHIFT_LIMIT", "mira", "runs[0].stage_windows[0]"}, []string{over[0].Code, over[0].About, over[0].Field})
	assert.Contains(t, over[0].Message, "Mon 1 Mar ")
	assert.Contains(t, over[0].Cure, "another person")
	assert.Contains(t, over[0].Source, "NIOSH")
	assert.NotEmpty(t, assumptions)
	require.Len(t, days, 1)
	assert.Equal(t, []string{"mira", "2027-03-01", "a", "b"}, []string{days[0].Person, days[0].Date, days[0].Stays[0].Room, days[0].Stays[1].Room})
	nearest := days[0].Limits()
	for _, limit := range nearest {
		if limit.Authority == "NIOSH" && limit.AveragingMinutes == 600 {
			assert.InEpsilon(t, 3.8*480/600, limit.MeanPPM, 0.02, "eight hours of ten")
		}
	}
	assert.GreaterOrEqual(t, nearest[0].Ratio, nearest[1].Ratio)

	for name, other := range map[string]domain.Firing{
		"somebody else": watched("second", "tom@in-b", noon, 4, 3.8),
		"another day":   watched("second", "mira@in-b", eight.Add(14*time.Hour), 4, 3.8),
		"a short one":   watched("second", "mira@in-b", noon, 1, 3.8),
		"nobody in the room": func() domain.Firing {
			f := watched("second", "mira@in-b", noon, 4, 3.8)
			f.Phases[0].Watch = heat.InReach
			return f
		}(),
	} {
		found, _, _ := with(other).days()
		assert.Empty(t, refusals(found), name)
	}
	late := with(watched("second", "mira@in-b", eight.Add(14*time.Hour-time.Minute), 4, 3.8))
	found, days, _ = late.days()
	assert.Len(t, days[0].Stays, 2, "less than ten hours lie between: one day")
	assert.NotEmpty(t, refusals(found), "which counts whole")
}

func TestALongDayIsLookedAtWhereNoMomentIsOver(t *testing.T) {
	// NIOSH's 2 ppm over ten hours are passed by 1.9 ppm for twelve, which nobody meets at any moment.
	day := func(person string, hours float64) joint {
		j := joint{site: twoRooms(t), today: "2027-03-01", existing: []domain.Firing{watched("first", "mira@in-a", eight, 6, 1.9)}}
		j.planned = []plannedFiring{{Firing: watched("second", person, eight.Add(6*time.Hour), hours, 1.9), field: "runs[0]"}}
		return j
	}
	long := day("mira@in-b", 6)
	assert.True(t, long.longDays())
	found, days, _ := long.days()
	assert.NotEmpty(t, refusals(found))
	assert.True(t, long.risk(nil).loud)
	assert.True(t, long.dayRisk([]domain.Firing{watched("new", "mira@besides-b", eight, 1, 0)}, days, airRisk{loud: true}))
	short := day("mira@in-b", 2)
	assert.False(t, short.longDays())
	found, days, _ = short.days()
	assert.Empty(t, refusals(found))
	short.existing = append(short.existing, watched("new", "mira@besides-b", eight.Add(8*time.Hour), 4, 0))
	assert.True(t, short.dayRisk(short.existing[1:], days, airRisk{loud: true}), "what came in makes the day a long one")

	// The gas of somebody else makes hers too much.
	beside := day("tom@besides-a", 6)
	beside.existing = []domain.Firing{watched("first", "mira@in-a", eight, 12, 1.6)}
	beside.planned[0].Firing = watched("second", "tom@besides-a", eight, 12, 0.2)
	beside.planned[0].Firing.Phases[0].Watch = heat.InReach
	found, _, _ = beside.days()
	assert.NotEmpty(t, refusals(found))
}

func TestADayThatWasWrongBeforeIsNotHeldAgainstAnotherFiring(t *testing.T) {
	noon := eight.Add(4*time.Hour + 30*time.Minute)
	j := joint{site: twoRooms(t), today: "2027-03-01", existing: []domain.Firing{
		watched("first", "mira@in-a", eight, 4, 3.8), watched("second", "mira@in-b", noon, 4, 3.8),
	}}
	j.planned = []plannedFiring{{Firing: watched("clean", "mira@besides-b", noon.Add(5*time.Hour), 1, 0), field: "runs[0]"}}
	found, days, _ := j.days()
	assert.Empty(t, refusals(found))
	assert.Len(t, days[0].Stays, 3)
}

func TestAFiringIsHeldAgainstTheDayOfOthersInItsRoom(t *testing.T) {
	noon := eight.Add(4*time.Hour + 30*time.Minute)
	j := joint{site: twoRooms(t), today: "2027-03-01", existing: []domain.Firing{
		watched("first", "mira@in-a", eight, 4, 3.8), watched("clean", "mira@in-b", noon, 4, 0),
	}}
	j.planned = []plannedFiring{{Firing: watched("beside", "tom@besides-b", noon, 4, 3.8), field: "runs[0]"}}
	found, days, _ := j.days()
	over := refusals(found)
	require.Len(t, over, 1)
	assert.Equal(t, "mira", over[0].About)
	assert.Len(t, days, 2)
}

func TestNobodyIsInTwoRoomsAtOneTime(t *testing.T) {
	j := joint{site: twoRooms(t), today: "2027-03-01", existing: []domain.Firing{watched("first", "mira@in-a", eight, 4, 1)}}
	j.planned = []plannedFiring{{Firing: watched("second", "mira@in-b", eight.Add(2*time.Hour), 4, 1), field: "runs[0]", named: true}}
	found := j.inTwoPlaces()
	require.Len(t, found, 1)
	assert.Equal(t, "BLOCK PERSON_IN_TWO_ROOMS", string(found[0].Severity)+" "+found[0].Code)
	assert.Contains(t, found[0].Message, "at Mon 1 Mar 10:00")
	_, days, _ := j.days()
	require.Len(t, days, 1)
	assert.Equal(t, []float64{2, 4}, []float64{days[0].Stays[0].Window.End.Sub(eight).Hours(), days[0].Stays[1].Window.End.Sub(days[0].Stays[1].Window.Start).Hours()},
		"the planned one counts, and each hour once")
}

// A maker who names nobody may send others to one of two firings of theirs, but not where they were named for one, or others' loads
// ride in it. Whoever joins a firing moves nobody.
func TestWhoAnswersForAFiringIsHeldToIt(t *testing.T) {
	for name, c := range map[string]struct {
		stands, planned func(*plannedFiring)
		want            int
	}{
		"two of their own":                 {nil, nil, 0},
		"named for the planned one":        {nil, func(p *plannedFiring) { p.named = true }, 1},
		"named for the one that stands":    {func(p *plannedFiring) { p.Maker = "tom" }, nil, 1},
		"the one that stands is shared":    {func(p *plannedFiring) { p.Offer = &domain.Offer{} }, nil, 1},
		"the planned one is joined":        {nil, func(p *plannedFiring) { p.Offer, p.joined = &domain.Offer{}, true }, 0},
		"the planned one gives off no gas": {func(p *plannedFiring) { p.Maker, p.Releases = "tom", nil }, func(p *plannedFiring) { p.Releases = nil }, 1},
	} {
		stands := plannedFiring{Firing: watched("first", "mira@in-a", eight, 4, 1)}
		planned := plannedFiring{Firing: watched("second", "mira@in-b", eight.Add(2*time.Hour), 4, 1), field: "runs[0]"}
		stands.Maker, planned.Maker = "mira", "mira"
		if c.stands != nil {
			c.stands(&stands)
		}
		if c.planned != nil {
			c.planned(&planned)
		}
		j := joint{site: twoRooms(t), today: "2027-03-01", existing: []domain.Firing{stands.Firing}, planned: []plannedFiring{planned}}
		found, _ := j.findings()
		found = slices.DeleteFunc(found, func(f finding.Finding) bool { return f.Code != "PERSON_IN_TWO_ROOMS" })
		assert.Len(t, found, c.want, name)
	}
}

func TestWhatCameInIsLookedAtWhereItCanMatterToADay(t *testing.T) {
	noon := eight.Add(4*time.Hour + 30*time.Minute)
	site := twoRooms(t)
	before := func(ppm float64) (joint, []PersonDay) {
		j := joint{site: site, today: "2027-03-01", existing: []domain.Firing{watched("first", "mira@in-a", eight, 4, ppm)}}
		j.planned = []plannedFiring{{Firing: watched("second", "mira@in-b", noon, 4, 0.1), field: "runs[0]"}}
		_, days, _ := j.days()
		return j, days
	}
	quiet, days := before(0.1)
	assert.False(t, quiet.dayRisk([]domain.Firing{watched("new", "tom@besides-b", noon, 4, 0.1)}, days, airRisk{}), "its own room was judged")
	assert.True(t, quiet.dayRisk(nil, days, airRisk{near: true}), "its own room is near a limit")
	assert.True(t, quiet.dayRisk([]domain.Firing{watched("new", "tom@besides-a", eight, 4, 0.1)}, days, airRisk{}), "gas where she was before")
	assert.True(t, quiet.dayRisk([]domain.Firing{watched("new", "mira@besides-a", noon.Add(5*time.Hour), 1, 0)}, days, airRisk{}), "she is in another room too")
	assert.False(t, quiet.dayRisk([]domain.Firing{watched("new", "tom@besides-a", eight, 4, 0)}, days, airRisk{}), "clean work of somebody else")
	loud, days := before(3.8)
	assert.True(t, loud.dayRisk([]domain.Firing{watched("new", "tom@besides-b", noon, 4, 0.1)}, days, airRisk{}), "little is left of her day")
}

// bySpill is a firing at whose open door somebody stands for so many minutes while sulfur dioxide comes out.
func bySpill(minutes, gramsPerMinute float64) domain.Firing {
	f := watched("spilling", "mira@in-a", eight, minutes/60, 0)
	f.Phases[0].Kind = heat.Draw
	f.Releases = []air.Release{{Species: "SO2", StartMinute: 0, EndMinute: minutes, GramsPerMinute: gramsPerMinute}}
	return f
}

// What spills over who stands at an open door is judged there, with the respirator that they must wear: a day only warns of a
// whole shift of it.
func TestASpillOfADayIsMadeLessOfThanARoomsAir(t *testing.T) {
	worst := func(f domain.Firing) map[string]finding.Severity {
		j := joint{site: twoRooms(t), today: "2027-03-01", planned: []plannedFiring{{Firing: f, field: "runs[0]"}}}
		found, _, _ := j.days()
		severities := map[string]finding.Severity{}
		for _, f := range found {
			if _, known := severities[f.Code]; !known {
				severities[f.Code] = f.Severity
			}
		}
		return severities
	}
	// 0.1 g/min into the near zone's 0.2 m3/s is 3.2 ppm there, and 1.3 ppm in the room.
	short := worst(bySpill(20, 0.1))
	assert.Empty(t, short["AIR_PERSON_SHIFT_LIMIT"], "%v", short)
	long := worst(bySpill(480, 0.1))
	assert.Equal(t, finding.Warn, long["AIR_PERSON_SHIFT_LIMIT"], "%v", long)
	assert.Equal(t, finding.Block, worst(bySpill(480, 0.3))["AIR_PERSON_SHIFT_LIMIT"], "the room's air alone is too much")
	brief := worst(bySpill(20, 0.2)) // 9 ppm beside the furnace, over 5 for a short time; 2.6 in the room, over the EU's 1
	assert.Equal(t, finding.Warn, brief["AIR_PERSON_SHORT_TERM_LIMIT"], "what spills is judged at the furnace already, the room warns")
}

func TestARoomsWordAboutTheSameAirIsEnough(t *testing.T) {
	of := func(code string, ratio float64) finding.Finding {
		return finding.Finding{Severity: finding.Warn, Code: code, Figures: []finding.Figure{{Name: "ratio", Value: ratio}}}
	}
	rooms := []finding.Finding{of("AIR_SHIFT_LIMIT", 2)}
	assert.Empty(t, notSaid([]finding.Finding{of("AIR_PERSON_SHIFT_LIMIT", 1.5)}, rooms))
	assert.Len(t, notSaid([]finding.Finding{of("AIR_PERSON_SHIFT_LIMIT", 2.5), of("AIR_PERSON_SHORT_TERM_LIMIT", 1.5)}, rooms), 2)
}

func signed(room string, from, until time.Time) domain.Equipment {
	return domain.Equipment{Kind: domain.KindClosure, ID: "signed", Closure: &domain.Closure{
		ID: "signed", SubjectKind: domain.KindRoom, SubjectID: room, Start: from, End: until, Unoccupied: true,
	}}
}

func TestARoomThatIsSignedOffIsHeldToItsLimitsOutsideOfThatTime(t *testing.T) {
	firing := watched("hot", "mira@in-a", eight, 4, 30)
	firing.Phases[0].Watch = heat.WatchNone
	check := func(more ...domain.Equipment) []finding.Finding {
		j := joint{site: twoRooms(t, more...), today: "2027-03-01", planned: []plannedFiring{{Firing: firing, field: "runs[0]"}}}
		found, _ := j.air()
		return refusals(found)
	}
	require.NotEmpty(t, check(), "30 ppm are too much for people")
	assert.Empty(t, check(signed("a", eight, eight.Add(5*time.Hour))))
	early := check(signed("a", eight, eight.Add(4*time.Hour+5*time.Minute)))
	require.NotEmpty(t, early)
	codes := fmt.Sprint(early)
	assert.Contains(t, codes, "AIR_REENTRY")
	assert.Contains(t, codes, "until Mon 1 Mar 12:05")
	assert.NotEmpty(t, check(signed("b", eight, eight.Add(5*time.Hour))), "another room's")
}

func TestNobodyBreathesInARoomThatIsSignedOff(t *testing.T) {
	j := joint{site: twoRooms(t, signed("a", eight, eight.Add(2*time.Hour))), today: "2027-03-01"}
	j.planned = []plannedFiring{{Firing: watched("first", "mira@in-a", eight, 4, 1), field: "runs[0]"}}
	_, days, _ := j.days()
	require.Len(t, days, 1)
	require.Len(t, days[0].Stays, 1)
	assert.True(t, days[0].Stays[0].Window.Start.Equal(eight.Add(2*time.Hour)))
}
