package air

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
)

func TestReadingsAreHeldAgainstLimitsAndForecast(t *testing.T) {
	// NIOSH's short-term limit of SO2 is 5 ppm and its shift mean 2 ppm, those of CO a ceiling of 200 ppm and a shift mean of 35
	// ppm (NIOSH Pocket Guide).
	for name, c := range map[string]struct {
		reading Reading
		found   map[string]finding.Severity
	}{
		"as forecast":               {Reading{Species: "SO2", PPM: 1, ForecastPPM: 1}, nil},
		"at the short-term limit":   {Reading{Species: "SO2", PPM: 5, ForecastPPM: 9}, map[string]finding.Severity{CodeReadingAboveLimit: finding.Warn}},
		"above it":                  {Reading{Species: "SO2", PPM: 5.01, ForecastPPM: 9}, map[string]finding.Severity{CodeReadingAboveLimit: finding.Block}},
		"at the shift's":            {Reading{Species: "SO2", PPM: 2, ForecastPPM: 9}, nil},
		"above the shift's":         {Reading{Species: "SO2", PPM: 2.01, ForecastPPM: 9}, map[string]finding.Severity{CodeReadingAboveLimit: finding.Warn}},
		"at a ceiling":              {Reading{Species: "CO", PPM: 200, ForecastPPM: 900}, map[string]finding.Severity{CodeReadingAboveLimit: finding.Warn}},
		"above a ceiling":           {Reading{Species: "CO", PPM: 201, ForecastPPM: 900}, map[string]finding.Severity{CodeReadingAboveLimit: finding.Block}},
		"off by as much as it may":  {Reading{Species: "SO2", PPM: 1, UncertaintyFraction: 0.5, ForecastPPM: 0.5}, nil},
		"off by more":               {Reading{Species: "SO2", PPM: 1, UncertaintyFraction: 0.5, ForecastPPM: 0.49}, map[string]finding.Severity{CodeReadingAboveForecast: finding.Warn}},
		"the larger counts":         {Reading{Species: "SO2", PPM: 1, UncertaintyFraction: 0.1, UncertaintyPPM: 1}, nil},
		"a quarter where unstated":  {Reading{Species: "SO2", PPM: 1, ForecastPPM: 0.75}, nil},
		"more than a quarter":       {Reading{Species: "SO2", PPM: 1, ForecastPPM: 0.74}, map[string]finding.Severity{CodeReadingAboveForecast: finding.Warn}},
		"nothing was forecast":      {Reading{Species: "SO2", PPM: 0.1}, map[string]finding.Severity{CodeReadingAboveForecast: finding.Warn}},
		"nothing was read":          {Reading{Species: "SO2"}, nil},
		"a limit of the studio":     {Reading{Species: "SO2", PPM: 1.1, ForecastPPM: 9, Own: []OwnLimit{{Species: "SO2", Name: "House", Kind: "C", PPM: 1, Source: "house rule"}}}, map[string]finding.Severity{CodeReadingAboveLimit: finding.Block}},
		"no limit known, no excuse": {Reading{Species: "He", PPM: 3}, map[string]finding.Severity{CodeReadingAboveForecast: finding.Warn}},
	} {
		t.Run(name, func(t *testing.T) {
			c.reading.Place = "bay"
			found, err := c.reading.Findings()
			require.NoError(t, err)
			got := map[string]finding.Severity{}
			for _, f := range found {
				got[f.Code] = f.Severity
				assert.NotEmpty(t, f.Cure)
				assert.NotEmpty(t, f.Source)
			}
			if c.found == nil {
				c.found = map[string]finding.Severity{}
			}
			assert.Equal(t, c.found, got)
		})
	}
}

func TestAForecastIsTheCurveAtItsMoment(t *testing.T) {
	zone := Zone{ID: "bay", VolumeCubicMeters: 180, MixingFactor: 3, Flow: ConstantFlow(0.9)}
	source := Source{
		Name: "pot", Releases: []Release{{Species: "SO2", StartMinute: -60, EndMinute: 30, GramsPerMinute: 0.5}}, CaptureFraction: 0.9, DoorOpenFraction: 0.5,
		DoorOpen: []Interval{{StartMinute: -5, EndMinute: 5}},
	}
	got, err := Forecast(zone, []Source{source}, -1, "SO2")
	require.NoError(t, err)
	// By hand: x' = g - r x with r = 0.9 * 60 / (3 * 180) = 0.1 a minute; g = 0.5 g/min * share / 64.06 g/mol * 24.45 l/mol / 180 m3
	// * 1000 ppm, a tenth of it escaping for 55 minutes and half for 5 (molar volume at 25 C and 1 atm).
	full := 0.5 / 64.066 * 24.45 / 180 * 1000
	after55 := 0.1 * full / 0.1 * (1 - math.Exp(-5.5))
	want := 0.5*full/0.1 + (after55-0.5*full/0.1)*math.Exp(-0.5)
	assert.InEpsilon(t, want, got, 2e-3)
	near, err := Forecast(zone, []Source{source}, 0, "SO2")
	require.NoError(t, err)
	// Beside it stands what spills over the exchange of the near zone, 0.2 m3/s.
	assert.InEpsilon(t, want+0.5*0.5/64.066*24.45/(0.2*60)*1000, near, 2e-3)
	none, err := Forecast(zone, nil, -1, "SO2")
	require.NoError(t, err)
	assert.Zero(t, none)
	outdoors, err := Forecast(zone, nil, -1, "CO2")
	require.NoError(t, err)
	assert.Greater(t, outdoors, 300.0, "outdoor air holds CO2")
}
