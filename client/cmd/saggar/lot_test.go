package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

func kaolinLot() *saggarv1.Lot {
	return &saggarv1.Lot{
		Name: "studios/marl-lane/lots/kaolin-3", Id: "kaolin-3", Material: "kaolin", MassGrams: 24000, ReservedGrams: 71, MadeOn: "2027-02-20",
		Owner: "mira", Department: "ceramics", Shared: true, Place: "shelf 3", SafetySheet: "https://sheets.example/kaolin",
		LowStockGrams: 25000, LowStock: true, AgeDays: 9, MoistureFraction: proto.Float64(0.012),
	}
}

func TestLotsAreAddedShownAndListed(t *testing.T) {
	f := newFakeServer(t)
	f.answer("GetLot", kaolinLot())
	golden(t, "lot.table.golden", f.succeed("lot", "show", "kaolin-3"))
	f.answer("ListLots", &saggarv1.ListLotsResponse{Lots: []*saggarv1.Lot{kaolinLot()}, NextPageToken: "more"},
		&saggarv1.ListLotsResponse{Lots: []*saggarv1.Lot{{Name: "x/blue-9", FromRun: "blue-one", FromStage: "reduce", MassGrams: 90}}})
	out := f.succeed("lot", "list", "--low", "--department", "ceramics", "--all", "--material", "kaolin", "--output", "csv")
	assert.Contains(t, out, "\nblue-9,\"blue-one, reduce\",90,")
	assertSame(t, &saggarv1.ListLotsRequest{
		Parent: "studios/marl-lane", Department: "ceramics", Material: "kaolin", LowStock: true, ShowEmpty: true, PageToken: "more",
	}, asked[*saggarv1.ListLotsRequest](f))

	f.answer("CreateLot", kaolinLot())
	f.succeed("lot", "add", "kaolin-3", "--material", "kaolin", "--grams", "24000", "--moisture", "0.012", "--department", "ceramics", "--shared",
		"--place", "shelf 3", "--low-stock-grams", "25000", "--made-on", "2027-02-20", "--safety-sheet", "https://sheets.example/kaolin")
	request := asked[*saggarv1.CreateLotRequest](f)
	assert.NotEmpty(t, request.GetRequestId())
	want := kaolinLot()
	want.Id, want.Owner, want.ReservedGrams, want.LowStock, want.AgeDays = "", "", 0, false, 0
	assertSame(t, want, request.GetLot())
	path := f.written("lot.yaml", "name: sinter-1\nphases: [{formula: SiO2, mass_fraction: 1}]\ntitle: Sinter\n")
	f.succeed("lot", "add", "--file", path, "--grams", "12")
	assertSame(t, &saggarv1.Lot{
		Name: "studios/marl-lane/lots/sinter-1", Title: "Sinter", MassGrams: 12, Phases: []*saggarv1.Phase{{Formula: "SiO2", MassFraction: 1}},
	}, asked[*saggarv1.CreateLotRequest](f).GetLot())
	f.succeed("lot", "add", "--from-run", "blue-one", "--from-stage", "reduce", "--grams", "90", "--moisture", "0")
	assertSame(t, &saggarv1.Lot{
		FromRun: "blue-one", FromStage: "reduce", MassGrams: 90, MoistureFraction: proto.Float64(0),
	}, asked[*saggarv1.CreateLotRequest](f).GetLot())
	assert.Equal(t, 2, f.run("lot", "add", "--from-run", "blue-one", "--grams", "90").code)

	f.answer("UpdateLot", kaolinLot())
	f.succeed("lot", "update", "--file", f.written("lot.yaml", "name: kaolin-3\nplace: cupboard\nshared: false\n"))
	assert.Equal(t, []string{"place", "shared"}, asked[*saggarv1.UpdateLotRequest](f).GetUpdateMask().GetPaths())
}

func TestALotsMassIsTakenReturnedAndWeighed(t *testing.T) {
	f := newFakeServer(t)
	f.answer("TakeLot", kaolinLot())
	f.succeed("lot", "take", "kaolin-3", "--grams", "71", "--reason", "weighed", "--load", "blue-one/calcine")
	take := asked[*saggarv1.TakeLotRequest](f)
	assert.NotEmpty(t, take.GetRequestId())
	take.RequestId = ""
	assertSame(t, &saggarv1.TakeLotRequest{
		Name: "studios/marl-lane/lots/kaolin-3", MassGrams: 71, Reason: "weighed", Load: "studios/marl-lane/runs/blue-one/loads/calcine",
	}, take)
	assert.Equal(t, 2, f.run("lot", "take", "kaolin-3", "--grams", "71", "--reason", "x", "--load", "blue-one").code)
	assert.Equal(t, 2, f.run("lot", "take", "kaolin-3", "--grams", "0", "--reason", "x").code)
	assert.Equal(t, 2, f.run("lot", "take", "kaolin-3", "--grams", "1").code, "a reason is asked for")
	f.answer("ReturnLot", kaolinLot())
	f.succeed("lot", "return", "kaolin-3", "--grams", "5", "--reason", "not needed")
	assert.InDelta(t, 5, asked[*saggarv1.ReturnLotRequest](f).GetMassGrams(), 0)
	f.answer("WeighLot", kaolinLot())
	f.succeed("lot", "weigh", "kaolin-3", "--grams", "23000", "--reason", "dried", "--moisture", "0", "--dried-on", "2027-03-01")
	weigh := asked[*saggarv1.WeighLotRequest](f)
	assert.Equal(t, []any{0.0, "2027-03-01"}, []any{*weigh.MoistureFraction, weigh.GetDriedOn()})

	at := timestamppb.New(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))
	f.answer("ListLotEntries", &saggarv1.ListLotEntriesResponse{LotEntries: []*saggarv1.LotEntry{
		{Lot: "kaolin-3", EntryTime: at, Caller: "mira", Kind: saggarv1.LotEntryKind_LOT_ENTRY_KIND_TAKEN, ChangeGrams: -71,
			ReservedChangeGrams: -71, MassGrams: 23929, Run: "studios/marl-lane/runs/blue-one", Reason: "weighed"},
		{Lot: "kaolin-3", EntryTime: at, Caller: "mira", Kind: saggarv1.LotEntryKind_LOT_ENTRY_KIND_CREATED, ChangeGrams: 24000, MassGrams: 24000},
	}})
	golden(t, "lot_history.table.golden", f.succeed("lot", "history", "kaolin-3"))
	assert.Equal(t, "kaolin-3", asked[*saggarv1.ListLotEntriesRequest](f).GetLot())
}

func TestARunNamesItsLots(t *testing.T) {
	f := newFakeServer(t)
	f.answer("PlanRuns", &saggarv1.PlanRunsResponse{Runs: []*saggarv1.Run{{Name: "studios/marl-lane/runs/blue-two"}}})
	f.succeed("run", "plan", "sodalite-blue", "--department", "conservation", "--start-stage", "oxidise", "--from-lot", "blue-9",
		"--lot", "sulfur=sulfur-1", "--lot", "soda@oxidise=soda-2")
	assertSame(t, &saggarv1.Run{
		Recipe: "studios/marl-lane/recipes/sodalite-blue", Department: "conservation", StartStage: "oxidise",
		FromLot: "studios/marl-lane/lots/blue-9", LotDraws: []*saggarv1.LotDraw{
			{Lot: "studios/marl-lane/lots/sulfur-1", Material: "sulfur"}, {Lot: "studios/marl-lane/lots/soda-2", Material: "soda", Stage: "oxidise"},
		},
	}, asked[*saggarv1.PlanRunsRequest](f).GetRuns()[0])
	assert.Equal(t, 2, f.run("run", "plan", "blue", "--department", "x", "--lot", "sulfur").code)

	f.answer("GetRun", &saggarv1.Run{Name: "studios/marl-lane/runs/blue-two", LotDraws: []*saggarv1.LotDraw{
		{Lot: "studios/marl-lane/lots/blue-9", Stage: "oxidise", MassGrams: 90, State: saggarv1.LotDrawState_LOT_DRAW_STATE_RESERVED},
	}})
	assert.Contains(t, f.succeed("run", "show", "blue-two"), "blue-9  what it starts from  oxidise   90  reserved")
}
