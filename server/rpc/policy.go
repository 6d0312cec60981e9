package rpc

import (
	"fmt"
	"strings"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// policyRow says who may call one method.
type policyRow struct {
	// least is the lowest role that may; domain.RoleNone needs no key.
	least domain.Role
	// ownThings limits makers to what they made themselves. Whose a run is only the operation can see, so it enforces this
	// by the call's caller; here it is on record.
	ownThings bool
}

// policy has a row for every method that the server serves; a method without one is refused.
var policy = map[string]policyRow{
	saggarv1.StudioService_LoadStudio_FullMethodName:   {least: domain.RoleSteward},
	saggarv1.StudioService_GetStudio_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.StudioService_ListStudios_FullMethodName:  {least: domain.RoleViewer},
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

	saggarv1.MaterialService_GetMaterial_FullMethodName:           {least: domain.RoleViewer},
	saggarv1.MaterialService_ListMaterials_FullMethodName:         {least: domain.RoleViewer},
	saggarv1.MaterialService_CreateMaterialVersion_FullMethodName: {least: domain.RoleSteward},

	saggarv1.RecipeService_GetRecipe_FullMethodName:           {least: domain.RoleViewer},
	saggarv1.RecipeService_ListRecipes_FullMethodName:         {least: domain.RoleViewer},
	saggarv1.RecipeService_CreateRecipeVersion_FullMethodName: {least: domain.RoleSteward},
	saggarv1.RecipeService_CheckRecipe_FullMethodName:         {least: domain.RoleViewer},

	saggarv1.RunService_BookRun_FullMethodName:   {least: domain.RoleMaker},
	saggarv1.RunService_CheckRun_FullMethodName:  {least: domain.RoleMaker},
	saggarv1.RunService_MoveRun_FullMethodName:   {least: domain.RoleMaker, ownThings: true},
	saggarv1.RunService_CancelRun_FullMethodName: {least: domain.RoleMaker, ownThings: true},
	saggarv1.RunService_GetRun_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.RunService_ListRuns_FullMethodName:  {least: domain.RoleViewer},
	saggarv1.RunService_PlanRuns_FullMethodName:  {least: domain.RoleMaker},

	saggarv1.FiringService_GetFiring_FullMethodName:    {least: domain.RoleViewer},
	saggarv1.FiringService_ListFirings_FullMethodName:  {least: domain.RoleViewer},
	saggarv1.FiringService_ListOpenings_FullMethodName: {least: domain.RoleViewer},

	saggarv1.AccessService_GetCaller_FullMethodName:       {least: domain.RoleViewer},
	saggarv1.AccessService_CreateAccessKey_FullMethodName: {least: domain.RoleSteward},

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

// authorise refuses a caller whose role does not reach the method's row.
func authorise(method string, caller domain.Caller) error {
	row, ok := policy[method]
	if !ok {
		return fmt.Errorf("bug: %s has no policy row", method)
	}
	if caller.Role < row.least {
		return &domain.Error{
			Kind: domain.ErrForbidden, Subject: caller.ID,
			Message: fmt.Sprintf("%s is for a %s or above, and %s is a %s", shortMethod(method), roleWord(row.least),
				caller.ID, roleWord(caller.Role)),
			Cure: "ask a steward for a key with that role",
		}
	}
	return nil
}

// shortMethod is the RPC's own name, for example "BookRun".
func shortMethod(method string) string { return method[strings.LastIndexByte(method, '/')+1:] }

func roleWord(role domain.Role) string {
	return strings.ToLower(strings.TrimPrefix(roles.toProto(role).String(), "ROLE_"))
}
