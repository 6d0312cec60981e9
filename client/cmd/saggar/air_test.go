package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/finding"
)

const longRelease = "species,start_minute,end_minute,grams_per_minute\nSO2,0,10000,0.01\n"

// inRoom asks for the air of a room of 50 m3 with a release on standard input.
func inRoom(t *testing.T, release string, flags ...string) roomAir {
	t.Helper()
	return decoded[roomAir](t, release, append([]string{
		"air", "room", "--volume-cubic-meters", "50", "--release", "-", "--flow-cubic-meters-per-second", "0.5",
	}, flags...)...)
}

// The steady state of a well-mixed room is G/(Q/K): 10 mg/min into 0.5 m3/s is 0.3333 mg/m3, by 24.45 l/mol and
// 64.058 g/mol 0.12723 ppm.
func TestALongReleaseSettlesAtReleaseOverFlow(t *testing.T) {
	const settled = 10.0 / 30 * 24.45 / 64.058
	for name, c := range map[string]struct {
		flags []string
		times float64
	}{
		"default mixing":     {nil, 3},
		"well mixed":         {[]string{"--mixing-factor", "1"}, 1},
		"half drawn away":    {[]string{"--capture-efficiency", "0.5"}, 1.5},
		"all drawn away":     {[]string{"--capture-efficiency", "1"}, 0},
		"a tenth of the air": {[]string{"--mixing-factor", "10"}, 10},
	} {
		answer := inRoom(t, longRelease, c.flags...)
		assert.InDelta(t, settled*c.times, answer.Species[0].PeakPPM, 1e-3*settled, name)
		assert.InDelta(t, settled*c.times, answer.Species[0].Max8HourPPM, 1e-3*settled, name)
	}
}

func TestTheFlowNeededIsJustEnough(t *testing.T) {
	release := strings.Replace(longRelease, "0.01", "1", 1)
	over := inRoom(t, release)
	worst := 0.0
	for _, limit := range over.Species[0].Limits {
		if limit.Severity == finding.Block {
			worst = max(worst, limit.Ratio)
		}
	}
	require.Greater(t, worst, 1.0)
	needed := over.Species[0].FlowNeededCubicMetersPerSecond
	require.NotNil(t, needed)
	for share, passes := range map[float64]bool{1.001: true, 0.98: false} {
		enough := inRoom(t, release, "--flow-cubic-meters-per-second", plain(*needed*share))
		for _, limit := range enough.Species[0].Limits {
			if limit.Severity == finding.Block && limit.Ratio > 1 {
				assert.False(t, passes, "%g of the flow needed: %s %s", share, limit.Authority, limit.Kind)
				passes = true // one that is over is enough
			}
		}
		assert.True(t, passes, "%g of the flow needed passes all", share)
	}
}

func TestWhatNeverComesIsNullAndNotZero(t *testing.T) {
	r := at(t, longRelease, "air", "room", "--volume-cubic-meters", "50", "--release", "-", "--flow-cubic-meters-per-second", "0",
		"--output", "json")
	assert.Contains(t, r.out, `"reentry_minute": null`)
	assert.Contains(t, r.out, `"source": "`)
	assert.Contains(t, r.out, `"caution": "`)
	r = at(t, longRelease, "air", "room", "--volume-cubic-meters", "50", "--release", "-", "--flow-cubic-meters-per-second", "0")
	assert.Contains(t, r.out, "never")
}

func TestLinesOfAReleaseAddUpInAnyOrderOfColumns(t *testing.T) {
	once := inRoom(t, "species,start_minute,end_minute,grams_per_minute\nSO2,0,60,2\nSO2,60,90,1\n")
	twice := inRoom(t, "\ufeffgrams_per_minute, species ,end_minute,start_minute\n1,SO2,60,0\r\n1, SO2 ,90,0\n")
	// one of the lines is split: 1 g/min over 0 to 60 and 1 g/min over 0 to 90
	assert.InDelta(t, once.Species[0].PeakPPM, twice.Species[0].PeakPPM, 1e-9)
	assert.InDelta(t, once.Species[0].Max8HourPPM, twice.Species[0].Max8HourPPM, 1e-9)
	assert.Equal(t, len(once.Series), len(twice.Series))
}

const mixedRelease = "species,start_minute,end_minute,grams_per_minute\nSO2,0,10000,0.02\nHCl,0,10000,0.02\nCO,0,10000,0.1\nHF,0,10000,0.01\n"

// What has no limit gets no flow, no all-clear and a finding that says so.
func TestAGasWithoutALimitIsSaidToBeJudgedByNone(t *testing.T) {
	const methane = "species,start_minute,end_minute,grams_per_minute\nCH4,0,60,1\n"
	answer := inRoom(t, methane)
	assert.Nil(t, answer.FlowNeededCubicMetersPerSecond)
	assert.Nil(t, answer.Species[0].FlowNeededCubicMetersPerSecond)
	require.Len(t, answer.Findings, 1)
	assert.Equal(t, "AIR_NO_LIMIT", answer.Findings[0].Code)
	args := []string{"air", "room", "--volume-cubic-meters", "50", "--release", "-", "--flow-cubic-meters-per-second", "0.5"}
	table := at(t, methane, args...)
	for _, words := range []string{"mixture ratio not known", "WARN AIR_NO_LIMIT: CH4", "flow needed for all that refuses, both mixtures among it: not known"} {
		assert.Contains(t, table.out, words)
	}
	assert.NotContains(t, table.out, "never")
	assert.Nil(t, inRoom(t, "species,start_minute,end_minute,grams_per_minute\nCOS,0,60,1\n").Species[0].FlowNeededCubicMetersPerSecond,
		"limits that only warn name no flow that is enough")
	water := inRoom(t, "species,start_minute,end_minute,grams_per_minute\nH2O,0,60,1\n")
	require.NotNil(t, water.FlowNeededCubicMetersPerSecond, "water needs no limit")
	assert.Empty(t, water.Findings)
}

// 29 CFR 1910.1000 and NIOSH hold limits for these, so that a flow is named and too much of them refuses.
func TestToxicGasesOfFurnaceChargesAreHeldToALimit(t *testing.T) {
	for _, species := range []string{"HCN", "PH3", "HBr", "HNO3", "Br2", "I2"} {
		answer := inRoom(t, "species,start_minute,end_minute,grams_per_minute\n"+species+",0,60,5\n")
		require.NotNil(t, answer.FlowNeededCubicMetersPerSecond, species)
		assert.Greater(t, *answer.FlowNeededCubicMetersPerSecond, 0.5, species)
		require.NotEmpty(t, answer.Findings, species)
		assert.Equal(t, finding.Block, answer.Findings[0].Severity, species)
	}
}

// Each gas by itself is within its limits, together they are not: only the flow for all of them clears the mixture.
func TestTheFlowForTheMixtureIsSaid(t *testing.T) {
	over := inRoom(t, mixedRelease)
	require.Greater(t, over.MixtureRatio, 1.0)
	assert.Equal(t, over.MixtureRatio, max(over.ShiftMixtureRatio, over.ShortTermMixtureRatio))
	needed := over.FlowNeededCubicMetersPerSecond
	require.NotNil(t, needed)
	for _, species := range over.Species {
		assert.Less(t, *species.FlowNeededCubicMetersPerSecond, 0.5, "%s by itself is within", species.Species)
	}
	assert.Greater(t, *needed, 0.5)
	for share, passes := range map[float64]bool{1.001: true, 0.98: false} {
		again := inRoom(t, mixedRelease, "--flow-cubic-meters-per-second", plain(*needed*share))
		assert.Equal(t, passes, again.MixtureRatio <= 1, "%g of the flow needed", share)
	}
	table := at(t, mixedRelease, "air", "room", "--volume-cubic-meters", "50", "--release", "-", "--flow-cubic-meters-per-second", "0.5")
	assert.Contains(t, table.out, "(over)")
	assert.Contains(t, strings.Join(strings.Fields(table.out), " "), "limits that only warn are not counted in it")
	assert.Contains(t, table.out, "BLOCK AIR_MIXTURE")
}
