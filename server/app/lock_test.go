package app

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"saggar/chem/air"
	"saggar/chem/heat"
	"saggar/server/domain"
	"saggar/server/store"
)

// twoFurnaces is a booking that was checked, and a firing on the furnace beside it that came in before the lock: the planned
// one gives off SO2 for three hours with its door open, the other through its closed door.
func twoFurnaces(t *testing.T, otherGramsPerMinute float64) (*prepared, store.LockedStudio) {
	t.Helper()
	start := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	equipment := []domain.Equipment{
		{Kind: domain.KindRoom, ID: "bay", Room: &air.Room{
			ID: "bay", VolumeCubicMeters: 400, MakeUpCubicMetersPerSecond: 8, MixingFactor: 3, CrewCount: 9,
			Detectors: []air.Detector{{Species: "SO2", TestedOn: "2027-02-22"}},
		}},
		{Kind: domain.KindCircuit, ID: "fan", Circuit: &air.Circuit{ID: "fan", Branches: []air.Branch{
			{ID: "hood", Room: "bay", CubicMetersPerSecond: 8, MeasuredOn: "2027-01-01"},
		}}},
	}
	firing := func(id string, door heat.PhaseKind, gramsPerMinute float64) domain.Firing {
		equipment = append(equipment, domain.Equipment{Kind: domain.KindFurnace, ID: id, Furnace: &heat.Furnace{
			ID: id, Room: "bay", Branch: "fan/hood",
			Capture: heat.Capture{ClosedFraction: 0.95, DoorOpenFraction: 0.7, Method: "tracer", MeasuredOn: "2027-01-01"},
		}})
		window := domain.Window{Start: start, End: start.Add(3 * time.Hour)}
		return domain.Firing{
			ID: id, Furnace: id, Title: id, Window: window, Phases: []domain.FiringPhase{{Kind: door, Window: window}},
			Releases: []air.Release{{Species: "SO2", EndMinute: 180, GramsPerMinute: gramsPerMinute}},
		}
	}
	// 30 % of 0.458 g/min over 0.2 m3/s beside the furnace, and into 8/3 m3/s in the room: 4.7 ppm where NIOSH allows 5.
	planned, other := firing("open", heat.Charge, 0.458), firing("closed", heat.Fire, otherGramsPerMinute)
	site, err := domain.NewSite(domain.Studio{TimeZone: "UTC"}, equipment)
	require.NoError(t, err)
	j := joint{site: site, planned: []plannedFiring{{Firing: planned, field: "runs[0]"}}, today: "2027-03-01"}
	require.Empty(t, j.nearOwn(), "alone it must pass for this to show anything")
	return &prepared{site: site, joint: j}, store.LockedStudio{NewFirings: []domain.Firing{other}}
}

func refusedCodes(t *testing.T, err error) []string {
	t.Helper()
	var refusal *domain.Refusal
	require.ErrorAs(t, err, &refusal)
	var list []string
	for _, f := range refusal.Findings {
		list = append(list, f.Code)
	}
	return list
}

func TestUnderTheLockPeopleAtTheOpenFurnaceAreLookedAtAgain(t *testing.T) {
	little, locked := twoFurnaces(t, 0.1)
	require.NoError(t, little.stillHolds(locked, nil))

	// 5 % of 4 g/min more brings those beside the furnace over NIOSH's 5 ppm, and the room over no limit.
	p, locked := twoFurnaces(t, 4)
	risk := p.joint.riskWith(locked.NewFirings)
	assert.False(t, risk.over)
	assert.True(t, risk.near)
	assert.Equal(t, []string{"AIR_PROTECTION_NEEDED"}, refusedCodes(t, p.stillHolds(locked, nil)))
	require.NoError(t, p.stillHolds(locked, []string{"AIR_PROTECTION_NEEDED"}), "it is a warning: whoever read it may go on")
}

func TestUnderTheLockTheRoomIsLookedAtAgain(t *testing.T) {
	p, locked := twoFurnaces(t, 60)
	assert.Contains(t, refusedCodes(t, p.stillHolds(locked, nil)), "AIR_SHORT_TERM_LIMIT")
}

func TestUnderTheLockNothingNewIsNothingToLookAt(t *testing.T) {
	p, _ := twoFurnaces(t, 60)
	require.NoError(t, p.stillHolds(store.LockedStudio{}, nil))
	locked := store.LockedStudio{Studio: domain.Studio{EquipmentRevision: 1}}
	require.ErrorIs(t, p.stillHolds(locked, nil), errChangedBetween)
}

// riskWith is the risk with the firings that came in counted among the existing.
func (j joint) riskWith(added []domain.Firing) airRisk {
	j.existing = append(j.existing, added...)
	return j.risk(added)
}

// An alarm, or what cuts the heat, must be in test until the last gas is out, not only on the day on which the firing begins.
func TestAlarmsAreHeldAgainstTheLastGas(t *testing.T) {
	p, _ := twoFurnaces(t, 0.1)
	firing := p.joint.planned[0]
	for minutes, day := range map[float64]string{0: "2027-03-01", 180: "2027-03-01", 24 * 60: "2027-03-02"} {
		firing.Releases[0].EndMinute = minutes
		view, err := p.joint.view(firing, "bay")
		require.NoError(t, err)
		assert.Equal(t, day, view.FiringDate)
		assert.Equal(t, day, p.joint.interlock(firing, nil).FiringDate)
	}
}
