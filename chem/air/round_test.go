package air

import (
	"math"
	"regexp"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"saggar/chem/finding"
)

func TestWhatACureNamesIsRoundedToTheSafeSide(t *testing.T) {
	assert.InDelta(t, 0.42, roundUp(0.4101), 1e-12)
	assert.InDelta(t, 0.41, roundUp(0.41), 1e-12)
	assert.InDelta(t, 0.41, roundDown(0.4199), 1e-12)
	assert.InDelta(t, 130, roundUp(123), 1e-9)
	assert.Zero(t, roundUp(0))
	for capture, want := range map[float64]string{
		0.9601: "0.961", 0.96: "0.96", 0.9901: "0.9901", 0.99245: "0.9925", 0.99251: "0.9926", 0.9999871: "0.999988", 1: "1.00",
		0: "0.00", 0.0401: "0.05", 0.5: "0.50", 1 - 1e-12: "1.00",
	} {
		assert.Equal(t, want, captureWorded(captureUp(capture)), "%v", capture)
	}
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(1e-9, 1).Draw(t, "x")
		assert.GreaterOrEqual(t, roundUp(x), x*(1-1e-12))
		assert.LessOrEqual(t, roundUp(x), 1.1*x+1e-12)
		assert.LessOrEqual(t, roundDown(x), x*(1+1e-12))
		assert.GreaterOrEqual(t, captureUp(x), x-2e-9)
		assert.LessOrEqual(t, captureUp(x), min(1, x+0.01))
		almost := 1 - math.Pow(10, rapid.Float64Range(-8, 0).Draw(t, "escapes"))
		assert.Less(t, captureUp(almost), 1.0, "a capture that need not be whole is none")
		assert.LessOrEqual(t, 1-captureUp(almost), (1-almost)*(1+1e-6), "and is enough")
		assert.Greater(t, 1-captureUp(almost), (1-almost)*0.9)
	})
}

func TestCuresAreNoFinerThanTheyAreKnown(t *testing.T) {
	got, err := CheckRoom(sulfurCase())
	require.NoError(t, err)
	require.NotEmpty(t, got.CaptureEnough)
	assert.Greater(t, *got.FlowNeeded, 7.7)
	assert.Less(t, *got.FlowNeeded, 7.8)
	assert.Contains(t, got.Findings[0].Cure, "at least 7.8 m3/s through the room; or 0.062 of the charge; or capture that lets at "+
		"most 0.062 of what now escapes escape (muffle: 0.969 closed, 0.953 with the door open)")
	assert.Equal(t, CaptureCure{"muffle", 0.969, 0.953}, got.CaptureEnough[0])
}

// Sulfuric acid mist has its limits in mg/m3: 29 CFR 1910.1000 Table Z-1, 1 mg/m3.
func TestALimitByMassIsShownByMass(t *testing.T) {
	zone := Zone{ID: "kiln-room", VolumeCubicMeters: 100, MixingFactor: 1, InitialPPM: map[string]float64{"H2SO4": 0.5, "SO2": 3}}
	got, err := CheckRoom(RoomCheck{Zone: zone})
	require.NoError(t, err)
	message := func(species string) string {
		at := slices.IndexFunc(got.Findings, func(f finding.Finding) bool {
			return f.Code == "AIR_SHIFT_LIMIT" && f.Severity == finding.Block && regexp.MustCompile("^"+species+" ").MatchString(f.Message)
		})
		require.GreaterOrEqual(t, at, 0)
		assert.Equal(t, "ppm", got.Findings[at].Figures[0].Unit)
		return got.Findings[at].Message
	}
	assert.Contains(t, message("H2SO4"), "reaches 2.01 mg/m3")
	assert.Contains(t, message("H2SO4"), "TWA is 1 mg/m3")
	assert.NotContains(t, message("SO2"), "mg/m3", "its limits are set in ppm too")
	for _, class := range Protection("H2SO4", 0.5) {
		if class.Enough {
			assert.Contains(t, class.Reason, "2.01 mg/m3")
		}
	}
}

// SO2 is over its own limit and, with the others, over the mixture's too, which asks for more than its own limit does.
func TestACureThatIsForMoreThanItsOwnLimitSaysSo(t *testing.T) {
	zone := Zone{ID: "bay", VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.1)}
	releases := []Release{{"SO2", 0, 20, 0.4}, {"HCl", 0, 20, 0.1}, {"CO", 0, 20, 3}}
	check := func(releases []Release) finding.Finding {
		got, err := CheckRoom(RoomCheck{Zone: zone, Sources: []Source{{Name: "pot", Releases: releases}}})
		require.NoError(t, err)
		at := slices.IndexFunc(got.Findings, func(f finding.Finding) bool {
			return f.Code == "AIR_SHORT_TERM_LIMIT" && f.Severity == finding.Block
		})
		require.GreaterOrEqual(t, at, 0)
		require.NotNil(t, got.ChargeShareEnough)
		if len(releases) > 1 {
			alone := got.Findings[at].Figures[1].Value / got.Findings[at].Figures[0].Value
			assert.Less(t, *got.ChargeShareEnough, alone, "the mixture asks for less of the charge")
		}
		return got.Findings[at]
	}
	assert.Regexp(t, `^for all limits that refuse and the mixture \([\d.]+, 1 is allowed\) together \(this limit alone: 0\.\d+ of the `+
		`charge\): a steady flow`, check(releases).Cure)
	assert.Regexp(t, "^a steady flow", check(releases[:1]).Cure, "nothing else is over")
}

// A refusing limit's cure names the least class for its wearer: factor 10 times NIOSH's 2 ppm of SO2 is 20 ppm.
func TestACureSaysWhatWhoeverMustBeInsideNeeds(t *testing.T) {
	zone := Zone{VolumeCubicMeters: 60, MixingFactor: 1, Flow: ConstantFlow(0.1)}
	for name, c := range map[string]struct {
		species string
		ppm     float64
		want    string
	}{
		"half mask":         {"SO2", 19.9, "at least air_purifying/negative pressure/half_mask with gas-tight goggles, fitted, which covers its wearer only and clears nothing"},
		"full facepiece":    {"SO2", 20.1, "at least papr/powered/helmet_hood, fitted"},
		"dangerous to life": {"SO2", 100.1, "Nobody enters meanwhile"},
		"no cartridge":      {"CO", 900, "at least supplied_air/demand/full_facepiece"},
	} {
		check := RoomCheck{Zone: zone}
		check.Zone.InitialPPM = map[string]float64{c.species: c.ppm}
		got, err := CheckRoom(check)
		require.NoError(t, err, name)
		blocked := 0
		for _, f := range got.Findings {
			if f.Severity == finding.Block {
				assert.Contains(t, f.Cure, c.want, name)
				blocked++
			} else {
				assert.NotContains(t, f.Cure, "meanwhile", name)
			}
		}
		assert.Positive(t, blocked, name)
	}
}
