package domain

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/heat"
)

func TestChecksFallDueOnTheirDay(t *testing.T) {
	site := &Site{
		Studio: Studio{}.WithDefaults(),
		Rooms:  map[string]air.Room{"bay": {ID: "bay", Detectors: []air.Detector{{Species: "SO2", TestedOn: "2027-02-01"}, {Species: "CO"}}}},
		Circuits: map[string]air.Circuit{
			"fan":    {ID: "fan", Branches: []air.Branch{{ID: "hood", Room: "bay", MeasuredOn: "2026-10-05"}}},
			"inside": {ID: "inside", Recirculating: true, Branches: []air.Branch{{ID: "x", Room: "bay"}}},
		},
		Furnaces: map[string]heat.Furnace{
			"pot": {
				ID: "pot", Room: "bay", Branch: "fan/hood", Capture: heat.Capture{MeasuredOn: "2026-10-06"},
				FanInterlock: heat.FanInterlock{Kind: heat.FlowSwitch, TestedOn: "2026-03-03"},
			},
			"bare": {ID: "bare", Room: "bay"},
		},
	}
	type row struct {
		kind               DueKind
		subject, part, due string
		overdue            bool
	}
	var got []row
	for _, c := range site.DueChecks("2027-03-03") {
		got = append(got, row{c.Kind, c.Subject, c.Part, c.DueOn, c.Overdue})
	}
	assert.Equal(t, []row{
		{DueDetector, "rooms/bay", "CO", "", true},
		{DueDetector, "rooms/bay", "SO2", "2027-03-03", false},
		{DueInterlock, "furnaces/pot", "", "2027-03-03", false},
		{DueFlow, "extractionCircuits/fan", "hood", "2027-10-05", false},
		{DueCapture, "furnaces/pot", "", "2027-10-06", false},
	}, got)
	for _, c := range site.DueChecks("2027-03-04") {
		assert.Equal(t, c.DueOn <= "2027-03-03", c.Overdue, "%s: the day after its last", c.Subject)
	}
	site.Studio.InterlockTestMonths = 6
	due := site.DueChecks("2027-03-03")
	require.Equal(t, DueInterlock, due[1].Kind)
	assert.Equal(t, "2026-09-03", due[1].DueOn)
}

func TestFiringsNeedWhatCountsNoMoreThen(t *testing.T) {
	firing := Firing{
		Furnace: "pot", Window: Window{Start: noon, End: noon.Add(time.Hour)}, Releases: []air.Release{{Species: "SO2", EndMinute: 1, GramsPerMinute: 1}},
	}
	for name, c := range map[string]struct {
		check DueCheck
		needs bool
	}{
		"its last day":        {DueCheck{Kind: DueDetector, Part: "SO2", Room: "bay", DueOn: "2027-03-01"}, false},
		"the day after":       {DueCheck{Kind: DueDetector, Part: "SO2", Room: "bay", DueOn: "2027-02-28"}, true},
		"another gas":         {DueCheck{Kind: DueDetector, Part: "CO", Room: "bay", DueOn: "2027-02-28"}, false},
		"another room":        {DueCheck{Kind: DueFlow, Room: "hall"}, false},
		"a flow, never taken": {DueCheck{Kind: DueFlow, Room: "bay"}, true},
		"another furnace":     {DueCheck{Kind: DueInterlock, Subject: "furnaces/muffle", Room: "bay"}, false},
		"this furnace":        {DueCheck{Kind: DueCapture, Subject: "furnaces/pot", Room: "bay"}, true},
	} {
		assert.Equal(t, c.needs, c.check.Needs(firing, "bay", time.UTC), name)
	}
	firing.Releases = nil
	assert.False(t, DueCheck{Kind: DueFlow, Room: "bay"}.Needs(firing, "bay", time.UTC), "nothing comes off")
}
