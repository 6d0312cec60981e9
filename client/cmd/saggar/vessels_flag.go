package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

// vesselsFlag is a flag that may be given several times: STAGE=VESSEL, or STAGE=VESSEL:COUNT for some of a set.
type vesselsFlag struct {
	typed   []string
	byStage map[string][]*saggarv1.VesselUse
}

// Set adds one.
func (f *vesselsFlag) Set(text string) error {
	stage, vessel, staged := strings.Cut(text, "=")
	vessel, number, counted := strings.Cut(vessel, ":")
	use := &saggarv1.VesselUse{Vessel: vessel, Count: 1}
	if counted {
		n, err := strconv.ParseInt(number, 10, 32)
		if err != nil || n < 1 {
			staged = false
		}
		use.Count = int32(n)
	}
	if !staged || file.CheckID(stage) != nil || file.CheckID(vessel) != nil {
		return errors.New("give STAGE=VESSEL or STAGE=VESSEL:COUNT, such as reduce=pot-3")
	}
	if f.byStage == nil {
		f.byStage = map[string][]*saggarv1.VesselUse{}
	}
	f.typed, f.byStage[stage] = append(f.typed, text), append(f.byStage[stage], use)
	return nil
}

// String is what was typed.
func (f *vesselsFlag) String() string { return strings.Join(f.typed, ",") }

// Type is what help calls the value.
func (f *vesselsFlag) Type() string { return "stage=vessel[:count]" }

// apply names the vessels of each stage. A stage that no run has is a fault.
func (f *vesselsFlag) apply(runs []*saggarv1.Run) error {
	known := map[string]bool{}
	for _, run := range runs {
		for _, w := range run.GetStageWindows() {
			known[w.GetStage()] = true
			if uses := f.byStage[w.GetStage()]; uses != nil {
				w.Vessels = uses
			}
		}
	}
	for stage := range f.byStage {
		if !known[stage] {
			return badInput(fmt.Errorf("--vessel: the run has no stage %q", stage))
		}
	}
	return nil
}
