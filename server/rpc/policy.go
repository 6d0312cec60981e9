package rpc

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// policyRow says who may call one method.
type policyRow struct {
	// least is the lowest role that may, in the studio that the request names; domain.RoleNone needs no key.
	least domain.Role
	// others is the lowest role that may do it to what belongs to somebody else; below it callers reach only their own.
	// domain.RoleNone: the method knows no owners. The operation gets it as app.Call.OwnOnly, since only under the studio's
	// lock it is certain whose a thing is.
	others domain.Role
	// anywhere methods name no studio: a part in any is enough.
	anywhere bool
	// exchange methods are open to one-time keys.
	exchange bool
	// lasting streams go on for as long as their caller likes; who calls is looked at again before each answer.
	lasting bool
}

// policy has a row for every method that the server serves; a method without one is refused.
var policy = map[string]policyRow{
	saggarv1.StudioService_LoadStudio_FullMethodName:   {least: domain.RoleSteward},
	saggarv1.StudioService_GetStudio_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.StudioService_ListStudios_FullMethodName:  {least: domain.RoleViewer, anywhere: true},
	saggarv1.StudioService_UpdateStudio_FullMethodName: {least: domain.RoleSteward},

	saggarv1.EquipmentService_GetRoom_FullMethodName:                 {least: domain.RoleViewer},
	saggarv1.EquipmentService_ListRooms_FullMethodName:               {least: domain.RoleViewer},
	saggarv1.EquipmentService_UpdateRoom_FullMethodName:              {least: domain.RoleSteward},
	saggarv1.EquipmentService_GetExtractionCircuit_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.EquipmentService_ListExtractionCircuits_FullMethodName:  {least: domain.RoleViewer},
	saggarv1.EquipmentService_UpdateExtractionCircuit_FullMethodName: {least: domain.RoleSteward},
	saggarv1.EquipmentService_GetSupply_FullMethodName:               {least: domain.RoleViewer},
	saggarv1.EquipmentService_ListSupplies_FullMethodName:            {least: domain.RoleViewer},
	saggarv1.EquipmentService_UpdateSupply_FullMethodName:            {least: domain.RoleSteward},
	saggarv1.EquipmentService_GetFurnace_FullMethodName:              {least: domain.RoleViewer},
	saggarv1.EquipmentService_ListFurnaces_FullMethodName:            {least: domain.RoleViewer},
	saggarv1.EquipmentService_UpdateFurnace_FullMethodName:           {least: domain.RoleSteward},
	saggarv1.EquipmentService_GetStaffedHours_FullMethodName:         {least: domain.RoleViewer},
	saggarv1.EquipmentService_ListStaffedHours_FullMethodName:        {least: domain.RoleViewer},
	saggarv1.EquipmentService_UpdateStaffedHours_FullMethodName:      {least: domain.RoleSteward},
	saggarv1.EquipmentService_GetClosure_FullMethodName:              {least: domain.RoleViewer},
	saggarv1.EquipmentService_ListClosures_FullMethodName:            {least: domain.RoleViewer},
	saggarv1.EquipmentService_UpdateClosure_FullMethodName:           {least: domain.RoleTechnician},
	saggarv1.EquipmentService_DeleteClosure_FullMethodName:           {least: domain.RoleTechnician},
	saggarv1.EquipmentService_GetVessel_FullMethodName:               {least: domain.RoleViewer},
	saggarv1.EquipmentService_ListVessels_FullMethodName:             {least: domain.RoleViewer},
	saggarv1.EquipmentService_UpdateVessel_FullMethodName:            {least: domain.RoleTechnician},
	saggarv1.EquipmentService_DeleteVessel_FullMethodName:            {least: domain.RoleTechnician},
	saggarv1.EquipmentService_GetGear_FullMethodName:                 {least: domain.RoleViewer},
	saggarv1.EquipmentService_ListGear_FullMethodName:                {least: domain.RoleViewer},
	saggarv1.EquipmentService_UpdateGear_FullMethodName:              {least: domain.RoleTechnician},
	saggarv1.EquipmentService_DeleteGear_FullMethodName:              {least: domain.RoleTechnician},
	saggarv1.EquipmentService_ListHolds_FullMethodName:               {least: domain.RoleViewer},

	saggarv1.MaterialService_GetMaterial_FullMethodName:           {least: domain.RoleViewer},
	saggarv1.MaterialService_ListMaterials_FullMethodName:         {least: domain.RoleViewer},
	saggarv1.MaterialService_CreateMaterialVersion_FullMethodName: {least: domain.RoleSteward},

	saggarv1.LotService_CreateLot_FullMethodName:      {least: domain.RoleMaker, others: domain.RoleTechnician}, // departments
	saggarv1.LotService_GetLot_FullMethodName:         {least: domain.RoleViewer},
	saggarv1.LotService_ListLots_FullMethodName:       {least: domain.RoleViewer},
	saggarv1.LotService_UpdateLot_FullMethodName:      {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.LotService_TakeLot_FullMethodName:        {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.LotService_ReturnLot_FullMethodName:      {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.LotService_WeighLot_FullMethodName:       {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.LotService_ListLotEntries_FullMethodName: {least: domain.RoleViewer},

	saggarv1.RecipeService_GetRecipe_FullMethodName:           {least: domain.RoleViewer},
	saggarv1.RecipeService_ListRecipes_FullMethodName:         {least: domain.RoleViewer},
	saggarv1.RecipeService_CreateRecipeVersion_FullMethodName: {least: domain.RoleSteward},
	saggarv1.RecipeService_CheckRecipe_FullMethodName:         {least: domain.RoleViewer},

	saggarv1.RunService_BookRun_FullMethodName:    {least: domain.RoleMaker, others: domain.RoleTechnician}, // departments
	saggarv1.RunService_CheckRun_FullMethodName:   {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.RunService_MoveRun_FullMethodName:    {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.RunService_MoveRuns_FullMethodName:   {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.RunService_CancelRun_FullMethodName:  {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.RunService_GetRun_FullMethodName:     {least: domain.RoleViewer},
	saggarv1.RunService_ListRuns_FullMethodName:   {least: domain.RoleViewer},
	saggarv1.RunService_PlanRuns_FullMethodName:   {least: domain.RoleMaker},
	saggarv1.RunService_ReplanRuns_FullMethodName: {least: domain.RoleMaker, others: domain.RoleTechnician},

	saggarv1.FiringService_GetFiring_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.FiringService_ListFirings_FullMethodName:  {least: domain.RoleViewer},
	saggarv1.FiringService_ListOpenings_FullMethodName: {least: domain.RoleViewer},
	saggarv1.FiringService_BookFiring_FullMethodName:   {least: domain.RoleTechnician},
	saggarv1.FiringService_UpdateFiring_FullMethodName: {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.FiringService_CancelFiring_FullMethodName: {least: domain.RoleTechnician},

	saggarv1.ReportService_GetDaySheet_FullMethodName:       {least: domain.RoleViewer},
	saggarv1.ReportService_GetRiskAssessment_FullMethodName: {least: domain.RoleViewer},
	saggarv1.ReportService_GetReport_FullMethodName:         {least: domain.RoleTechnician},
	saggarv1.ReportService_GetDueChecks_FullMethodName:      {least: domain.RoleViewer},

	saggarv1.PeopleService_GetDepartment_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.PeopleService_ListDepartments_FullMethodName:  {least: domain.RoleViewer},
	saggarv1.PeopleService_UpdateDepartment_FullMethodName: {least: domain.RoleSteward},
	saggarv1.PeopleService_DeleteDepartment_FullMethodName: {least: domain.RoleSteward},
	saggarv1.PeopleService_GetPerson_FullMethodName:        {least: domain.RoleViewer, others: domain.RoleTechnician},
	saggarv1.PeopleService_ListPeople_FullMethodName:       {least: domain.RoleViewer, others: domain.RoleTechnician},
	saggarv1.PeopleService_UpdatePerson_FullMethodName:     {least: domain.RoleSteward},
	saggarv1.PeopleService_DeletePerson_FullMethodName:     {least: domain.RoleSteward},

	saggarv1.AllotmentService_GetAllotment_FullMethodName:       {least: domain.RoleViewer},
	saggarv1.AllotmentService_ListAllotments_FullMethodName:     {least: domain.RoleViewer},
	saggarv1.AllotmentService_UpdateAllotment_FullMethodName:    {least: domain.RoleSteward},
	saggarv1.AllotmentService_DeleteAllotment_FullMethodName:    {least: domain.RoleSteward},
	saggarv1.AllotmentService_GetTaughtHours_FullMethodName:     {least: domain.RoleViewer},
	saggarv1.AllotmentService_ListTaughtHours_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.AllotmentService_UpdateTaughtHours_FullMethodName:  {least: domain.RoleSteward},
	saggarv1.AllotmentService_DeleteTaughtHours_FullMethodName:  {least: domain.RoleSteward},
	saggarv1.AllotmentService_GetBookingLimit_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.AllotmentService_ListBookingLimits_FullMethodName:  {least: domain.RoleViewer},
	saggarv1.AllotmentService_UpdateBookingLimit_FullMethodName: {least: domain.RoleSteward},
	saggarv1.AllotmentService_DeleteBookingLimit_FullMethodName: {least: domain.RoleSteward},

	saggarv1.ClearanceService_GetClearanceRule_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.ClearanceService_ListClearanceRules_FullMethodName:  {least: domain.RoleViewer},
	saggarv1.ClearanceService_UpdateClearanceRule_FullMethodName: {least: domain.RoleSteward},
	saggarv1.ClearanceService_DeleteClearanceRule_FullMethodName: {least: domain.RoleSteward},
	// Rules name who may decide, whatever their role: the operation looks.
	saggarv1.ClearanceService_ClearRun_FullMethodName:        {least: domain.RoleViewer},
	saggarv1.ClearanceService_RefuseRun_FullMethodName:       {least: domain.RoleViewer},
	saggarv1.ClearanceService_ListWaitingRuns_FullMethodName: {least: domain.RoleViewer},

	saggarv1.TimeRequestService_CreateTimeRequest_FullMethodName: {least: domain.RoleMaker, others: domain.RoleTechnician}, // departments
	saggarv1.TimeRequestService_GetTimeRequest_FullMethodName:    {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.TimeRequestService_ListTimeRequests_FullMethodName:  {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.TimeRequestService_DeleteTimeRequest_FullMethodName: {least: domain.RoleMaker, others: domain.RoleTechnician},
	saggarv1.TimeRequestService_DeclineTimeOffer_FullMethodName:  {least: domain.RoleMaker, others: domain.RoleTechnician},

	saggarv1.ReadingService_CreateReading_FullMethodName: {least: domain.RoleMaker},
	saggarv1.ReadingService_GetReading_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.ReadingService_ListReadings_FullMethodName:  {least: domain.RoleViewer},
	saggarv1.ReadingService_CloseReading_FullMethodName:  {least: domain.RoleTechnician},

	saggarv1.TraceService_ListChanges_FullMethodName: {least: domain.RoleSteward},
	saggarv1.TraceService_VerifyTrace_FullMethodName: {least: domain.RoleSteward},

	saggarv1.FeedService_CreateFeed_FullMethodName: {least: domain.RoleViewer},
	saggarv1.FeedService_ListFeeds_FullMethodName:  {least: domain.RoleViewer, others: domain.RoleSteward},
	saggarv1.FeedService_RevokeFeed_FullMethodName: {least: domain.RoleViewer, others: domain.RoleSteward},

	saggarv1.MailService_GetMailChoice_FullMethodName:    {least: domain.RoleViewer, others: domain.RoleSteward},
	saggarv1.MailService_ListMailChoices_FullMethodName:  {least: domain.RoleViewer, others: domain.RoleSteward},
	saggarv1.MailService_UpdateMailChoice_FullMethodName: {least: domain.RoleViewer, others: domain.RoleSteward},

	saggarv1.WatchService_WatchStudio_FullMethodName: {least: domain.RoleViewer, lasting: true},

	saggarv1.AccessService_GetCaller_FullMethodName:         {least: domain.RoleViewer, anywhere: true, exchange: true},
	saggarv1.AccessService_CreateAccessKey_FullMethodName:   {least: domain.RoleSteward},
	saggarv1.AccessService_ListAccessKeys_FullMethodName:    {least: domain.RoleViewer, others: domain.RoleSteward},
	saggarv1.AccessService_RevokeAccessKey_FullMethodName:   {least: domain.RoleViewer, others: domain.RoleSteward},
	saggarv1.AccessService_ExchangeAccessKey_FullMethodName: {least: domain.RoleViewer, anywhere: true, exchange: true},

	"/grpc.health.v1.Health/Check":                                   {least: domain.RoleNone},
	"/grpc.health.v1.Health/List":                                    {least: domain.RoleNone},
	"/grpc.health.v1.Health/Watch":                                   {least: domain.RoleNone},
	"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      {least: domain.RoleNone},
	"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": {least: domain.RoleNone},
}

// isPublic reports whether a method needs no key.
func isPublic(method string) bool {
	row, ok := policy[method]
	return ok && row.least == domain.RoleNone
}

// authorise says who the caller is in the studio that a request names, and whether the method is limited there to what is
// theirs. It refuses who may not call it. Whether the studio stands is not looked at, so that a refusal does not tell.
func authorise(method string, who domain.Identity, studio string) (caller domain.Caller, ownOnly bool, err error) {
	row, ok := policy[method]
	if !ok {
		return caller, false, fmt.Errorf("bug: %s has no policy row", method)
	}
	if who.MustExchange && !row.exchange {
		return caller, false, &domain.Error{
			Kind: domain.ErrForbidden, Subject: who.ID, Message: "this key is for one use and must be exchanged first",
			Cure: "run 'saggar sign-in' with it, which keeps the lasting key for you",
		}
	}
	caller = who.In(studio)
	if row.anywhere {
		caller = who.Anywhere()
	}
	if caller.Role < row.least {
		return caller, false, forbidden(method, row, caller, studio)
	}
	return caller, caller.Role < row.others, nil
}

func forbidden(method string, row policyRow, caller domain.Caller, studio string) error {
	is := "a " + roleWord(caller.Role)
	if caller.Role == domain.RoleNone {
		is = "not a member of " + studioName(studio)
		if studio == "" {
			is = "not a member of the server as a whole"
		}
	}
	return &domain.Error{
		Kind: domain.ErrForbidden, Subject: caller.ID,
		Message: fmt.Sprintf("%s is for a %s or above, and %s is %s", shortMethod(method), roleWord(row.least), caller.ID, is),
		Cure:    "ask a steward for that role",
	}
}

// studioAsked is the id of the studio that a request names: by its name, its parent, or the name of the resource in it.
// Empty when it names none, or nothing that could be one.
func studioAsked(request proto.Message) string {
	if request == nil {
		return ""
	}
	m := request.ProtoReflect()
	for _, field := range []protoreflect.Name{"name", "parent"} {
		if descriptor := m.Descriptor().Fields().ByName(field); descriptor != nil && descriptor.Kind() == protoreflect.StringKind {
			return studioIn(m.Get(descriptor).String())
		}
	}
	for i := range m.Descriptor().Fields().Len() {
		field := m.Descriptor().Fields().Get(i)
		if field.Message() == nil || field.IsList() || field.IsMap() || field.Message().ParentFile().Package() != ourPackage {
			continue
		}
		if name := field.Message().Fields().ByName("name"); name != nil {
			return studioIn(m.Get(field).Message().Get(name).String())
		}
	}
	return ""
}

const ourPackage = "saggar.v1"

// studioIn is the studio's id in a resource name.
func studioIn(name string) string {
	rest, below := strings.CutPrefix(name, studiosPrefix)
	if !below {
		return ""
	}
	id, _, _ := strings.Cut(rest, "/")
	return id
}

// shortMethod is the RPC's own name, for example "BookRun".
func shortMethod(method string) string { return method[strings.LastIndexByte(method, '/')+1:] }

func roleWord(role domain.Role) string {
	return strings.ToLower(strings.TrimPrefix(roles.toProto(role).String(), "ROLE_"))
}
