package main

import (
	"errors"
	"strings"

	"saggar/client/file"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// loadFlag is a flag that holds RUN/STAGE.
type loadFlag struct{ run, stage string }

// Set takes the run and the stage.
func (f *loadFlag) Set(text string) error {
	run, stage, ok := strings.Cut(text, "/")
	if !ok || file.CheckID(run) != nil || file.CheckID(stage) != nil {
		return errors.New("give RUN/STAGE, such as blue-one/mix")
	}
	f.run, f.stage = run, stage
	return nil
}

// String is the value as typed.
func (f *loadFlag) String() string {
	if f.run == "" {
		return ""
	}
	return f.run + "/" + f.stage
}

// Type is what help calls the value.
func (f *loadFlag) Type() string { return "run/stage" }

// name is the load's full name; empty when none was given.
func (f *loadFlag) name(studio string) string {
	if f.run == "" {
		return ""
	}
	return convert.Name(studio, "runs", f.run) + "/loads/" + f.stage
}

// drawsFlag is a flag that may be given several times: MATERIAL=LOT, or MATERIAL@STAGE=LOT for one stage only.
type drawsFlag struct {
	typed []string
	draws []*saggarv1.LotDraw // with ids for names
}

// Set adds one.
func (f *drawsFlag) Set(text string) error {
	what, lot, ok := strings.Cut(text, "=")
	material, stage, staged := strings.Cut(what, "@")
	if !ok || file.CheckID(material) != nil || file.CheckID(lot) != nil || staged && file.CheckID(stage) != nil {
		return errors.New("give MATERIAL=LOT or MATERIAL@STAGE=LOT, such as kaolin=kaolin-3")
	}
	f.typed, f.draws = append(f.typed, text), append(f.draws, &saggarv1.LotDraw{Lot: lot, Material: material, Stage: stage})
	return nil
}

// String is what was typed.
func (f *drawsFlag) String() string { return strings.Join(f.typed, ",") }

// Type is what help calls the value.
func (f *drawsFlag) Type() string { return "material=lot" }

// named are the draws with full names.
func (f *drawsFlag) named(studio string) []*saggarv1.LotDraw {
	for _, draw := range f.draws {
		draw.Lot = convert.Name(studio, lotKind.collection, convert.ID(draw.GetLot()))
	}
	return f.draws
}
