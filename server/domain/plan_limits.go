package domain

import "time"

// PlanLimits are what a maker can and will not do. A run keeps those that it was booked with.
type PlanLimits struct {
	// Attendance are hours in the studio's time in which the maker can be there to charge, feed, draw and work; none: whenever
	// the room is staffed.
	Attendance []WeeklyHours `json:"attendance,omitempty"`
	// HeatOnlyWhileStaffed: nothing is heated unless somebody is in reach.
	HeatOnlyWhileStaffed bool     `json:"heat_only_while_staffed,omitempty"`
	AvoidFurnaces        []string `json:"avoid_furnaces,omitempty"`
	// Start and End bound the run; zero: not at all.
	Start time.Time `json:"start,omitzero"`
	End   time.Time `json:"end,omitzero"`
}

// Any reports whether anything is limited.
func (l PlanLimits) Any() bool {
	return len(l.Attendance) > 0 || l.HeatOnlyWhileStaffed || len(l.AvoidFurnaces) > 0 || !l.Start.IsZero() || !l.End.IsZero()
}
