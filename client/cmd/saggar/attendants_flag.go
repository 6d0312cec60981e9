package main

import (
	"errors"
	"fmt"
	"strings"

	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

// attendantsFlag is a flag that may be given several times: PERSON for all stages, or STAGE=PERSON for one.
type attendantsFlag struct {
	typed   []string
	byStage map[string]string // "" for all others
}

// Set adds one.
func (f *attendantsFlag) Set(text string) error {
	stage, person, staged := strings.Cut(text, "=")
	if !staged {
		stage, person = "", text
	}
	if file.CheckID(person) != nil || staged && file.CheckID(stage) != nil {
		return errors.New("give PERSON or STAGE=PERSON, such as calcine=mira")
	}
	if f.byStage == nil {
		f.byStage = map[string]string{}
	}
	f.typed, f.byStage[stage] = append(f.typed, text), person
	return nil
}

// String is what was typed.
func (f *attendantsFlag) String() string { return strings.Join(f.typed, ",") }

// Type is what help calls the value.
func (f *attendantsFlag) Type() string { return "[stage=]person" }

// apply names who attends each stage. A stage that no run has is a fault.
func (f *attendantsFlag) apply(runs []*saggarv1.Run) error {
	named := map[string]bool{"": true}
	for _, run := range runs {
		for _, w := range run.GetStageWindows() {
			named[w.GetStage()] = true
			if person, own := f.byStage[w.GetStage()]; own {
				w.AttendedBy = person
			} else if f.byStage[""] != "" {
				w.AttendedBy = f.byStage[""]
			}
		}
	}
	for stage := range f.byStage {
		if !named[stage] {
			return badInput(fmt.Errorf("--attended-by: the run has no stage %q", stage))
		}
	}
	return nil
}
