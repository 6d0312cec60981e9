package domain

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/heat"
)

func siteOf(t *testing.T, equipment ...Equipment) *Site {
	t.Helper()
	site, err := NewSite(Studio{TimeZone: "UTC"}, equipment)
	require.NoError(t, err)
	return site
}

func TestReferencesToNothingAreNamedWithWhatStands(t *testing.T) {
	site := siteOf(t,
		Equipment{Kind: KindRoom, ID: "hall", Room: &air.Room{ID: "hall", Transfers: []air.Transfer{{ToRoom: "attic"}}}},
		Equipment{Kind: KindCircuit, ID: "fan", Circuit: &air.Circuit{ID: "fan", Branches: []air.Branch{{ID: "a", Room: "cellar"}}}},
		Equipment{Kind: KindFurnace, ID: "kiln", Furnace: &heat.Furnace{ID: "kiln", Room: "shed", Supply: "panel", Branch: "fan/b"}},
		Equipment{Kind: KindStaffedHours, ID: "loft", Hours: &StaffedHours{ID: "loft"}},
		Equipment{Kind: KindClosure, ID: "c", Closure: &Closure{ID: "c", SubjectKind: KindSupply, SubjectID: "mains"}},
	)
	fields := map[string]string{}
	for _, f := range site.Check() {
		fields[f.Field] = f.Cure
	}
	assert.Len(t, fields, 7)
	assert.Contains(t, fields["furnaces[kiln].room"], "hall")
	for _, field := range []string{
		"rooms[hall].transfers[0].to_room", "extraction_circuits[fan].branches[0].room", "furnaces[kiln].supply",
		"furnaces[kiln].branch", "staffed_hours[loft].name", "closures[c].subject",
	} {
		assert.Contains(t, fields, field)
	}
}

func TestAClosureOfAnythingAFurnaceNeedsClosesIt(t *testing.T) {
	kiln := heat.Furnace{ID: "kiln", Room: "hall", Supply: "panel", Branch: "fan/b"}
	at := func(hour int) time.Time { return time.Date(2027, 3, 1, hour, 0, 0, 0, time.UTC) }
	for kind, id := range map[EquipmentKind]string{KindFurnace: "kiln", KindRoom: "hall", KindSupply: "panel", KindCircuit: "fan"} {
		site := siteOf(t, Equipment{Kind: KindClosure, ID: "c", Closure: &Closure{
			ID: "c", SubjectKind: kind, SubjectID: id, Start: at(10), End: at(12),
		}})
		assert.Len(t, site.ClosuresOver(kiln, at(11), at(13)), 1, "%s", kind)
		assert.Empty(t, site.ClosuresOver(kiln, at(12), at(13)), "%s: it ends where the firing starts", kind)
		assert.Empty(t, site.ClosuresOver(kiln, at(8), at(10)), "%s: it starts where the firing ends", kind)
		other := heat.Furnace{ID: "other", Room: "shed"}
		assert.Empty(t, site.ClosuresOver(other, at(10), at(12)), "%s", kind)
	}
}
