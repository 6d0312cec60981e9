package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

func TestACheckShowsEachPersonsDay(t *testing.T) {
	f := newFakeServer(t)
	at := func(hour int) *timestamppb.Timestamp {
		return timestamppb.New(time.Date(2027, 3, 1, hour, 0, 0, 0, time.UTC))
	}
	exposure := func(authority string, minutes, mean, limit float64) *saggarv1.PersonExposure {
		return &saggarv1.PersonExposure{
			Species: "SO2", Authority: authority, Kind: "TWA", AveragingMinutes: minutes, MeanPpm: mean, LimitPpm: limit, Ratio: mean / limit,
		}
	}
	f.answer("CheckRun", &saggarv1.BookRunResponse{
		Runs: []*saggarv1.Run{{Title: "Blue"}},
		PersonDays: []*saggarv1.PersonDay{
			{Person: "mira", Date: "2027-03-01", Stays: []*saggarv1.PersonStay{
				{Room: "kiln-hall", StartTime: at(8), EndTime: at(12)}, {Room: "furnace-bay", StartTime: at(13), EndTime: at(16)},
			}, Exposures: []*saggarv1.PersonExposure{
				exposure("EU", 480, 0.4, 0.5), exposure("NIOSH", 600, 0.3, 2), exposure("NIOSH", 0, 1, 100), exposure("OSHA", 480, 0.4, 5),
			}},
			{Person: "tom", Date: "2027-03-02", Stays: []*saggarv1.PersonStay{{Room: "kiln-hall", StartTime: at(8), EndTime: at(9)}}},
		},
	})
	plan := f.written("plan.json", `{"runs": [{"name": "blue-one"}]}`)
	out := f.succeed("run", "check", "--plan", plan)
	golden(t, "person_days.table.golden", out)
}

func TestARunSaysWhoAttendsIt(t *testing.T) {
	f := newFakeServer(t)
	f.answer("BookRun", &saggarv1.BookRunResponse{})
	plan := f.written("plan.json", `{"runs": [{"name": "blue-one", "stage_windows": [{"stage": "calcine"}, {"stage": "reduce"}, {"stage": "oxidise"}]}]}`)
	f.succeed("run", "book", "--plan", plan, "--attended-by", "mira", "--attended-by", "reduce=tom")
	var who []string
	for _, w := range asked[*saggarv1.BookRunRequest](f).GetRuns()[0].GetStageWindows() {
		who = append(who, w.GetAttendedBy())
	}
	assert.Equal(t, []string{"mira", "tom", "mira"}, who)
	assert.Equal(t, 2, f.run("run", "book", "--plan", plan, "--attended-by", "polish=tom").code)
	assert.Equal(t, 2, f.run("run", "book", "--plan", plan, "--attended-by", "Tom Jones").code)
}

func TestARoomIsSignedOff(t *testing.T) {
	f := newFakeServer(t)
	f.answer("UpdateClosure", &saggarv1.Closure{Name: "studios/marl-lane/closures/night", Subject: "rooms/kiln-hall", Unoccupied: true})
	out := f.succeed("closure", "add", "night", "--subject", "rooms/kiln-hall", "--from", "2027-03-01 20:00", "--until", "2027-03-02 06:00", "--unoccupied")
	assert.Contains(t, out, "nobody inside")
	assert.True(t, asked[*saggarv1.UpdateClosureRequest](f).GetClosure().GetUnoccupied())
}
