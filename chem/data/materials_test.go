package data

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestRawMaterials(t *testing.T) {
	rows, err := readTable("materials.csv", toRawMaterial)
	require.NoError(t, err)
	seen := map[string]bool{}
	for _, row := range rows {
		assert.False(t, seen[row.ID], row.ID)
		seen[row.ID] = true
		assert.Contains(t, known, row.Read, row.ID)
		assert.NotEqual(t, len(row.Phases) > 0, len(row.Oxides) > 0, "%s is described in one way", row.ID)
		if row.Read == Computed {
			assert.Len(t, row.Phases, 1, "%s is computed from one formula", row.ID)
			assert.Zero(t, row.MoistureFraction, row.ID)
		}
		if strings.Contains(row.Source, "from memory") {
			assert.Equal(t, FromMemory, row.Read, row.ID)
		}
	}
	for _, id := range []string{"kaolin", "ball-clay", "metakaolin", "soda-ash", "soda-monohydrate", "soda-decahydrate", "whiting",
		"borax-pentahydrate", "boric-acid", "bone-ash", "wood-ash", "charcoal", "wheat-flour", "plaster"} {
		assert.True(t, seen[id], id)
	}
}
