package main

import (
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// runFlags say what a run is to be and when.
type runFlags struct {
	department, id      idFlag
	startStage, fromLot idFlag
	title, from, until  string
	scale               scaleFlags
	draws               drawsFlag
	joins               joinsFlag
}

// ofOneRun are the flags that say what one run is to be; a file of runs or a kept plan says it instead.
var ofOneRun = []string{"department", "id", "title", "factor", "product-grams", "crucibles", "from-lot", "start-stage", "lot", "join"}

func (r *runFlags) flags(command *cobra.Command) {
	flags := command.Flags()
	flags.Var(&r.department, "department", "id of the department that it is for")
	flags.Var(&r.id, "id", "id for the run (default: given by the server)")
	flags.StringVar(&r.title, "title", "", "what to call it (default: the recipe's title)")
	flags.Var(&r.fromLot, "from-lot", "id of the lot that it starts from; the scale is then all of it that is free unless given")
	flags.Var(&r.startStage, "start-stage", "id of the stage at which it starts from that lot (default: the first)")
	flags.Var(&r.draws, "lot", "MATERIAL=LOT: from which lot an addition is taken, MATERIAL@STAGE=LOT for one stage; may be repeated")
	flags.Var(&r.joins, "join", "STAGE=FIRING: ride in a shared firing instead of one of its own, with @LITERS behind it where\n"+
		"the recipe does not say how much room it takes; may be repeated")
	r.scale.flags(command)
	r.window(command)
}

func (r *runFlags) window(command *cobra.Command) {
	flags := command.Flags()
	flags.StringVar(&r.from, "from", "", "nothing starts before this local time, such as '2027-03-01 08:00' (default: now)")
	flags.StringVar(&r.until, "until", "", "everything is drawn by this local time (default: four weeks later)")
}

// request asks for the windows of runs.
func (r *runFlags) request(parent string, zone *time.Location, runs ...*saggarv1.Run) (*saggarv1.PlanRunsRequest, error) {
	start, end, err := span(r.from, r.until, zone)
	if err != nil {
		return nil, err
	}
	request := &saggarv1.PlanRunsRequest{Parent: parent, Runs: runs}
	if !start.IsZero() {
		request.StartTime = timestamppb.New(start)
	}
	if !end.IsZero() {
		request.EndTime = timestamppb.New(end)
	}
	return request, nil
}

func (r *runFlags) run(studio, recipe string) *saggarv1.Run {
	run := &saggarv1.Run{
		Recipe: convert.Name(studio, "recipes", recipe), Department: string(r.department), Title: r.title, Scale: r.scale.message(),
		StartStage: string(r.startStage), LotDraws: r.draws.named(studio), StageWindows: r.joins.named(studio),
	}
	if r.fromLot != "" {
		run.FromLot = convert.Name(studio, lotKind.collection, string(r.fromLot))
	}
	if r.id != "" {
		run.Name = convert.Name(studio, "runs", string(r.id))
	}
	return run
}
