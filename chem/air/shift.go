package air

import (
	"fmt"
	"math"
	"slices"

	"saggar/chem/finding"
)

const (
	// defaultShiftStepMinutes is the grid on which a later time is sought.
	defaultShiftStepMinutes = 5
	// shiftStepsAtMost bounds how long it is sought.
	shiftStepsAtMost = 5000
)

// laterEnough is the least whole number of steps, in minutes, by which the added sources must begin later for the room to
// refuse them no more, with the standing sources where they are; nil when it was not asked, or none within the horizon is.
func (c *RoomCheck) laterEnough(added []Source) (*float64, error) {
	if c.ShiftHorizonMinutes == 0 || len(added) == 0 {
		return nil, nil
	}
	step := c.ShiftStepMinutes
	if step == 0 {
		step = defaultShiftStepMinutes
	}
	same := len(c.Standing) == 0 && len(c.Zone.Flow) <= 1 && len(c.Zone.Unoccupied) == 0 && len(c.Zone.InitialPPM) == 0
	for i := 0; float64(i)*step <= c.ShiftHorizonMinutes; i++ {
		later := float64(i) * step
		refused, err := c.refuses(shifted(added, later))
		if err != nil {
			return nil, err
		}
		if !refused {
			return &later, nil
		}
		if same {
			break // the room is the same at all times
		}
	}
	return nil, nil
}

func (c *RoomCheck) validateShift(faults *finding.Faults) {
	if !atLeastZero(c.ShiftStepMinutes) {
		faults.Add("shift_step_minutes", fmt.Sprintf("%v is no step", c.ShiftStepMinutes),
			"give minutes above zero, or 0 for the default")
	}
	step := c.ShiftStepMinutes
	if step == 0 {
		step = defaultShiftStepMinutes
	}
	if !atLeastZero(c.ShiftHorizonMinutes) || c.ShiftHorizonMinutes > shiftStepsAtMost*step {
		faults.Add("shift_horizon_minutes", fmt.Sprintf("%v is no horizon", c.ShiftHorizonMinutes),
			fmt.Sprintf("give 0 to %v minutes, or a longer step", shiftStepsAtMost*step))
	}
}

// refuses reports whether the room refuses added sources.
func (c *RoomCheck) refuses(added []Source) (bool, error) {
	lists := borrow()
	defer lists.giveBack()
	survey, err := lists.take(c.Zone, slices.Concat(c.Standing, added), c.Own)
	if err != nil {
		return false, err
	}
	excesses, stays, err := c.held(survey, added)
	if err != nil {
		return false, err
	}
	refused := slices.ContainsFunc(excesses, func(e Excess) bool { return e.Limit.Severity == finding.Block }) ||
		len(survey.reentryFindings(&c.Zone, stays)) > 0 || len(c.openWhileSigned(added)) > 0
	return refused, nil
}

// shifted are sources some minutes later.
func shifted(sources []Source, minutes float64) []Source {
	later := slices.Clone(sources)
	for i := range later {
		later[i].Releases = slices.Clone(later[i].Releases)
		for j := range later[i].Releases {
			later[i].Releases[j].StartMinute += minutes
			later[i].Releases[j].EndMinute += minutes
		}
		later[i].DoorOpen = slices.Clone(later[i].DoorOpen)
		for j := range later[i].DoorOpen {
			later[i].DoorOpen[j].StartMinute += minutes
			later[i].DoorOpen[j].EndMinute += minutes
		}
	}
	return later
}

// laterWay words the later time as a cure.
func (a *Assessment) laterWay() string {
	if a.LaterMinutesEnough == nil || *a.LaterMinutesEnough == 0 {
		return "a slower release, another time or another room"
	}
	return fmt.Sprintf("the same %.0f min later; or a slower release or another room", math.Ceil(*a.LaterMinutesEnough))
}
