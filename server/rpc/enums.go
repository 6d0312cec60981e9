package rpc

import (
	"time"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
)

// enumTable pairs an enumeration of the contract with ours. What is in no pair becomes the zero value of the other side,
// which the field rules refuse wherever a value is required.
type enumTable[P, D comparable] struct {
	pairs map[P]D
	back  map[D]P
}

func newEnumTable[P, D comparable](pairs map[P]D) enumTable[P, D] {
	back := make(map[D]P, len(pairs))
	for p, d := range pairs {
		back[d] = p
	}
	return enumTable[P, D]{pairs: pairs, back: back}
}

func (t enumTable[P, D]) toProto(d D) P   { return t.back[d] }
func (t enumTable[P, D]) fromProto(p P) D { return t.pairs[p] }

var roles = newEnumTable(map[saggarv1.Role]domain.Role{
	saggarv1.Role_ROLE_UNSPECIFIED: domain.RoleNone,
	saggarv1.Role_ROLE_VIEWER:      domain.RoleViewer,
	saggarv1.Role_ROLE_MAKER:       domain.RoleMaker,
	saggarv1.Role_ROLE_TECHNICIAN:  domain.RoleTechnician,
	saggarv1.Role_ROLE_STEWARD:     domain.RoleSteward,
})

var runStates = newEnumTable(map[saggarv1.RunState]domain.RunState{
	saggarv1.RunState_RUN_STATE_TENTATIVE: domain.RunTentative,
	saggarv1.RunState_RUN_STATE_CONFIRMED: domain.RunConfirmed,
	saggarv1.RunState_RUN_STATE_UNDER_WAY: domain.RunUnderWay,
	saggarv1.RunState_RUN_STATE_DONE:      domain.RunDone,
	saggarv1.RunState_RUN_STATE_CANCELLED: domain.RunCancelled,
	saggarv1.RunState_RUN_STATE_UNPLACED:  domain.RunUnplaced,
})

var loadStates = newEnumTable(map[saggarv1.LoadState]domain.LoadState{
	saggarv1.LoadState_LOAD_STATE_TENTATIVE:  domain.LoadTentative,
	saggarv1.LoadState_LOAD_STATE_CONFIRMED:  domain.LoadConfirmed,
	saggarv1.LoadState_LOAD_STATE_UNDER_FIRE: domain.LoadUnderFire,
	saggarv1.LoadState_LOAD_STATE_DRAWN:      domain.LoadDrawn,
	saggarv1.LoadState_LOAD_STATE_STOPPED:    domain.LoadStopped,
	saggarv1.LoadState_LOAD_STATE_MISSED:     domain.LoadMissed,
	saggarv1.LoadState_LOAD_STATE_EXPIRED:    domain.LoadExpired,
	saggarv1.LoadState_LOAD_STATE_CANCELLED:  domain.LoadCancelled,
	saggarv1.LoadState_LOAD_STATE_UNPLACED:   domain.LoadUnplaced,
})

var clearanceStates = newEnumTable(map[saggarv1.ClearanceState]domain.ClearanceState{
	saggarv1.ClearanceState_CLEARANCE_STATE_WAITING: domain.ClearanceWaiting,
	saggarv1.ClearanceState_CLEARANCE_STATE_CLEARED: domain.ClearanceCleared,
	saggarv1.ClearanceState_CLEARANCE_STATE_REFUSED: domain.ClearanceRefused,
})

var planStatuses = newEnumTable(map[saggarv1.PlanStatus]app.PlanStatus{
	saggarv1.PlanStatus_PLAN_STATUS_OPTIMAL:    app.PlanOptimal,
	saggarv1.PlanStatus_PLAN_STATUS_FEASIBLE:   app.PlanFeasible,
	saggarv1.PlanStatus_PLAN_STATUS_INFEASIBLE: app.PlanInfeasible,
	saggarv1.PlanStatus_PLAN_STATUS_SEARCHING:  app.PlanSearching,
	saggarv1.PlanStatus_PLAN_STATUS_UNRESOLVED: app.PlanUnresolved,
})

var planWishes = newEnumTable(map[saggarv1.PlanWish]app.PlanWish{
	saggarv1.PlanWish_PLAN_WISH_EARLIEST:      app.WishEarliest,
	saggarv1.PlanWish_PLAN_WISH_FEWEST_VISITS: app.WishFewestVisits,
	saggarv1.PlanWish_PLAN_WISH_LEAST_ENERGY:  app.WishLeastEnergy,
	saggarv1.PlanWish_PLAN_WISH_LEAST_CHANGE:  app.WishLeastChange,
})

var weekdays = newEnumTable(map[saggarv1.Weekday]time.Weekday{
	saggarv1.Weekday_WEEKDAY_MONDAY:    time.Monday,
	saggarv1.Weekday_WEEKDAY_TUESDAY:   time.Tuesday,
	saggarv1.Weekday_WEEKDAY_WEDNESDAY: time.Wednesday,
	saggarv1.Weekday_WEEKDAY_THURSDAY:  time.Thursday,
	saggarv1.Weekday_WEEKDAY_FRIDAY:    time.Friday,
	saggarv1.Weekday_WEEKDAY_SATURDAY:  time.Saturday,
	saggarv1.Weekday_WEEKDAY_SUNDAY:    time.Sunday,
})

var lotEntryKinds = newEnumTable(map[saggarv1.LotEntryKind]domain.LotEntryKind{
	saggarv1.LotEntryKind_LOT_ENTRY_KIND_CREATED:  domain.LotCreated,
	saggarv1.LotEntryKind_LOT_ENTRY_KIND_TAKEN:    domain.LotTaken,
	saggarv1.LotEntryKind_LOT_ENTRY_KIND_RETURNED: domain.LotReturned,
	saggarv1.LotEntryKind_LOT_ENTRY_KIND_WEIGHED:  domain.LotWeighed,
	saggarv1.LotEntryKind_LOT_ENTRY_KIND_RESERVED: domain.LotReserved,
	saggarv1.LotEntryKind_LOT_ENTRY_KIND_RELEASED: domain.LotReleased,
})

var lotDrawStates = newEnumTable(map[saggarv1.LotDrawState]domain.LotDrawState{
	saggarv1.LotDrawState_LOT_DRAW_STATE_RESERVED: domain.DrawReserved,
	saggarv1.LotDrawState_LOT_DRAW_STATE_TAKEN:    domain.DrawTaken,
	saggarv1.LotDrawState_LOT_DRAW_STATE_RELEASED: domain.DrawReleased,
})

var gearKinds = newEnumTable(map[saggarv1.GearKind]domain.GearKind{
	saggarv1.GearKind_GEAR_KIND_RESPIRATOR:  domain.Respirator,
	saggarv1.GearKind_GEAR_KIND_GOGGLES:     domain.Goggles,
	saggarv1.GearKind_GEAR_KIND_FACE_SHIELD: domain.FaceShield,
	saggarv1.GearKind_GEAR_KIND_GLOVES:      domain.Gloves,
	saggarv1.GearKind_GEAR_KIND_SUIT:        domain.Suit,
})
