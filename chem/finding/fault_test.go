package finding

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestFaultsAsError(t *testing.T) {
	var faults Faults
	assert.NoError(t, faults.Err())
	var inner Faults
	inner.Add("to_celsius", "2500 is above 2000", "give at most 2000")
	inner.Add("", "empty", "")
	faults.AddUnder("segments[0]", inner)
	faults.AddUnder("", Faults{{Field: "id", Message: "empty"}})
	faults.AddUnder("stages", Faults{{Field: "[1].id", Message: "twice"}})
	err := faults.Err()
	assert.EqualError(t, err, "segments[0].to_celsius: 2500 is above 2000 (give at most 2000); segments[0]: empty; "+
		"id: empty; stages[1].id: twice")
	assert.Equal(t, faults, FaultsOf(fmt.Errorf("recipe: %w", err)))
	assert.Nil(t, FaultsOf(nil))
}

func TestFaultsAsFindingsBlockWithACure(t *testing.T) {
	findings := Faults{{Field: "id", Message: "empty"}}.Findings("RECIPE_INVALID")
	assert.True(t, Blocks(findings))
	assert.NotEmpty(t, findings[0].Cure)
	assert.Equal(t, "id", findings[0].Field)
}
