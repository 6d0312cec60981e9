package rpc

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// withRules is the invented studio with two rules of clearance.
func withRules() *saggarv1.StudioFile {
	contents := pigmentStudio()
	contents.ClearanceRules = []*saggarv1.ClearanceRule{
		{
			Name: north + "/clearanceRules/first", Title: "First time", FirstRun: true, ClearingRole: saggarv1.Role_ROLE_TECHNICIAN,
			ExpiresAfterHours: 1.5,
		},
		{
			Name: north + "/clearanceRules/late", ClearingRole: saggarv1.Role_ROLE_STEWARD, Furnaces: []string{"pot"},
			OutsideHours: []*saggarv1.WeeklyHours{{Days: []saggarv1.Weekday{1, 2}, Opens: "08:00", Closes: "24:00"}},
		},
	}
	return contents
}

func TestRulesOfClearanceAreLoadedShownChangedAndDeleted(t *testing.T) {
	t.Parallel()
	s := serve(t)
	contents := withRules()
	s.load(t, contents)
	assert.Equal(t, int32(0), s.load(t, contents).GetUpdatedCount(), "the same file again changes nothing")
	client := saggarv1.NewClearanceServiceClient(s.connection)
	list, err := client.ListClearanceRules(s.as(t, domain.RoleViewer), &saggarv1.ListClearanceRulesRequest{Parent: north, PageSize: 1})
	require.NoError(t, err)
	require.Len(t, list.GetClearanceRules(), 1)
	assert.NotEmpty(t, list.GetNextPageToken())
	first := list.GetClearanceRules()[0]
	assert.Equal(t, "First time", first.GetTitle())
	assert.Equal(t, 1.5, first.GetExpiresAfterHours())
	late, err := client.GetClearanceRule(s.as(t, domain.RoleViewer), &saggarv1.GetClearanceRuleRequest{Name: north + "/clearanceRules/late"})
	require.NoError(t, err)
	assert.Equal(t, "24:00", late.GetOutsideHours()[0].GetCloses())

	changed, err := client.UpdateClearanceRule(s.steward(t), &saggarv1.UpdateClearanceRuleRequest{
		ClearanceRule: &saggarv1.ClearanceRule{Name: first.GetName(), Title: "Newcomers", Etag: first.GetEtag()},
	})
	require.NoError(t, err)
	assert.True(t, changed.GetFirstRun(), "what is not given stays")
	_, err = client.UpdateClearanceRule(s.steward(t), &saggarv1.UpdateClearanceRuleRequest{
		ClearanceRule: &saggarv1.ClearanceRule{Name: first.GetName(), Title: "Late", Etag: first.GetEtag()},
	})
	assert.Equal(t, codes.Aborted, status.Code(err))
	for field, bad := range map[string]*saggarv1.ClearanceRule{
		"clearance_rule.off_gas.species":          {OffGas: &saggarv1.OffGasAbove{Species: "Xx9", Grams: 1}, ClearingRole: saggarv1.Role_ROLE_STEWARD},
		"clearance_rule.off_gas.grams_per_minute": {OffGas: &saggarv1.OffGasAbove{Species: "CO", GramsPerMinute: -1}, ClearingRole: saggarv1.Role_ROLE_STEWARD},
		"clearance_rule.charged_from_celsius":     {ChargedFromCelsius: -40, ClearingRole: saggarv1.Role_ROLE_STEWARD},
		"clearance_rule.clearing_role":            {FirstRun: true},
		"clearance_rule.clearing_people[0]":       {FirstRun: true, ClearingPeople: []string{"nobody"}},
		"clearance_rule":                          {ClearingRole: saggarv1.Role_ROLE_STEWARD},
	} {
		bad.Name = north + "/clearanceRules/bad"
		_, err := client.UpdateClearanceRule(s.steward(t), &saggarv1.UpdateClearanceRuleRequest{ClearanceRule: bad, AllowMissing: true})
		assert.Equal(t, []string{field}, fieldsOf(err), "%v", err)
	}
	wrong := withRules()
	wrong.ClearanceRules[1].Furnaces = []string{"pot", "none"}
	wrong.ClearanceRules[1].Title = "changed"
	_, err = saggarv1.NewStudioServiceClient(s.connection).LoadStudio(s.steward(t), &saggarv1.LoadStudioRequest{Name: north, Contents: wrong})
	assert.Equal(t, []string{"contents.clearance_rules[1].furnaces[1]"}, fieldsOf(err))
	_, err = client.DeleteClearanceRule(s.steward(t), &saggarv1.DeleteClearanceRuleRequest{Name: first.GetName()})
	require.NoError(t, err)
	_, err = client.GetClearanceRule(s.steward(t), &saggarv1.GetClearanceRuleRequest{Name: first.GetName()})
	assert.Equal(t, codes.NotFound, status.Code(err))
}

// TestARunWaitsIsClearedAndRefusedOverTheWire books as a maker, for whom a technician clears.
func TestARunWaitsIsClearedAndRefusedOverTheWire(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, withRules())
	keys := s.people(t)
	maker, technician := withKey(t, keys[domain.RoleMaker]), withKey(t, keys[domain.RoleTechnician])
	runs, client := saggarv1.NewRunServiceClient(s.connection), saggarv1.NewClearanceServiceClient(s.connection)
	planned := s.plan(t, redRun())
	checked, err := runs.CheckRun(maker, &saggarv1.CheckRunRequest{Parent: north, Runs: planned.GetRuns()})
	require.NoError(t, err)
	require.NotEmpty(t, checked.GetRuns()[0].GetClearances())
	assert.Equal(t, "first", checked.GetRuns()[0].GetClearances()[0].GetRule())
	assert.Equal(t, saggarv1.ClearanceState_CLEARANCE_STATE_WAITING, checked.GetRuns()[0].GetClearances()[0].GetState())
	request := bookRequest(planned)
	request.AcknowledgedFindingCodes = codesOf(checked.GetFindings())
	answer, err := runs.BookRun(maker, request)
	require.NoError(t, err)
	run := answer.GetRuns()[0]
	assert.Equal(t, saggarv1.RunState_RUN_STATE_TENTATIVE, run.GetState())
	assert.Equal(t, monday.Add(30*time.Minute), run.GetExpireTime().AsTime(), "an hour and a half from the booking")

	for _, c := range []struct {
		mine bool
		role domain.Role
		want int
	}{{false, domain.RoleViewer, 1}, {true, domain.RoleViewer, 0}, {true, domain.RoleMaker, 0}, {true, domain.RoleTechnician, 1}} {
		list, err := client.ListWaitingRuns(withKey(t, keys[c.role]), &saggarv1.ListWaitingRunsRequest{Parent: north, OnlyMine: c.mine})
		require.NoError(t, err)
		assert.Len(t, list.GetWaitingRuns(), c.want, "%+v", c)
	}
	_, err = client.ClearRun(maker, &saggarv1.ClearRunRequest{Name: run.GetName()})
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	assert.ErrorContains(t, err, "nobody clears a run of their own")
	_, err = client.ClearRun(withKey(t, keys[domain.RoleViewer]), &saggarv1.ClearRunRequest{Name: run.GetName()})
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	assert.ErrorContains(t, err, "a technician or above")
	_, err = client.ClearRun(technician, &saggarv1.ClearRunRequest{Name: run.GetName(), Etag: "r1"})
	assert.Equal(t, codes.Aborted, status.Code(err))
	clear := &saggarv1.ClearRunRequest{Name: run.GetName(), Etag: run.GetEtag(), Note: "shown on Friday", RequestId: uuid.NewString()}
	cleared, err := client.ClearRun(technician, clear)
	require.NoError(t, err)
	assert.Equal(t, saggarv1.RunState_RUN_STATE_CONFIRMED, cleared.GetState())
	assert.Equal(t, "tom", cleared.GetClearances()[0].GetDecidedBy())
	assert.Equal(t, "shown on Friday", cleared.GetClearances()[0].GetNote())
	assert.Nil(t, cleared.GetExpireTime())
	repeated, err := client.ClearRun(technician, clear)
	require.NoError(t, err)
	assert.Equal(t, cleared.GetEtag(), repeated.GetEtag(), "a repeat clears nothing twice")
	clear.RequestId = ""
	clear.Etag = ""
	_, err = client.ClearRun(technician, clear)
	assert.Equal(t, codes.FailedPrecondition, status.Code(err))
	_, err = client.RefuseRun(technician, &saggarv1.RefuseRunRequest{Name: run.GetName()})
	assert.Equal(t, []string{"note"}, fieldsOf(err))
}
