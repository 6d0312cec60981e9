package rpc

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/reflect/protoreflect"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// checkPairs holds a table against all values of both sides: each is paired once, and unspecified with nothing but zero.
func checkPairs[P interface {
	protoreflect.Enum
	comparable
}, D comparable](t *testing.T, table enumTable[P, D], ours []D, number func(protoreflect.EnumNumber) P) {
	t.Helper()
	var zero P
	values := zero.Descriptor().Values()
	paired := 0
	for i := range values.Len() {
		p := number(values.Get(i).Number())
		d, ok := table.pairs[p]
		if !ok {
			assert.Zero(t, p.Number(), "%s stands for nothing", values.Get(i).Name())
			continue
		}
		paired++
		assert.Equal(t, p, table.toProto(d), "%v does not come back", d)
	}
	assert.Len(t, ours, paired)
	for _, d := range ours {
		assert.Contains(t, table.back, d, "%v has no name in the contract", d)
	}
}

func TestEveryEnumerationIsPairedInFull(t *testing.T) {
	checkPairs(t, roles,
		[]domain.Role{domain.RoleNone, domain.RoleViewer, domain.RoleMaker, domain.RoleTechnician, domain.RoleSteward},
		func(n protoreflect.EnumNumber) saggarv1.Role { return saggarv1.Role(n) })
	checkPairs(t, runStates,
		[]domain.RunState{domain.RunTentative, domain.RunConfirmed, domain.RunUnderWay, domain.RunDone, domain.RunCancelled, domain.RunUnplaced},
		func(n protoreflect.EnumNumber) saggarv1.RunState { return saggarv1.RunState(n) })
	checkPairs(t, loadStates,
		[]domain.LoadState{
			domain.LoadTentative, domain.LoadConfirmed, domain.LoadUnderFire, domain.LoadDrawn, domain.LoadStopped,
			domain.LoadMissed, domain.LoadExpired, domain.LoadCancelled, domain.LoadUnplaced,
		}, func(n protoreflect.EnumNumber) saggarv1.LoadState { return saggarv1.LoadState(n) })
	checkPairs(t, clearanceStates, []domain.ClearanceState{domain.ClearanceWaiting, domain.ClearanceCleared, domain.ClearanceRefused},
		func(n protoreflect.EnumNumber) saggarv1.ClearanceState { return saggarv1.ClearanceState(n) })
	checkPairs(t, gearKinds, []domain.GearKind{domain.Respirator, domain.Goggles, domain.FaceShield, domain.Gloves, domain.Suit},
		func(n protoreflect.EnumNumber) saggarv1.GearKind { return saggarv1.GearKind(n) })
	checkPairs(t, timeRequestStates,
		[]domain.TimeRequestState{domain.TimeWaiting, domain.TimeOffered, domain.TimeTaken, domain.TimeWithdrawn, domain.TimePassed},
		func(n protoreflect.EnumNumber) saggarv1.TimeRequestState { return saggarv1.TimeRequestState(n) })
	checkPairs(t, dueCheckKinds, []domain.DueKind{domain.DueDetector, domain.DueInterlock, domain.DueCapture, domain.DueFlow},
		func(n protoreflect.EnumNumber) saggarv1.DueCheckKind { return saggarv1.DueCheckKind(n) })
	checkPairs(t, planWishes, []app.PlanWish{app.WishEarliest, app.WishFewestVisits, app.WishLeastEnergy, app.WishLeastChange},
		func(n protoreflect.EnumNumber) saggarv1.PlanWish { return saggarv1.PlanWish(n) })
	checkPairs(t, planStatuses,
		[]app.PlanStatus{app.PlanOptimal, app.PlanFeasible, app.PlanInfeasible, app.PlanSearching, app.PlanUnresolved},
		func(n protoreflect.EnumNumber) saggarv1.PlanStatus { return saggarv1.PlanStatus(n) })
	checkPairs(t, weekdays,
		[]time.Weekday{time.Sunday, time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Saturday},
		func(n protoreflect.EnumNumber) saggarv1.Weekday { return saggarv1.Weekday(n) })
}
