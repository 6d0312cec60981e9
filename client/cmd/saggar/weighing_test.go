package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/client/api"
)

func TestWeighingTellsTheConversionOfTheDryCharge(t *testing.T) {
	// 100 g of dry kaolinite lose 13.9566 g of water in all; half of that is gone here. It went in with 2 % moisture.
	r := at(t, "", "heat", "weighing", "--reaction", "kaolinite", "--before-grams", "102.0408", "--after-grams", "93.0217",
		"--moisture-before", "0.02", "--readability-grams", "0.01", "--output", "json")
	require.Equal(t, api.ExitOK, r.code, r.errOut)
	var answer weighedConversion
	require.NoError(t, json.Unmarshal([]byte(r.out), &answer))
	assert.InDelta(t, 0.5, answer.Conversion, 1e-4)
	assert.InDelta(t, 13.9566, answer.TheoreticalLossGrams, 1e-3)
	assert.Greater(t, answer.Uncertainty, 0.0)
	assert.Less(t, answer.Uncertainty, 0.01)
	assert.NotEmpty(t, answer.Caution)

	r = at(t, "", "heat", "weighing", "--reaction", "kaolinite", "--before-grams", "100", "--after-grams", "93.02", "--purity", "0.5")
	require.Equal(t, api.ExitOK, r.code, r.errOut)
	assert.Contains(t, r.out, "Kaolinite: Al2Si2O5(OH)4 -> Al2Si2O7 + 2 H2O")
}

func TestWeighingsThatCannotBe(t *testing.T) {
	for _, c := range []struct {
		name string
		args []string
		says string
	}{
		{"gained", []string{"--reaction", "kaolinite", "--before-grams", "100", "--after-grams", "101"}, "--after-grams"},
		{"lost too much", []string{"--reaction", "kaolinite", "--before-grams", "100", "--after-grams", "50"}, "--after-grams"},
		{"no such reaction", []string{"--reaction", "kaolin", "--before-grams", "100", "--after-grams", "90"}, "heat reactions"},
		{"no loss", []string{"--reaction", "sulfur melting", "--before-grams", "100", "--after-grams", "90"}, "gives off a gas"},
		{"nothing weighed", []string{"--reaction", "kaolinite", "--before-grams", "0", "--after-grams", "0"}, "--before-grams"},
		{"a coarse balance", []string{"--reaction", "kaolinite", "--before-grams", "10", "--after-grams", "9", "--readability-grams", "20"},
			"--readability-grams"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := at(t, "", append([]string{"heat", "weighing"}, c.args...)...)
			assert.Equal(t, api.ExitBadInput, r.code)
			assert.Contains(t, r.errOut, c.says)
			assert.Empty(t, r.out)
		})
	}
}
