package main

import (
	"encoding/json"
	"slices"
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
