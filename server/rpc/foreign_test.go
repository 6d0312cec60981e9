package rpc

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// foreignRequests ask studio south for what only studio north has, one for each method that can.
func foreignRequests(booked *saggarv1.Run) map[string]proto.Message {
	south := func(name string) string { return strings.Replace(name, north, "studios/south", 1) }
	const hall, kiln = "studios/south/rooms/hall", "studios/south/furnaces/pot"
	start, end := timestamppb.New(monday), timestamppb.New(monday.Add(28*24*time.Hour))
	requests := map[string]proto.Message{
		"GetRoom": &saggarv1.GetRoomRequest{Name: hall}, "UpdateRoom": &saggarv1.UpdateRoomRequest{Room: &saggarv1.Room{Name: hall, Title: "x"}},
		"GetFurnace":    &saggarv1.GetFurnaceRequest{Name: kiln},
		"UpdateFurnace": &saggarv1.UpdateFurnaceRequest{Furnace: &saggarv1.Furnace{Name: kiln, Title: "x"}},
		"UpdateSupply":  &saggarv1.UpdateSupplyRequest{Supply: &saggarv1.Supply{Name: "studios/south/supplies/panel", Title: "x"}},
		"UpdateExtractionCircuit": &saggarv1.UpdateExtractionCircuitRequest{
			ExtractionCircuit: &saggarv1.ExtractionCircuit{Name: "studios/south/extractionCircuits/fan", Title: "x"},
		},
		"UpdateStaffedHours": &saggarv1.UpdateStaffedHoursRequest{StaffedHours: &saggarv1.StaffedHours{Name: "studios/south/staffedHours/hall"}},
		"UpdateClosure":      &saggarv1.UpdateClosureRequest{Closure: &saggarv1.Closure{Name: "studios/south/closures/floor", Reason: "x"}},
		"GetSupply":          &saggarv1.GetSupplyRequest{Name: "studios/south/supplies/panel"},
		"GetExtractionCircuit": &saggarv1.GetExtractionCircuitRequest{
			Name: "studios/south/extractionCircuits/fan",
		},
		"GetStaffedHours": &saggarv1.GetStaffedHoursRequest{Name: "studios/south/staffedHours/hall"},
		"GetClosure":      &saggarv1.GetClosureRequest{Name: "studios/south/closures/floor"},
		"DeleteClosure":   &saggarv1.DeleteClosureRequest{Name: "studios/south/closures/floor"},
		"GetMaterial":     &saggarv1.GetMaterialRequest{Name: "studios/south/materials/goethite"},
		"GetRecipe":       &saggarv1.GetRecipeRequest{Name: "studios/south/recipes/red/versions/1"},
		"GetRun":          &saggarv1.GetRunRequest{Name: south(booked.GetName())},
		"CancelRun":       &saggarv1.CancelRunRequest{Name: south(booked.GetName())},
		"MoveRun":         &saggarv1.MoveRunRequest{Name: south(booked.GetName()), StageWindows: booked.GetStageWindows()},
		"GetFiring":       &saggarv1.GetFiringRequest{Name: south(booked.GetLoads()[0].GetFiring())},
		"ListFirings":     &saggarv1.ListFiringsRequest{Parent: "studios/south", StartTime: start, EndTime: end},
		"ListOpenings":    &saggarv1.ListOpeningsRequest{Parent: "studios/south", StartTime: start, EndTime: end},
	}
	pot, mask := "studios/south/vessels/pot-1", "studios/south/gear/mask-1"
	requests["GetVessel"], requests["DeleteVessel"] = &saggarv1.GetVesselRequest{Name: pot}, &saggarv1.DeleteVesselRequest{Name: pot}
	requests["UpdateVessel"] = &saggarv1.UpdateVesselRequest{Vessel: &saggarv1.MarkedVessel{Name: pot, Title: "x"}}
	requests["GetGear"], requests["DeleteGear"] = &saggarv1.GetGearRequest{Name: mask}, &saggarv1.DeleteGearRequest{Name: mask}
	requests["UpdateGear"] = &saggarv1.UpdateGearRequest{Gear: &saggarv1.Gear{Name: mask, Title: "x"}}
	ada, glass := "studios/south/people/ada", "studios/south/departments/glass"
	requests["GetPerson"], requests["DeletePerson"] = &saggarv1.GetPersonRequest{Name: ada}, &saggarv1.DeletePersonRequest{Name: ada}
	requests["UpdatePerson"] = &saggarv1.UpdatePersonRequest{Person: &saggarv1.Person{Name: ada, Title: "x"}}
	requests["GetDepartment"] = &saggarv1.GetDepartmentRequest{Name: glass}
	requests["DeleteDepartment"] = &saggarv1.DeleteDepartmentRequest{Name: glass}
	requests["UpdateDepartment"] = &saggarv1.UpdateDepartmentRequest{Department: &saggarv1.Department{Name: glass, Title: "x"}}
	clay := "studios/south/lots/clay"
	requests["GetLot"] = &saggarv1.GetLotRequest{Name: clay}
	requests["UpdateLot"] = &saggarv1.UpdateLotRequest{Lot: &saggarv1.Lot{Name: clay, Title: "x"}}
	requests["TakeLot"] = &saggarv1.TakeLotRequest{Name: clay, MassGrams: 1, Reason: "x"}
	requests["ReturnLot"] = &saggarv1.ReturnLotRequest{Name: clay, MassGrams: 1, Reason: "x"}
	requests["WeighLot"] = &saggarv1.WeighLotRequest{Name: clay, MassGrams: 1, Reason: "x"}
	requests["RevokeAccessKey"] = &saggarv1.RevokeAccessKeyRequest{Name: "studios/south/accessKeys/k1"}
	requests["GetMailChoice"] = &saggarv1.GetMailChoiceRequest{Name: "studios/south/mailChoices/mia"}
	requests["UpdateMailChoice"] = &saggarv1.UpdateMailChoiceRequest{MailChoice: &saggarv1.MailChoice{
		Name: "studios/south/mailChoices/mia", Email: "x@example.edu",
	}}
	requests["RevokeFeed"] = &saggarv1.RevokeFeedRequest{Name: "studios/south/feeds/f1"}
	rule := "studios/south/clearanceRules/much"
	requests["GetClearanceRule"] = &saggarv1.GetClearanceRuleRequest{Name: rule}
	requests["DeleteClearanceRule"] = &saggarv1.DeleteClearanceRuleRequest{Name: rule}
	requests["UpdateClearanceRule"] = &saggarv1.UpdateClearanceRuleRequest{ClearanceRule: &saggarv1.ClearanceRule{Name: rule, Title: "x"}}
	requests["ClearRun"] = &saggarv1.ClearRunRequest{Name: south(booked.GetName())}
	requests["RefuseRun"] = &saggarv1.RefuseRunRequest{Name: south(booked.GetName()), Note: "x"}
	requests["GetAllotment"] = &saggarv1.GetAllotmentRequest{Name: "studios/south/allotments/x"}
	requests["DeleteAllotment"] = &saggarv1.DeleteAllotmentRequest{Name: "studios/south/allotments/x"}
	requests["UpdateAllotment"] = &saggarv1.UpdateAllotmentRequest{Allotment: &saggarv1.Allotment{Name: "studios/south/allotments/x", Title: "x"}}
	requests["GetTaughtHours"] = &saggarv1.GetTaughtHoursRequest{Name: "studios/south/taughtHours/x"}
	requests["DeleteTaughtHours"] = &saggarv1.DeleteTaughtHoursRequest{Name: "studios/south/taughtHours/x"}
	requests["UpdateTaughtHours"] = &saggarv1.UpdateTaughtHoursRequest{TaughtHours: &saggarv1.TaughtHours{Name: "studios/south/taughtHours/x", Title: "x"}}
	requests["GetBookingLimit"] = &saggarv1.GetBookingLimitRequest{Name: "studios/south/bookingLimits/x"}
	requests["DeleteBookingLimit"] = &saggarv1.DeleteBookingLimitRequest{Name: "studios/south/bookingLimits/x"}
	requests["UpdateBookingLimit"] = &saggarv1.UpdateBookingLimitRequest{BookingLimit: &saggarv1.BookingLimit{Name: "studios/south/bookingLimits/x", Title: "x"}}
	requests["GetTimeRequest"] = &saggarv1.GetTimeRequestRequest{Name: "studios/south/timeRequests/t9"}
	requests["DeleteTimeRequest"] = &saggarv1.DeleteTimeRequestRequest{Name: "studios/south/timeRequests/t9"}
	requests["DeclineTimeOffer"] = &saggarv1.DeclineTimeOfferRequest{Name: "studios/south/timeRequests/t9"}
	requests["CreateTimeRequest"] = &saggarv1.CreateTimeRequestRequest{Parent: "studios/south", TimeRequest: &saggarv1.TimeRequest{
		Furnaces: []string{"pot"}, StartTime: start, EndTime: end, LeastMinutes: 60, Department: "pigments",
	}}
	requests["GetReading"] = &saggarv1.GetReadingRequest{Name: "studios/south/readings/m9"}
	requests["CloseReading"] = &saggarv1.CloseReadingRequest{Name: "studios/south/readings/m9", Reason: "x"}
	requests["CreateReading"] = &saggarv1.CreateReadingRequest{Parent: "studios/south", Reading: &saggarv1.Reading{
		Room: "bay", Species: "SO2", ReadTime: start, Instrument: "x",
	}}
	run := redRun()
	run.Recipe, run.StageWindows = "studios/south/recipes/red", booked.GetStageWindows()
	requests["BookRun"] = &saggarv1.BookRunRequest{Parent: "studios/south", Runs: []*saggarv1.Run{run}}
	requests["MoveRuns"] = &saggarv1.MoveRunsRequest{Parent: "studios/south", Moves: []*saggarv1.RunMove{{
		Name: strings.Replace(booked.GetName(), north, "studios/south", 1), StageWindows: booked.GetStageWindows(),
	}}}
	requests["ReplanRuns"] = &saggarv1.ReplanRunsRequest{Parent: "studios/south", Overruns: []*saggarv1.Overrun{{
		Firing: strings.Replace(booked.GetLoads()[0].GetFiring(), north, "studios/south", 1), EndTime: at(2028),
	}}}
	firing := south(booked.GetLoads()[0].GetFiring())
	requests["BookFiring"] = &saggarv1.BookFiringRequest{
		Parent: "studios/south", Furnace: "pot", Title: "x", StartTime: timestamppb.New(monday.Add(24 * time.Hour)),
		HeatProgram: &saggarv1.HeatProgram{Segments: []*saggarv1.Segment{{ToCelsius: 500}}}, Offer: &saggarv1.FiringOffer{Liters: 1, Grams: 1},
	}
	requests["UpdateFiring"] = &saggarv1.UpdateFiringRequest{Firing: &saggarv1.Firing{Name: firing, AttendedBy: "ada"}}
	requests["CancelFiring"] = &saggarv1.CancelFiringRequest{Name: firing}
	requests["GetDaySheet"] = &saggarv1.GetDaySheetRequest{Name: "studios/south/daySheets/2026-03-02", Room: "hall"}
	requests["GetRiskAssessment"] = &saggarv1.GetRiskAssessmentRequest{Name: south(booked.GetName()) + riskSuffix}
	requests["CheckRun"] = &saggarv1.CheckRunRequest{Parent: "studios/south", Runs: []*saggarv1.Run{run}}
	return requests
}

// aboutNoResource are methods that name nothing below a studio which could be another's.
var aboutNoResource = map[string]string{
	"LoadStudio": "makes what it names", "GetStudio": "names a studio only", "ListStudios": "names nothing",
	"UpdateStudio": "names a studio only", "CreateMaterialVersion": "makes what it names", "CreateRecipeVersion": "makes what it names",
	"CheckRecipe": "brings its recipe along", "PlanRuns": "reads its recipe as BookRun does", "GetCaller": "names nothing",
	"CreateLot": "makes what it names", "CreateAccessKey": "names nobody's thing", "CreateFeed": "names what the studio has by id",
	"ExchangeAccessKey": "names nothing", "WatchStudio": "names a studio only", "GetReport": "names a studio only", "GetDueChecks": "names a studio only",
	"VerifyTrace": "names a studio only", "ListChanges": "names a studio only",
}

func TestNoMethodReachesIntoAnotherStudio(t *testing.T) {
	t.Parallel()
	s := serve(t)
	contents := pigmentStudio()
	contents.Closures = []*saggarv1.Closure{{
		Name: north + "/closures/floor", Subject: "rooms/hall", StartTime: at(2027), EndTime: at(2028),
	}}
	contents.Vessels = []*saggarv1.MarkedVessel{{Name: north + "/vessels/pot-1", Kind: saggarv1.VesselKind_VESSEL_KIND_CRUCIBLE}}
	contents.Gear = []*saggarv1.Gear{{Name: north + "/gear/mask-1", Kind: saggarv1.GearKind_GEAR_KIND_GLOVES}}
	s.load(t, contents)
	booked := s.book(t, s.plan(t, redRun()))
	s.people(t)
	_, err := saggarv1.NewLotServiceClient(s.connection).CreateLot(s.steward(t), &saggarv1.CreateLotRequest{
		Parent: north, Lot: &saggarv1.Lot{Name: north + "/lots/clay", Material: "goethite", MassGrams: 100},
	})
	require.NoError(t, err)
	_, err = saggarv1.NewStudioServiceClient(s.connection).LoadStudio(s.steward(t), &saggarv1.LoadStudioRequest{
		Name: "studios/south", Contents: &saggarv1.StudioFile{Studio: &saggarv1.Studio{Name: "studios/south", TimeZone: "UTC"}},
	})
	require.NoError(t, err)
	requests := foreignRequests(booked)
	for _, method := range contractMethods(t) {
		name := string(method.Name())
		if aboutNoResource[name] != "" {
			continue
		}
		request, tried := requests[name]
		isList := strings.HasPrefix(name, "List")
		if !tried && isList {
			request = newMessage(t, method.Input())
			setField(request, "parent", "studios/south")
		}
		require.NotNil(t, request, "nobody has tried %s with another studio's names", name)
		answer, err := s.invoke(s.steward(t), t, method, request)
		if isList {
			assert.NoError(t, err, name)
			assert.True(t, proto.Equal(newMessage(t, method.Output()), answer), "%s shows %v", name, answer)
			continue
		}
		assert.Contains(t, []codes.Code{codes.NotFound, codes.InvalidArgument}, status.Code(err), "%s: %v", name, err)
	}
	stands, err := saggarv1.NewRunServiceClient(s.connection).GetRun(s.as(t, domain.RoleViewer), &saggarv1.GetRunRequest{Name: booked.GetName()})
	require.NoError(t, err)
	assert.True(t, proto.Equal(booked, stands), "north's run is as it was")
}

func newMessage(t *testing.T, descriptor protoreflect.MessageDescriptor) proto.Message {
	t.Helper()
	known, err := protoregistry.GlobalTypes.FindMessageByName(descriptor.FullName())
	require.NoError(t, err)
	return known.New().Interface()
}

func setField(m proto.Message, name protoreflect.Name, value string) {
	m.ProtoReflect().Set(m.ProtoReflect().Descriptor().Fields().ByName(name), protoreflect.ValueOfString(value))
}

func fullName(method protoreflect.MethodDescriptor) string {
	return "/" + string(method.Parent().FullName()) + "/" + string(method.Name())
}
