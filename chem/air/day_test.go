package air

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/data"
	"saggar/chem/finding"
)

// still is a room that holds a gas at a steady concentration.
func still(id, species string, ppm float64) Space {
	return Space{Zone: Zone{ID: id, VolumeCubicMeters: 100, MixingFactor: 1, InitialPPM: map[string]float64{species: ppm}}}
}

func daySpecies(t require.TestingT, day DayAssessment, species string) DaySpecies {
	at := slices.IndexFunc(day.Species, func(s DaySpecies) bool { return s.Species == species })
	require.GreaterOrEqual(t, at, 0, species)
	return day.Species[at]
}

// The worked examples of 29 CFR 1910.1000(d)(1)(ii) and of EH40, walked through rooms of that concentration.
func TestPublishedPersonsDay(t *testing.T) {
	rows := map[string]published{}
	for _, row := range readPublished(t, "exposure-examples.csv") {
		rows[row.cells["id"]] = row
	}
	t.Run("twa-1", func(t *testing.T) {
		day, err := CheckDay(DayCheck{
			Spaces:    []Space{still("a", "CO", 150), still("b", "CO", 75), still("c", "CO", 50)},
			Presences: []Presence{{"a", 0, 120, ""}, {"b", 120, 240, ""}, {"c", 240, 480, ""}},
		})
		require.NoError(t, err)
		assert.InDelta(t, rows["twa-1"].number("expected"), daySpecies(t, day, "CO").Max8HourPPM, rows["twa-1"].number("tolerance"))
	})
	t.Run("twa-2", func(t *testing.T) {
		gramsPerMole, err := GramsPerMole("SiO2")
		require.NoError(t, err)
		ppm, err := PPMFromMilligrams(0.12, gramsPerMole)
		require.NoError(t, err)
		day, err := CheckDay(DayCheck{Spaces: []Space{still("a", "SiO2", ppm)}, Presences: []Presence{{"a", 0, 440, ""}}})
		require.NoError(t, err)
		there := milligrams(t, daySpecies(t, day, "SiO2").Max8HourPPM, gramsPerMole)
		assert.InDelta(t, rows["twa-2"].number("expected"), there, rows["twa-2"].number("tolerance"))
	})
}

// E = (Ca Ta + Cb Tb + ... + Cn Tn)/8 sums the whole shift, also one of more than 8 hours: the worked example of 29 CFR
// 1910.1000(d)(1)(ii), 150 ppm for 2 h, 75 for 2 and 50 for 4, with each hour more bringing its eighth.
func TestADayLongerThanEightHoursCountsWhole(t *testing.T) {
	spaces := []Space{still("a", "CO", 150), still("b", "CO", 75), still("c", "CO", 50)}
	over := func(last ...Presence) DaySpecies {
		day, err := CheckDay(DayCheck{Spaces: spaces, Presences: append([]Presence{{"a", 0, 120, ""}, {"b", 120, 240, ""}}, last...)})
		require.NoError(t, err)
		return daySpecies(t, day, "CO")
	}
	mean := func(s DaySpecies, minutes float64) float64 {
		at := slices.IndexFunc(s.Limits, func(l LimitCheck) bool { return l.AveragingMinutes == minutes })
		require.GreaterOrEqual(t, at, 0)
		return s.Limits[at].MeanPPM
	}
	for name, c := range map[string]struct {
		last             []Presence
		eight, ten, peak float64
	}{
		"the example":                        {[]Presence{{"c", 240, 480, ""}}, 81.25, 65, 150},
		"two hours more":                     {[]Presence{{"c", 240, 600, ""}}, 81.25 + 2*50./8, 75, 150},
		"four hours more":                    {[]Presence{{"c", 240, 720, ""}}, 81.25 + 4*50./8, 85, 150},
		"four more after 7 h 59 min away":    {[]Presence{{"c", 240, 480, ""}, {"c", 959, 1199, ""}}, 81.25 + 4*50./8, 85, 150},
		"four more after 8 h away":           {[]Presence{{"c", 240, 480, ""}, {"c", 960, 1200, ""}}, 81.25, 85, 150},
		"four more after 10 h away":          {[]Presence{{"c", 240, 480, ""}, {"c", 1080, 1320, ""}}, 81.25, 65, 150},
		"a day and a night, 24 h of it":      {[]Presence{{"c", 240, 1440, ""}}, 450./8 + 20*50./8, 145, 150},
		"more than 24 h: the worst 24 count": {[]Presence{{"c", 240, 3000, ""}}, 450./8 + 20*50./8, 145, 150},
	} {
		species := over(c.last...)
		assert.InDelta(t, c.eight, species.Max8HourPPM, 1e-6, name)
		assert.InDelta(t, c.ten, mean(species, 600), 1e-6, name)
		assert.InDelta(t, c.peak, species.PeakPPM, 1e-6, name)
	}
}

// At four fifths of NIOSH's limit over up to 10 hours, 12.5 hours are the most: no moment is over it, and a longer day is.
func TestTheLimitOfALongDay(t *testing.T) {
	limit := limitOf(t, "CO", "NIOSH", data.TimeWeighted)
	check := func(minutes float64) DayAssessment {
		day, err := CheckDay(DayCheck{Person: "the night watch", Spaces: []Space{still("a", "CO", 0.8*limit.PPM)},
			Presences: []Presence{{"a", 0, minutes, ""}}})
		require.NoError(t, err)
		return day
	}
	assert.False(t, finding.Blocks(check(limit.AveragingMinutes/0.8).Findings))
	over := check(limit.AveragingMinutes/0.8 + 1).Findings
	require.True(t, finding.Blocks(over))
	assert.Contains(t, over[0].Message, "all of the day's 751 min count over 600 min")
	assert.Contains(t, over[0].Figures, finding.Figure{Name: "minutes_less", Value: 1, Unit: "min"})
}

// breathedPlainly is what is breathed of a species, minute fraction by minute fraction, from plain integrations of the rooms.
func breathedPlainly(check DayCheck, species string, gramsPerMole float64) plainly {
	rooms := map[string]plainly{}
	for _, space := range check.Spaces {
		rooms[space.Zone.ID] = plainlySolved(space.Zone, space.Sources, species, gramsPerMole, 1300)
	}
	result := plainly{sum: []float64{0}}
	for i := range 1300 * plainSteps {
		middle := (float64(i) + 0.5) / plainSteps
		added, highest := 0.0, 0.0
		for _, p := range check.Presences {
			if middle < p.StartMinute || middle >= p.EndMinute {
				continue
			}
			room := rooms[p.Room]
			spill := 0.0
			for _, space := range check.Spaces {
				at := sourceNamed(space.Sources, p.At)
				if space.Zone.ID != p.Room || p.At == "" || !isClosed(space.Sources[at].DoorOpen, middle) {
					continue
				}
				spill = plainSpill(space.Sources[at:at+1], species, middle) / 60 / DefaultNearExchange * 1000 * 24.45 / gramsPerMole
			}
			added = room.sum[i+1] - room.sum[i] + spill/plainSteps
			highest = max(room.ppm[i], room.ppm[i+1]) + spill
		}
		result.sum = append(result.sum, result.sum[len(result.sum)-1]+added)
		result.ppm = append(result.ppm, highest)
	}
	return result
}

func drawDay(t *rapid.T) DayCheck {
	check := DayCheck{Person: "whoever watches"}
	for _, id := range []string{"kilns", "studio"} {
		zone := drawZone(t)
		zone.ID = id
		sources := drawSources(t, id)
		for i := range sources {
			sources[i].Name = []string{"one", "two", "three", "four"}[i]
		}
		check.Spaces = append(check.Spaces, Space{Zone: zone, Sources: sources})
	}
	minute := 0
	for range rapid.IntRange(1, 5).Draw(t, "presences") {
		minute += rapid.IntRange(0, 60).Draw(t, "away")
		p := Presence{Room: rapid.SampledFrom([]string{"kilns", "studio"}).Draw(t, "room"), StartMinute: float64(minute)}
		minute += rapid.IntRange(1, 200).Draw(t, "stays")
		p.EndMinute = float64(minute)
		p.At = rapid.SampledFrom([]string{"", "one"}).Draw(t, "at")
		check.Presences = append(check.Presences, p)
	}
	return check
}

func TestAPersonsDayAgainstPlainIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		check := drawDay(t)
		day, err := CheckDay(check)
		require.NoError(t, err)
		_, err = json.Marshal(day)
		require.NoError(t, err, "never a NaN")
		for _, species := range day.Species {
			gramsPerMole, known := map[string]float64{"SO2": 64.058, "CO": 28.010}[species.Species]
			if !known {
				continue
			}
			plain := breathedPlainly(check, species.Species, gramsPerMole)
			want, got := plain.maxMean(15), species.Max15MinutePPM
			assert.GreaterOrEqual(t, got, want*(1-1e-6)-1e-9)
			// The plain windows begin on sixteenths of a minute: between two of them the mean moves by no more than this.
			assert.LessOrEqual(t, got, want+slices.Max(plain.ppm)/plainSteps/15+1e-6*want+1e-9)
			overShift := plain.sum[len(plain.sum)-1] / 480 // stays no more than an hour apart, at most 1300 min: one day
			assert.InDelta(t, overShift, species.Max8HourPPM, 1e-6*(overShift+slices.Max(plain.ppm))+1e-9)
			assert.InEpsilon(t, max(slices.Max(plain.ppm), 1e-9), max(species.PeakPPM, 1e-9), 1e-6)
			total := 0.0
			for _, ppmMinutes := range species.PPMMinutes {
				total += ppmMinutes
			}
			want = plain.sum[len(plain.sum)-1]
			assert.InDelta(t, want, total, 1e-6*(want+slices.Max(plain.ppm))+1e-9, "all that is breathed")
		}
	})
}

// Time that is spent elsewhere counts as clean air over the whole averaging time, as the standard divides by eight hours.
func TestTwoRoomsThatEachPassCanFailTogether(t *testing.T) {
	half := limitOf(t, "SO2", "NIOSH", data.TimeWeighted).PPM * 1.2
	spaces := []Space{still("a", "SO2", half), still("b", "SO2", half)}
	blocked := func(presences ...Presence) bool {
		day, err := CheckDay(DayCheck{Person: "the night watch", Spaces: spaces, Presences: presences})
		require.NoError(t, err)
		return finding.Blocks(day.Findings)
	}
	assert.False(t, blocked(Presence{"a", 0, 300, ""}), "5 h of 10")
	assert.False(t, blocked(Presence{"a", 0, 300, ""}, Presence{"b", 300, 500, ""}), "500 min at 1.2 of the limit is the limit")
	assert.True(t, blocked(Presence{"a", 0, 300, ""}, Presence{"b", 300, 501, ""}))
}

func TestADaysFindingsAndCures(t *testing.T) {
	check := DayCheck{
		Person: "the kiln master",
		Spaces: []Space{{Zone: Zone{ID: "kilns", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.5)},
			Sources: []Source{{Name: "muffle", Releases: []Release{{"SO2", 0, 600, 0.5}}}}}, still("studio", "SO2", 0.5)},
		Presences: []Presence{{"studio", 0, 60, ""}, {"kilns", 60, 480, "muffle"}},
	}
	day, err := CheckDay(check)
	require.NoError(t, err)
	at := slices.IndexFunc(day.Findings, func(f finding.Finding) bool { return f.Code == "AIR_PERSON_SHIFT_LIMIT" })
	require.GreaterOrEqual(t, at, 0, "%v", day.Findings)
	found := day.Findings[at]
	assert.Equal(t, finding.Block, found.Severity)
	assert.Equal(t, "the kiln master", found.About)
	figures := map[string]float64{}
	for _, f := range found.Figures {
		figures[f.Name] = f.Value
	}
	assert.Contains(t, found.Cure, "earlier than minute 480")
	assert.Contains(t, found.Cure, "quarter_mask with gas-tight goggles")
	assert.NotEmpty(t, daySpecies(t, day, "SO2").Protection)
	assert.Equal(t, Caution, day.Caution)
	blocks := func(change func(*DayCheck)) bool {
		spoiled := check
		spoiled.Presences = slices.Clone(check.Presences)
		spoiled.Spaces = slices.Clone(check.Spaces)
		change(&spoiled)
		got, err := CheckDay(spoiled)
		require.NoError(t, err)
		return finding.Blocks(got.Findings)
	}
	assert.False(t, blocks(func(c *DayCheck) { c.Presences[1].EndMinute -= figures["minutes_less"] }))
	assert.True(t, blocks(func(c *DayCheck) { c.Presences[1].EndMinute -= figures["minutes_less"] - 1 }))
	share := func(s float64) func(*DayCheck) {
		return func(c *DayCheck) {
			c.Spaces[0].Sources = []Source{{Name: "muffle", Releases: []Release{{"SO2", 0, 600, 0.5 * s}}}}
			c.Spaces[1] = still("studio", "SO2", 0.5*s)
		}
	}
	assert.False(t, blocks(share(figures["charge_share_enough"]*0.999)))
	assert.True(t, blocks(share(figures["charge_share_enough"]*1.01)))
}

func TestADayNamesItsFaults(t *testing.T) {
	good := func() DayCheck {
		return DayCheck{Spaces: []Space{still("a", "CO", 1)}, Presences: []Presence{{"a", 0, 60, ""}}}
	}
	for want, spoil := range map[string]func(*DayCheck){
		"presences":                             func(c *DayCheck) { c.Presences = nil },
		"presences[0].room":                     func(c *DayCheck) { c.Presences[0].Room = "b" },
		"presences[0].at":                       func(c *DayCheck) { c.Presences[0].At = "muffle" },
		"presences[0].end_minute":               func(c *DayCheck) { c.Presences[0].EndMinute = -1 },
		"presences[1].start_minute":             func(c *DayCheck) { c.Presences = append(c.Presences, Presence{"a", 59, 70, ""}) },
		"spaces[0].volume_cubic_meters":         func(c *DayCheck) { c.Spaces[0].Zone.VolumeCubicMeters = 0 },
		"exchange_cubic_meters_per_second":      func(c *DayCheck) { c.ExchangeCubicMetersPerSecond = -1 },
		"own_limits[0].source":                  func(c *DayCheck) { c.Own = []OwnLimit{{"CO", "ours", data.Ceiling, 0, 20, ""}} },
		"spaces[0].sources[0].capture_fraction": func(c *DayCheck) { c.Spaces[0].Sources = []Source{{CaptureFraction: 2}} },
	} {
		check := good()
		spoil(&check)
		_, err := CheckDay(check)
		require.Error(t, err, want)
		assert.True(t, slices.ContainsFunc(finding.FaultsOf(err), func(f finding.Fault) bool { return f.Field == want }), "%s: %v", want, err)
	}
	signed := good()
	signed.Spaces[0].Zone.Unoccupied = []Interval{{50, 100}}
	_, err := CheckDay(signed)
	assert.ErrorContains(t, err, "closed and signed")
	_, err = CheckDay(good())
	assert.NoError(t, err)
	assert.True(t, strings.HasPrefix((&day{check: &DayCheck{}}).person(), "the person"))
}
