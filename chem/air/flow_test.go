package air

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
	"saggar/chem/heat"
)

func TestRoomFlowIsTheLesserOfBothSides(t *testing.T) {
	circuits := []Circuit{
		{ID: "roof", Branches: []Branch{
			{ID: "a", Room: "kilns", CubicMetersPerSecond: 0.3},
			{ID: "b", Room: "kilns", CubicMetersPerSecond: 0.2},
			{ID: "c", Room: "glazes", CubicMetersPerSecond: 5},
		}},
		{ID: "filter", Recirculating: true, Branches: []Branch{{ID: "d", Room: "kilns", CubicMetersPerSecond: 7}}},
	}
	assert.InDelta(t, 0.5, RoomFlow(Room{ID: "kilns", MakeUpCubicMetersPerSecond: 0.8}, circuits), 1e-12,
		"neither another room's branch nor a recirculating one counts")
	assert.Equal(t, 0.4, RoomFlow(Room{ID: "kilns", MakeUpCubicMetersPerSecond: 0.4}, circuits))
	assert.Zero(t, RoomFlow(Room{ID: "store", MakeUpCubicMetersPerSecond: 0.4}, circuits))
	assert.Zero(t, RoomFlow(Room{ID: "kilns", MakeUpCubicMetersPerSecond: 0.4}, nil), "the fans stand still")
}

func TestSpillage(t *testing.T) {
	circuits := []Circuit{{Branches: []Branch{{Room: "kilns", CubicMetersPerSecond: 0.5}}}}
	for makeUp, blocks := range map[float64]bool{0.6: false, 0.5: false, 0.499: true} {
		room := Room{ID: "kilns", MakeUpCubicMetersPerSecond: makeUp}
		found := Spillage(room, circuits, true)
		require.Len(t, found, map[bool]int{true: 1}[blocks], "make-up %v", makeUp)
		if blocks {
			assert.Equal(t, "AIR_FLUE_SPILLAGE", found[0].Code)
			assert.Equal(t, finding.Block, found[0].Severity)
			assert.Contains(t, found[0].Cure, "0.5 m3/s")
		}
		assert.Empty(t, Spillage(room, circuits, false), "no flue to spill from")
	}
	room := Room{ID: "kilns", MakeUpCubicMetersPerSecond: 0.5, Transfers: []Transfer{{"glazes", 0.01}}}
	assert.Len(t, Spillage(room, circuits, true), 1, "air given to another room leaves too")
}

func TestEffectiveCapture(t *testing.T) {
	cases := []struct {
		name             string
		capture          heat.Capture
		closed, doorOpen float64
	}{
		{"never measured", heat.Capture{ClosedFraction: 0.9, DoorOpenFraction: 0.8}, 0, 0},
		{"no date", heat.Capture{ClosedFraction: 0.9, Method: "tracer"}, 0, 0},
		{"tracer, closed only", heat.Capture{ClosedFraction: 0.9, Method: "tracer", MeasuredOn: "2026-01-01"}, 0.9, 0.45},
		{"tracer, both", heat.Capture{ClosedFraction: 0.9, DoorOpenFraction: 0.7, Method: "tracer", MeasuredOn: "2026-01-01"}, 0.9, 0.7},
		{"smoke", heat.Capture{ClosedFraction: 0.9, DoorOpenFraction: 0.7, Method: "smoke", MeasuredOn: "2026-01-01"}, 0.5, 0.5},
		{"smoke, closed only", heat.Capture{ClosedFraction: 0.9, Method: "smoke", MeasuredOn: "2026-01-01"}, 0.5, 0.45},
		{"beyond all", heat.Capture{ClosedFraction: 1.4, Method: "tracer", MeasuredOn: "2026-01-01"}, 1, 0.5},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			closed, doorOpen := EffectiveCapture(c.capture)
			assert.InDelta(t, c.closed, closed, 1e-12)
			assert.InDelta(t, c.doorOpen, doorOpen, 1e-12)
		})
	}
}

func TestOldMeasurements(t *testing.T) {
	for measured, old := range map[string]bool{
		"2026-03-31": false, "2025-04-01": false, "2025-03-31": false, "2025-03-30": true, "": true, "last spring": true,
	} {
		found, err := OldMeasurements([]Measurement{{"branch-1", "flow", measured}}, "2026-03-31")
		require.NoError(t, err)
		require.Len(t, found, map[bool]int{true: 1}[old], "measured %q", measured)
		if old {
			assert.Equal(t, "AIR_MEASUREMENT_OLD", found[0].Code)
			assert.Equal(t, finding.Warn, found[0].Severity)
			assert.Equal(t, "branch-1", found[0].About)
		}
	}
	_, err := OldMeasurements(nil, "31.3.2026")
	assert.ErrorContains(t, err, "on_date")
}

func TestDetectors(t *testing.T) {
	check := func(detectors []Detector, species string) []finding.Finding {
		got, err := CheckRoom(RoomCheck{
			Zone:    Zone{ID: "kilns", VolumeCubicMeters: 200, Flow: ConstantFlow(1)},
			Sources: []Source{{CaptureFraction: 1, Releases: []Release{{species, 0, 10, 0.1}}}},
			Room:    &Room{ID: "kilns", Detectors: detectors}, OnDate: "2026-03-31",
		})
		require.NoError(t, err)
		return got.Findings
	}
	cases := map[string]struct {
		detectors []Detector
		code      string
	}{
		"none":                {nil, "AIR_DETECTOR_MISSING"},
		"for another gas":     {[]Detector{{"SO2", "2026-03-30"}}, "AIR_DETECTOR_MISSING"},
		"tested":              {[]Detector{{"CO", "2026-03-30"}}, ""},
		"tested 30 days ago":  {[]Detector{{"CO", "2026-03-01"}}, ""},
		"tested 31 days ago":  {[]Detector{{"CO", "2026-02-28"}}, "AIR_DETECTOR_UNTESTED"},
		"never tested":        {[]Detector{{"CO", ""}}, "AIR_DETECTOR_UNTESTED"},
		"tested in future":    {[]Detector{{"CO", "2026-04-01"}}, "AIR_DETECTOR_UNTESTED"},
		"one of two in tests": {[]Detector{{"CO", "2020-01-01"}, {"CO", "2026-03-30"}}, ""},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			found := check(c.detectors, "CO")
			if c.code == "" {
				assert.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			assert.Equal(t, c.code, found[0].Code)
			assert.Equal(t, finding.Block, found[0].Severity)
			assert.NotEmpty(t, found[0].Cure)
		})
	}
	assert.Empty(t, check(nil, "CO2"), "carbon dioxide asks for none")
	_, err := CheckRoom(RoomCheck{Zone: Zone{VolumeCubicMeters: 1}, Room: &Room{}, OnDate: "today"})
	assert.ErrorContains(t, err, "on_date")
}

func TestUnitsRefuseNonsense(t *testing.T) {
	_, err := PPMFromMilligrams(1, 0)
	assert.ErrorContains(t, err, "molar mass")
	_, err = PPMFromMilligrams(-1, 64)
	assert.ErrorContains(t, err, "concentration")
	_, err = GramsPerMole("Zz9")
	assert.ErrorContains(t, err, "Zz9")
}
