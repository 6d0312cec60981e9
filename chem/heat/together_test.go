package heat

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestTogether(t *testing.T) {
	treatment := func(change func(*Treatment)) Treatment {
		of := Treatment{
			Program:    Program{Segments: []Segment{{ToCelsius: 600, RateCelsiusPerHour: 100}, {ToCelsius: 1000, RateCelsiusPerHour: 150, HoldMinutes: 20}}},
			Atmosphere: Oxidising, OpenBelowCelsius: 90, MaxWaitMinutes: 600, FireWatch: InReach,
		}
		change(&of)
		return of
	}
	last := func(of *Treatment) *Segment { return &of.Program.Segments[1] }
	same := func(*Treatment) {}
	for name, c := range map[string]struct {
		fired, asked func(*Treatment)
		codes        []string
	}{
		"the same":                       {same, same, nil},
		"within the tolerance":           {func(of *Treatment) { last(of).ToCelsius = 1005 }, same, nil},
		"just beyond it":                 {func(of *Treatment) { last(of).ToCelsius = 1005.1 }, same, []string{CodeJoinProgram}},
		"colder than that":               {func(of *Treatment) { last(of).ToCelsius = 994 }, same, []string{CodeJoinProgram}},
		"slower":                         {func(of *Treatment) { last(of).RateCelsiusPerHour = 140 }, same, nil},
		"faster":                         {func(of *Treatment) { last(of).RateCelsiusPerHour = 150.1 }, same, []string{CodeJoinProgram}},
		"at full power":                  {func(of *Treatment) { last(of).RateCelsiusPerHour = 0 }, same, []string{CodeJoinProgram}},
		"asked at full power":            {same, func(of *Treatment) { last(of).RateCelsiusPerHour = 0 }, nil},
		"held longer":                    {func(of *Treatment) { last(of).HoldMinutes = 21 }, same, nil},
		"held shorter":                   {func(of *Treatment) { last(of).HoldMinutes = 19.9 }, same, []string{CodeJoinProgram}},
		"fewer segments":                 {func(of *Treatment) { of.Program.Segments = of.Program.Segments[1:] }, same, []string{CodeJoinProgram}},
		"cooled open":                    {func(of *Treatment) { of.Program.Cooling = CoolOpen }, same, []string{CodeJoinProgram}},
		"closed said and not said":       {func(of *Treatment) { of.Program.Cooling = CoolClosed }, same, nil},
		"opened colder":                  {func(of *Treatment) { of.OpenBelowCelsius = 80 }, same, nil},
		"opened hotter":                  {func(of *Treatment) { of.OpenBelowCelsius = 0 }, same, []string{CodeJoinProgram}},
		"waits longer":                   {func(of *Treatment) { of.MaxWaitMinutes = 601 }, same, []string{CodeJoinProgram}},
		"another atmosphere":             {same, func(of *Treatment) { of.Atmosphere = Reducing }, []string{CodeJoinAtmosphere}},
		"oxidising said and not said":    {same, func(of *Treatment) { of.Atmosphere = "" }, nil},
		"watched less":                   {func(of *Treatment) { of.FireWatch = WatchNone }, same, []string{CodeJoinWatch}},
		"watched more":                   {func(of *Treatment) { of.FireWatch = InRoom }, same, nil},
		"charged hot":                    {same, func(of *Treatment) { of.ChargeAtCelsius = 51 }, []string{CodeJoinHot}},
		"charged lukewarm":               {same, func(of *Treatment) { of.ChargeAtCelsius = 50 }, nil},
		"into one that is fed":           {func(of *Treatment) { of.FeedMinutes = 10 }, same, []string{CodeJoinHot}},
		"two things at once say so both": {func(of *Treatment) { last(of).HoldMinutes, last(of).ToCelsius = 1, 900 }, same, []string{CodeJoinProgram, CodeJoinProgram}},
	} {
		t.Run(name, func(t *testing.T) {
			var codes []string
			for _, f := range Together(treatment(c.fired), treatment(c.asked), 5) {
				assert.NotEmpty(t, f.Cure)
				assert.NotEmpty(t, f.Field)
				codes = append(codes, f.Code)
			}
			assert.Equal(t, c.codes, codes)
		})
	}
}
