package main

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/heat"
	"saggar/client/api"
)

// heatingLog is a furnace that settles at 1300 C with a time constant of 100 minutes, in degrees or in millivolts of type S
// against a reference junction at 25 C.
func heatingLog(t *testing.T, millivolts bool) string {
	t.Helper()
	var b strings.Builder
	b.WriteString(map[bool]string{false: "minute,celsius\n", true: "minute,millivolts\n"}[millivolts])
	cold, err := heat.Thermocouple("S").Millivolts(25)
	require.NoError(t, err)
	for minute := 0; minute <= 180; minute += 5 {
		value := 1300 - 1280*math.Exp(-float64(minute)/100)
		if millivolts {
			hot, err := heat.Thermocouple("S").Millivolts(value)
			require.NoError(t, err)
			value = hot - cold
		}
		fmt.Fprintf(&b, "%d,%.6f\n", minute, value)
	}
	return b.String()
}

func TestALogGivesTheFurnacesConstants(t *testing.T) {
	fit := []string{"heat", "fit", "--log", "-", "--full-power", "0-180"}
	for name, answer := range map[string]heatFit{
		"degrees": decoded[heatFit](t, heatingLog(t, false), fit...),
		"millivolts": decoded[heatFit](t, heatingLog(t, true), append(fit, "--thermocouple", "S", "--reference-celsius",
			"25")...),
	} {
		t.Run(name, func(t *testing.T) {
			assert.InDelta(t, 1300, answer.FinalCelsius.Value, 0.01)
			assert.InDelta(t, 100, answer.HeatingTauMinutes.Value, 0.01)
			assert.Less(t, answer.HeatingTauMinutes.StandardError, 0.01)
			assert.Nil(t, answer.CoolingTauMinutes)
			assert.Nil(t, answer.Constants, "no furnace was described")
			assert.Less(t, answer.RMSCelsius, 0.01)
			assert.Len(t, answer.HeatingTimes, 3)
			assert.Empty(t, answer.CoolingTimes)
			assert.NotEmpty(t, answer.Caution)
		})
	}
}

// muffleFit is the made-up log of testdata as it is asked about.
var muffleFit = []string{"heat", "fit", "--log", "testdata/log.csv", "--furnace", muffleFile, "--full-power", "0-180",
	"--closed-cooling", "180-1200"}

// Tables round; the last digits of a search in json and yaml would be the processor's.
func TestHeatFitPrintsWhatWasAgreed(t *testing.T) {
	for _, format := range []string{"table", "csv"} {
		r := at(t, "", append(muffleFit, "--output", format)...)
		assert.Equal(t, api.ExitOK, r.code, r.errOut)
		golden(t, "heat-fit."+format+".golden", r.out)
	}
	r := at(t, "", append(muffleFit, "--output", "yaml")...)
	for _, field := range []string{"final_celsius", "heating_tau_minutes", "cooling_tau_minutes", "lining", "rms_celsius", "heating_times",
		"cooling_times", "constants", "two_lumps", "notes", "assumptions", "caution"} {
		assert.Contains(t, r.out, field+":", "the field is part of the contract")
	}
	assert.Contains(t, r.out, "standard_error:")
	assert.Contains(t, r.out, "low_95:")
}

// The made-up log of testdata was drawn with 1390 C, 95 min, and a cooling of 60 and 430 min with a slow share of 0.55.
func TestTheLogOfTheMuffleGivesWhatItWasMadeOf(t *testing.T) {
	answer := decoded[heatFit](t, "", muffleFit...)
	for _, one := range []struct {
		truth    float64
		estimate heat.Estimate
	}{{1390, *answer.FinalCelsius}, {95, *answer.HeatingTauMinutes}, {60, answer.Lining.FastTauMinutes},
		{430, answer.Lining.SlowTauMinutes}, {0.55, answer.Lining.SlowShare}} {
		assert.True(t, one.estimate.Low95 <= one.truth && one.truth <= one.estimate.High95, "%g in %+v", one.truth, one.estimate)
	}
	require.NotNil(t, answer.TwoLumps)
	assert.Positive(t, answer.TwoLumps.LiningKilojoulesPerKelvin)
	assert.Len(t, answer.Notes, 2, "an open sensor and a spike")
	paste := "name: muffle\nsource: electric\nnet_kilowatts: 3\ntop_celsius: 1150\nheating_times:\n" + pasted(answer.HeatingTimes) +
		"cooling_times:\n" + pasted(answer.CoolingTimes)
	program := decoded[heatTime](t, paste, "heat", "time", "--furnace", "-", "--program", calcineFile)
	assert.Contains(t, strings.Join(program.Assumptions, "\n"), "cooling by two lumps")
}

func pasted(times []heat.Timing) string {
	var b strings.Builder
	for _, one := range times {
		fmt.Fprintf(&b, "  - {from_celsius: %g, to_celsius: %g, minutes: %g}\n", one.FromCelsius, one.ToCelsius, one.Minutes)
	}
	return b.String()
}
