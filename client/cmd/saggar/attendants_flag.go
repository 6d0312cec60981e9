package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/pflag"

	"saggar/client/api"
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

func (f *attendantsFlag) flag(flags *pflag.FlagSet) {
	flags.Var(f, "attended-by", "PERSON who charges, watches and draws, or STAGE=PERSON for one stage (default: you); may be repeated")
}

// nameAttendants puts who attends into runs that are to be planned, before they have windows.
func (s *shell) nameAttendants(ctx context.Context, connection *api.Connection, f *attendantsFlag, runs []*saggarv1.Run) error {
	if len(f.typed) == 0 {
		return nil
	}
	for _, run := range runs {
		if len(run.GetStageWindows()) > 0 {
			continue
		}
		recipe, err := connection.Recipes.GetRecipe(ctx, &saggarv1.GetRecipeRequest{Name: run.GetRecipe()})
		if err != nil {
			return err
		}
		for _, stage := range recipe.GetStages() {
			run.StageWindows = append(run.StageWindows, &saggarv1.StageWindow{Stage: stage.GetId()})
		}
	}
	return f.apply(runs)
}

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
