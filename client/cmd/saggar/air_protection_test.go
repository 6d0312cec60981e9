package main

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/data"
	"saggar/client/api"
)

func TestProtectionHasTheFieldsThatWereAgreed(t *testing.T) {
	r := at(t, "", "air", "protection", "--species", "SO2", "--ppm", "12", "--output", "json")
	require.Equal(t, api.ExitOK, r.code, r.errOut)
	var answer struct {
		Classes []map[string]any `json:"classes"`
	}
	require.NoError(t, json.Unmarshal([]byte(r.out), &answer))
	require.Len(t, answer.Classes, 20)
	for _, field := range []string{"class", "assigned_protection_factor", "maximum_use_ppm", "enough", "reason"} {
		assert.Contains(t, answer.Classes[0], field)
	}
	half := slices.IndexFunc(answer.Classes, func(c map[string]any) bool {
		return c["class"] == "air_purifying/negative pressure/half_mask"
	})
	require.GreaterOrEqual(t, half, 0)
	assert.Equal(t, 10.0, answer.Classes[half]["assigned_protection_factor"])
	assert.Equal(t, 20.0, answer.Classes[half]["maximum_use_ppm"], "ten times NIOSH's 2 ppm")
	assert.Equal(t, true, answer.Classes[half]["enough"])
}

// 0.05 mg/m3 of respirable quartz (29 CFR 1910.1053(c)) times an assigned protection factor of 10.
func TestProtectionAgainstAMeasuredDust(t *testing.T) {
	for milligrams, enough := range map[string]bool{"0.5": true, "0.51": false} {
		answer := decoded[air.ProtectionCheck](t, "", "air", "protection", "--species", "SiO2", "--milligrams-per-cubic-meter", milligrams)
		at := slices.IndexFunc(answer.Classes, func(c air.ProtectionClass) bool {
			return c.Class == "air_purifying/negative pressure/half_mask"
		})
		assert.Equal(t, enough, answer.Classes[at].Enough, milligrams)
		assert.Equal(t, data.ActionLevel, answer.Limits[0].Kind, "the strictest first")
		assert.NotEmpty(t, answer.Caution)
	}
}

func TestLimitsListEveryRow(t *testing.T) {
	answer := decoded[airLimits](t, "", "air", "limits")
	assert.Len(t, answer.Limits, len(data.ExposureLimits()))
	for _, limit := range answer.Limits {
		assert.NotEmpty(t, limit.Source)
		assert.NotEmpty(t, limit.Read)
	}
	assert.Len(t, decoded[airLimits](t, "", "air", "limits", "--species", "SO2").Limits, 8)
}

func TestAFailureAtAGivenMinute(t *testing.T) {
	args := []string{
		"air", "fan-failure", "--volume-cubic-meters", "100", "--flow-cubic-meters-per-second", "0.5", "--release", "testdata/release.csv",
	}
	worst := decoded[fanFailure](t, "", args...)
	assert.True(t, worst.Worst)
	given := decoded[fanFailure](t, "", append(args, "--at-minute", "10", "--natural-cubic-meters-per-second", "0.1")...)
	assert.False(t, given.Worst)
	assert.Equal(t, 10.0, given.AtMinute)
	assert.NotEmpty(t, given.Findings)
}

func TestDustIsSpokenOfByMass(t *testing.T) {
	r := at(t, "", "air", "protection", "--species", "SiO2", "--milligrams-per-cubic-meter", "0.3")
	require.Equal(t, api.ExitOK, r.code, r.errOut)
	assert.Contains(t, r.out, "Respirators against 0.3 mg/m3 of SiO2")
	assert.NotContains(t, strings.Split(r.out, "assumptions")[0], " ppm")
	for _, species := range []string{"Pb", "SO3", "H2SO4"} {
		r = at(t, "", "air", "protection", "--species", species, "--ppm", "12")
		assert.Equal(t, api.ExitBadInput, r.code)
		assert.Contains(t, r.errOut, "give --milligrams-per-cubic-meter")
	}
	r = at(t, "species,start_minute,end_minute,grams_per_minute\nPb,0,60,0.01\n", "air", "room", "--volume-cubic-meters", "50",
		"--release", "-", "--flow-cubic-meters-per-second", "0.5")
	assert.Regexp(t, `Pb +mg/m3 .* 0\.05 `, r.out)
	assert.NotRegexp(t, `Pb .* ppm`, r.out)
}

// 100 ppm of SO2 is dangerous to life (NIOSH 1994): at it classes are named, above it nobody is let in.
func TestAboveWhatIsDangerousToLifeNobodyEnters(t *testing.T) {
	for ppm, above := range map[string]bool{"100": false, "100.1": true} {
		r := at(t, "", "air", "protection", "--species", "SO2", "--ppm", ppm)
		assert.Equal(t, above, strings.Contains(r.out, "nobody enters"), ppm)
		assert.Equal(t, above, strings.Contains(r.out, "29 CFR 1910.134(d)(2)"), ppm)
		answer := decoded[air.ProtectionCheck](t, "", "air", "protection", "--species", "SO2", "--ppm", ppm)
		assert.Equal(t, above, answer.Entry != "", ppm)
		assert.Equal(t, !above, slices.ContainsFunc(answer.Classes, func(c air.ProtectionClass) bool { return c.Enough }), ppm)
	}
}

func TestWithoutALimitThatRefusesNothingIsSaidOfAClass(t *testing.T) {
	answer := decoded[air.ProtectionCheck](t, "", "air", "protection", "--species", "COS", "--ppm", "1")
	for _, class := range answer.Classes {
		assert.False(t, class.Enough)
		if strings.HasPrefix(class.Class, "scba") {
			assert.True(t, class.Unknown)
			assert.Contains(t, class.Reason, "cannot be said: no limit that refuses is known")
		}
	}
	r := at(t, "", "air", "protection", "--species", "COS", "--ppm", "1")
	assert.Regexp(t, `scba/demand/half_mask +10 +ppm +not known +no +cannot be said`, r.out)
	assert.NotContains(t, r.out, "0 ppm")
}
