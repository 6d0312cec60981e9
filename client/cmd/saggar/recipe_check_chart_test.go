package main

import (
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/client/api"
	"saggar/client/chart"
)

func offlineArgs(recipe string, flags ...string) []string {
	return append([]string{
		"recipe", "check", demo + recipe, "--offline", "--studio-file", demo + "studio.yaml", "--material-file",
		demo + "materials.yaml", "--on-date", "2027-02-27",
	}, flags...)
}

func TestRecipeCheckDrawsEachHeatTreatment(t *testing.T) {
	r := at(t, "", offlineArgs("sodalite-blue.yaml", "--chart")...)
	require.Equal(t, api.ExitOK, r.code, r.errOut)
	for _, words := range []string{
		"\ncalcine on muffle-one\n", "\nreduce on pot-furnace\n", "\noxidise on muffle-one\n", "\nChamber, C\n", "Off-gas, g/min, SO2\n",
		"Air of furnace-bay, ppm, SO2; ", "EU STEL over 15 min, warns, 1", "A planning estimate",
	} {
		assert.Contains(t, r.out, words)
	}
	assert.NotContains(t, r.out, "pack on", "bench work has no course over time")
}

func TestRecipeCheckWritesAPictureInEveryFormat(t *testing.T) {
	path := filepath.Join(t.TempDir(), "blue.png")
	r := at(t, "", offlineArgs("sodalite-blue.yaml", "--output", "json", "--chart-file", path)...)
	require.Equal(t, api.ExitOK, r.code, r.errOut)
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	picture, err := png.Decode(file)
	require.NoError(t, err)
	assert.Greater(t, picture.Bounds().Dy(), 3*picture.Bounds().Dx()/2, "three treatments stand one below the other")
}

func TestChartFlagsThatCannotBe(t *testing.T) {
	for _, c := range []struct{ name, flag, value, why string }{
		{"no picture", "--chart-file", "blue.jpg", ".svg or .png"},
		{"text into json", "--chart", "", "--output table"},
	} {
		t.Run(c.name, func(t *testing.T) {
			args := []string{"--output", "json", c.flag}
			if c.value != "" {
				args = append(args, c.value)
			}
			r := at(t, "", offlineArgs("sodalite-blue.yaml", args...)...)
			assert.Equal(t, api.ExitBadInput, r.code)
			assert.Contains(t, r.errOut, c.why)
			assert.Empty(t, r.out)
		})
	}
}

func TestRateStepsAddUpWhatOverlaps(t *testing.T) {
	steps := rateSteps([]stageRelease{
		{StartMinute: 10, EndMinute: 30, GramsPerMinute: 1}, {StartMinute: 20, EndMinute: 40, GramsPerMinute: 2},
		{StartMinute: 50, EndMinute: 60, GramsPerMinute: 4},
	})
	at := func(minute, rate float64) chart.Point { return chart.Point{Minute: minute, Value: rate} }
	assert.Equal(t, []chart.Point{at(10, 1), at(20, 3), at(30, 2), at(40, 0), at(50, 4), at(60, 0)}, steps)
}
