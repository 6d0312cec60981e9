package domain

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"saggar/chem/air"
	"saggar/chem/heat"
)

// openKiln is a firing with 10 l and 4 kg for others, of which nothing is taken.
func openKiln() Firing {
	start := time.Date(2031, time.March, 3, 8, 0, 0, 0, time.UTC)
	f := Firing{
		ID: "f1", Furnace: "kiln", State: LoadConfirmed, AttendedBy: "tove", Window: Window{start, start.Add(20 * time.Hour)},
		Offer: &Offer{
			Liters: 10, Grams: 4000, Until: start, OpenedBy: "tove",
			Flame: []air.Release{{Species: "CO", EndMinute: 10, GramsPerMinute: 1}},
			Ware:  []air.Release{{Species: "SO2", EndMinute: 10, GramsPerMinute: 4}},
		},
	}
	return f.Filled(nil)
}

func load(run string, liters, grams float64, contents ...string) Rider {
	return Rider{
		Ride:  Ride{Liters: liters, Grams: grams, Contents: contents, Releases: []air.Release{{Species: "HF", EndMinute: 10, GramsPerMinute: 0.5}}},
		RunID: run, Stage: "fire", Department: "ceramics", Maker: "ada", State: LoadConfirmed, Joined: true,
	}
}

func rates(f Firing) map[string]float64 {
	sum := map[string]float64{}
	for _, r := range f.Releases {
		sum[r.Species] += r.GramsPerMinute
	}
	return sum
}

func TestWhatComesOffASharedFiringIsASumThatLeaversGoOutOf(t *testing.T) {
	empty := openKiln()
	assert.Equal(t, map[string]float64{"CO": 1, "SO2": 4}, rates(empty))
	one := empty.With(load("a", 2, 1000))
	assert.Equal(t, map[string]float64{"CO": 1, "SO2": 3, "HF": 0.5}, rates(one), "of what is free ordinary ware counts")
	full := one.With(load("b", 8, 3000))
	assert.Equal(t, map[string]float64{"CO": 1, "HF": 1}, rates(full))
	assert.Zero(t, full.FreeLiters())
	assert.Equal(t, one.Releases, full.Without("b", LoadCancelled).Releases)
	assert.Equal(t, empty.Releases, one.Without("a", LoadCancelled).Releases)
	assert.Equal(t, map[string]float64{"CO": 1, "HF": 0.5}, rates(empty.With(load("c", 10, 1000))), "where no room is left nothing more comes")
}

func TestAFiringStandsForTheOthersInIt(t *testing.T) {
	open := openKiln().With(load("a", 2, 1000))
	assert.Equal(t, LoadConfirmed, open.Without("a", LoadCancelled).State, "opened for others, it stands without any")
	shared := open
	offer := *open.Offer
	offer.OpenedBy = ""
	shared.Offer = &offer
	host := load("host", 3, 500)
	host.Joined = false
	shared = shared.Filled([]Rider{host, load("a", 2, 1000)})
	assert.InDelta(t, 8, shared.FreeLiters(), 1e-9, "what its own run takes is not of what is offered")
	without := shared.Without("host", LoadCancelled)
	assert.Equal(t, LoadConfirmed, without.State)
	assert.Equal(t, LoadExpired, without.Without("a", LoadExpired).State, "with the last that leaves it ends")
	assert.Equal(t, LoadConfirmed, shared.Following("host", LoadTentative).State, "a shared firing waits for nobody's clearance")
	alone := Firing{State: LoadConfirmed}
	assert.Equal(t, LoadTentative, alone.Following("x", LoadTentative).State)
	assert.Equal(t, LoadMissed, alone.Following("x", LoadMissed).State)
}

func TestAdmission(t *testing.T) {
	before := openKiln().Window.Start.Add(-time.Minute)
	ofCeramics := func(f Firing) Firing {
		offer := *f.Offer
		offer.Departments = []string{"ceramics"}
		f.Offer = &offer
		return f
	}
	shared := func(riders ...Rider) Firing {
		f := openKiln()
		offer := *f.Offer
		offer.OpenedBy = ""
		f.Offer = &offer
		return f.Filled(riders)
	}
	glass, glaze := load("x", 1, 1), load("x", 1, 1)
	glass.Department, glaze.Ware = "glass", true
	for name, c := range map[string]struct {
		firing Firing
		rider  Rider
		at     time.Time
		codes  []string
	}{
		"fits to the last":            {openKiln(), load("x", 10, 4000), before, nil},
		"a drop too much":             {openKiln(), load("x", 10.0001, 4000), before, []string{CodeJoinNoRoom}},
		"a grain too heavy":           {openKiln(), load("x", 10, 4000.1), before, []string{CodeJoinTooHeavy}},
		"at the last moment":          {openKiln(), load("x", 1, 1), before.Add(time.Minute), []string{CodeJoinTooLate}},
		"of the department":           {ofCeramics(openKiln()), load("x", 1, 1), before, nil},
		"of another":                  {ofCeramics(openKiln()), glass, before, []string{CodeJoinDepartment}},
		"dirty, where ware may come":  {openKiln(), load("x", 1, 1, heat.Chloride), before, []string{CodeJoinContaminates}},
		"dirty, beside the same":      {shared(load("a", 1, 1, heat.Sulfur)), load("x", 1, 1, heat.Sulfur), before, nil},
		"dirty, beside the clean":     {shared(load("a", 1, 1)), load("x", 1, 1, heat.VolatileMetal), before, []string{CodeJoinContaminates}},
		"clean, beside the dirty":     {shared(load("a", 1, 1, heat.Sulfur)), load("x", 1, 1), before, []string{CodeJoinContaminates}},
		"glaze beside the dirty":      {shared(load("a", 1, 1, heat.Sulfur)), glaze, before, []string{CodeJoinContaminates}},
		"fuel beside what is no ware": {shared(load("a", 1, 1)), load("x", 1, 1, heat.Carbon), before, nil},
		"fuel beside glaze":           {shared(glaze), load("x", 1, 1, heat.Carbon), before, []string{CodeJoinContaminates}},
		"called off":                  {openKiln().ended(), load("x", 1, 1), before, []string{CodeJoinNotStanding}},
		"nothing is left in it":       {shared(), load("x", 1, 1), before, []string{CodeJoinNotStanding}},
		"not shared":                  {Firing{State: LoadConfirmed}, load("x", 1, 1), before, []string{CodeJoinNotShared}},
	} {
		t.Run(name, func(t *testing.T) {
			var codes []string
			for _, f := range c.firing.Admission(c.rider, c.at, time.UTC) {
				assert.NotEmpty(t, f.Cure)
				codes = append(codes, f.Code)
			}
			assert.Equal(t, c.codes, codes)
		})
	}
}

// ended is the firing called off.
func (f Firing) ended() Firing {
	f.State = LoadCancelled
	return f
}

func TestTheEnergyOfASharedFiringIsSplitByRoom(t *testing.T) {
	f := openKiln().With(load("a", 3, 1))
	other := load("b", 1, 1)
	other.Department = "glass"
	mostly, shares := f.With(other).Shares()
	assert.Equal(t, "ceramics", mostly)
	assert.Equal(t, map[string]float64{"ceramics": 0.75, "glass": 0.25}, shares)
	mostly, shares = openKiln().Shares()
	assert.Empty(t, mostly)
	assert.Nil(t, shares)
}

func TestALoadThatLostItsFiringWaits(t *testing.T) {
	l := Load{State: LoadUnplaced, Window: Window{Start: time.Unix(0, 0), End: time.Unix(60, 0)}}
	assert.False(t, l.Begun(time.Unix(120, 0)), "it has no window that could begin")
	assert.Equal(t, RunUnplaced, Run{Loads: []Load{{State: LoadConfirmed}, l}}.State())
	assert.Equal(t, RunCancelled, Run{Loads: []Load{{State: LoadCancelled}, l}}.State())
	assert.False(t, LoadUnplaced.Occupies())
	for _, next := range []LoadState{LoadConfirmed, LoadTentative, LoadCancelled} {
		assert.True(t, LoadUnplaced.CanBecome(next), next)
	}
}
