package rpc

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

func rulesForTest(t *testing.T) *fieldRules {
	t.Helper()
	rules, err := newFieldRules()
	require.NoError(t, err)
	return rules
}

func at(year int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC))
}

func furnaceWith(change func(*saggarv1.Furnace)) *saggarv1.LoadStudioRequest {
	furnace := &saggarv1.Furnace{
		Name: "studios/north/furnaces/muffle", Room: "hall", Source: saggarv1.HeatSource_HEAT_SOURCE_ELECTRIC, TopCelsius: 1200,
	}
	change(furnace)
	return &saggarv1.LoadStudioRequest{Name: "studios/north", Contents: &saggarv1.StudioFile{Furnaces: []*saggarv1.Furnace{furnace}}}
}

func TestFieldRulesNameTheFieldAndTheValue(t *testing.T) {
	rules := rulesForTest(t)
	const furnace = "contents.furnaces[0]"
	closure := func(c *saggarv1.Closure) proto.Message {
		return &saggarv1.LoadStudioRequest{Name: "studios/north", Contents: &saggarv1.StudioFile{Closures: []*saggarv1.Closure{c}}}
	}
	cases := map[string]struct {
		request proto.Message
		field   string
		says    string
	}{
		"above the range":    {furnaceWith(func(f *saggarv1.Furnace) { f.TopCelsius = 2500 }), furnace + ".top_celsius", "2500"},
		"not a number":       {furnaceWith(func(f *saggarv1.Furnace) { f.TopCelsius = math.NaN() }), furnace + ".top_celsius", "finite"},
		"infinite":           {furnaceWith(func(f *saggarv1.Furnace) { f.ChamberLiters = math.Inf(1) }), furnace + ".chamber_liters", "finite"},
		"nan deep down":      {furnaceWith(func(f *saggarv1.Furnace) { f.HeatingTimes = []*saggarv1.Timing{{Minutes: math.NaN()}} }), furnace + ".heating_times[0].minutes", "finite"},
		"nan in a figure":    {furnaceWith(func(f *saggarv1.Furnace) { f.Capture = &saggarv1.Capture{ClosedFraction: math.NaN()} }), furnace + ".capture.closed_fraction", "finite"},
		"control character":  {furnaceWith(func(f *saggarv1.Furnace) { f.Title = "big\x07kiln" }), furnace + ".title", `'\a'`},
		"line break":         {furnaceWith(func(f *saggarv1.Furnace) { f.Title = "big\nkiln" }), furnace + ".title", `'\n'`},
		"turned around":      {furnaceWith(func(f *saggarv1.Furnace) { f.Title = "big\u202enlik" }), furnace + ".title", `'\u202e'`},
		"unknown choice":     {furnaceWith(func(f *saggarv1.Furnace) { f.Source = 99 }), furnace + ".source", "99"},
		"missing choice":     {furnaceWith(func(f *saggarv1.Furnace) { f.Source = 0 }), furnace + ".source", "HEAT_SOURCE_UNSPECIFIED"},
		"bad name":           {&saggarv1.GetRoomRequest{Name: "studios/North/rooms/x"}, "name", `"studios/North/rooms/x"`},
		"before this world":  {closure(&saggarv1.Closure{Name: "studios/north/closures/a", Subject: "rooms/a", StartTime: at(1999), EndTime: at(2030)}), "contents.closures[0].start_time", "2000 to 2099"},
		"after it":           {closure(&saggarv1.Closure{Name: "studios/north/closures/a", Subject: "rooms/a", StartTime: at(2030), EndTime: at(2100)}), "contents.closures[0].end_time", "2000 to 2099"},
		"no instant":         {closure(&saggarv1.Closure{Name: "studios/north/closures/a", Subject: "rooms/a", StartTime: &timestamppb.Timestamp{Nanos: -1}, EndTime: at(2030)}), "contents.closures[0].start_time", "not an instant"},
		"request id":         {&saggarv1.CancelRunRequest{Name: "studios/north/runs/a", RequestId: "not-a-uuid"}, "request_id", `"not-a-uuid"`},
		"negative page size": {&saggarv1.ListRoomsRequest{Parent: "studios/north", PageSize: -1}, "page_size", "-1"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			faults := rules.check(c.request)
			require.NotEmpty(t, faults)
			assert.Equal(t, c.field, faults[0].Field)
			assert.Contains(t, faults[0].Message, c.says)
		})
	}
}

func TestFieldRulesLetSoundRequestsPass(t *testing.T) {
	rules := rulesForTest(t)
	assert.Empty(t, rules.check(furnaceWith(func(f *saggarv1.Furnace) { f.TopCelsius = 2000; f.Title = "Großer Ofen №3 — ספיר" })))
	assert.Empty(t, rules.check(&saggarv1.GetCallerRequest{}))
	assert.Empty(t, rules.check(&saggarv1.CancelRunRequest{
		Name: "studios/north/runs/a", RequestId: "0E5BF9A2-8D7E-4C58-9D42-4C6C6C8B0C11",
	}))
}

func TestAllFaultsAreFoundAtOnce(t *testing.T) {
	faults := rulesForTest(t).check(furnaceWith(func(f *saggarv1.Furnace) {
		f.TopCelsius, f.NetKilowatts, f.Room = 5000, -1, "Not An Id"
	}))
	assert.Len(t, faults, 3)
}

func TestARequestOfTooManyPartsIsOneFault(t *testing.T) {
	rules := rulesForTest(t)
	stages := make([]*saggarv1.Stage, mostParts+1)
	for i := range stages {
		stages[i] = &saggarv1.Stage{}
	}
	for name, recipe := range map[string]*saggarv1.Recipe{
		"messages": {Name: "studios/north/recipes/red", Stages: stages},
		"texts":    {Name: "studios/north/recipes/red", Stages: []*saggarv1.Stage{{Furnaces: make([]string, mostParts)}}},
	} {
		faults := rules.check(&saggarv1.CheckRecipeRequest{Parent: "studios/north", Recipe: recipe})
		require.Len(t, faults, 1, name)
		assert.Equal(t, "recipe", faults[0].Field)
		assert.Contains(t, faults[0].Message, "50000 items")
	}
}

func TestFaultsAreCountedToABound(t *testing.T) {
	contents := &saggarv1.StudioFile{}
	for range mostFaults + 1 {
		contents.Supplies = append(contents.Supplies, &saggarv1.Supply{LimitKilowatts: math.NaN()})
	}
	faults, whole := plainFaults(contents)
	assert.True(t, whole)
	assert.Len(t, faults, mostFaults)
}

func TestAnUpdateIsHeldToItsPopulatedFieldsOnly(t *testing.T) {
	rules := rulesForTest(t)
	request := &saggarv1.UpdateRoomRequest{
		Room: &saggarv1.Room{Name: "studios/north/rooms/hall", Title: "Hall"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"title"}},
	}
	assert.Empty(t, rules.check(request), "volume_cubic_meters stays as it stands")
	assert.NotEmpty(t, rules.contract(request.GetRoom()), "but the merged room needs one")

	request.Room.VolumeCubicMeters = 0.5
	faults := rules.check(request)
	require.Len(t, faults, 1)
	assert.Equal(t, "room.volume_cubic_meters", faults[0].Field)

	request.Room = &saggarv1.Room{Name: "studios/north/rooms/hall", Transfers: []*saggarv1.Transfer{{}}}
	faults = rules.check(request)
	require.NotEmpty(t, faults, "what is inside a populated field is held to the contract as a whole")
	assert.Equal(t, "room.transfers[0].to_room", faults[0].Field)

	assert.NotEmpty(t, rules.check(&saggarv1.UpdateRoomRequest{}), "the resource itself is required")
}
