package data

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTrainingIntervalsNameTheirSource(t *testing.T) {
	for _, row := range TrainingIntervals() {
		assert.Positive(t, row.Months, row.Subject)
		assert.Contains(t, known, row.Read, row.Subject)
		assert.NotEmpty(t, row.Source, row.Subject)
	}
}

// TestPublishedTrainingIntervals holds the table against 29 CFR 1910.134(f)(2) and (k)(5), which say annually.
func TestPublishedTrainingIntervals(t *testing.T) {
	intervals := map[string]TrainingInterval{}
	for _, row := range TrainingIntervals() {
		intervals[row.Subject] = row
	}
	for subject, months := range map[string]int{"respirator-fit": 12, "respirator-training": 12} {
		t.Run(subject, func(t *testing.T) {
			require.Contains(t, intervals, subject)
			assert.Equal(t, months, intervals[subject].Months)
			assert.True(t, intervals[subject].Longest, "the rule knows no longer one")
		})
	}
}
