package data

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestVapours(t *testing.T) {
	rows, err := readTable("vapours.csv", toVapour)
	require.NoError(t, err)
	seen := map[string]bool{}
	for _, row := range rows {
		assert.False(t, seen[row.Formula], "%s stands twice", row.Formula)
		seen[row.Formula] = true
		assert.NotEmpty(t, row.Name, row.Formula)
		assert.Contains(t, known, row.Read, row.Formula)
		assert.GreaterOrEqual(t, row.OxygenMoles, 0.0, row.Formula)
		assert.Positive(t, row.FumesCelsius, row.Formula)
		assert.LessOrEqual(t, row.FumesCelsius, row.LeavesCelsius, row.Formula)
	}
}
