package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestTimeIsAskedForByMakersAndSeenByThemAndTechnicians(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	keys := s.people(t)
	booked := s.book(t, s.plan(t, redRun()))
	window := booked.GetStageWindows()[1]
	phases := window.GetPhases()
	client := saggarv1.NewTimeRequestServiceClient(s.connection)
	maker, technician := withKey(t, keys[domain.RoleMaker]), withKey(t, keys[domain.RoleTechnician])
	wish := &saggarv1.TimeRequest{
		Furnaces: []string{window.GetFurnace()}, StartTime: phases[0].GetStartTime(), EndTime: phases[len(phases)-1].GetEndTime(), LeastMinutes: 30,
		Department: "pigments", Note: "tiles",
	}
	made, err := client.CreateTimeRequest(maker, &saggarv1.CreateTimeRequestRequest{Parent: north, TimeRequest: wish})
	require.NoError(t, err)
	assert.Equal(t, "mia", made.GetAsker())
	assert.Equal(t, saggarv1.TimeRequestState_TIME_REQUEST_STATE_WAITING, made.GetState())
	other, err := client.CreateTimeRequest(technician, &saggarv1.CreateTimeRequestRequest{Parent: north, TimeRequest: wish})
	require.NoError(t, err)

	_, err = client.GetTimeRequest(maker, &saggarv1.GetTimeRequestRequest{Name: other.GetName()})
	assert.Equal(t, codes.NotFound, status.Code(err), "a maker sees their own")
	_, err = client.DeleteTimeRequest(maker, &saggarv1.DeleteTimeRequestRequest{Name: other.GetName()})
	assert.Equal(t, codes.NotFound, status.Code(err))
	for who, count := range map[domain.Role]int{domain.RoleMaker: 1, domain.RoleTechnician: 2, domain.RoleSteward: 2} {
		page, err := client.ListTimeRequests(withKey(t, keys[who]), &saggarv1.ListTimeRequestsRequest{Parent: north})
		require.NoError(t, err)
		assert.Len(t, page.GetTimeRequests(), count, "%v", who)
	}
	page, err := client.ListTimeRequests(technician, &saggarv1.ListTimeRequestsRequest{Parent: north, PageSize: 1})
	require.NoError(t, err)
	require.Len(t, page.GetTimeRequests(), 1)
	page, err = client.ListTimeRequests(technician, &saggarv1.ListTimeRequestsRequest{Parent: north, PageSize: 1, PageToken: page.GetNextPageToken()})
	require.NoError(t, err)
	assert.Equal(t, other.GetName(), page.GetTimeRequests()[0].GetName())

	_, err = saggarv1.NewRunServiceClient(s.connection).CancelRun(s.steward(t), &saggarv1.CancelRunRequest{Name: booked.GetName()})
	require.NoError(t, err)
	offered, err := client.GetTimeRequest(maker, &saggarv1.GetTimeRequestRequest{Name: made.GetName()})
	require.NoError(t, err)
	require.NotNil(t, offered.GetOffer())
	assert.Equal(t, window.GetFurnace(), offered.GetOffer().GetFurnace())
	_, err = client.DeclineTimeOffer(maker, &saggarv1.DeclineTimeOfferRequest{Name: made.GetName(), Etag: made.GetEtag()})
	assert.Equal(t, codes.Aborted, status.Code(err), "it changed since")
	declined, err := client.DeclineTimeOffer(maker, &saggarv1.DeclineTimeOfferRequest{Name: made.GetName(), Etag: offered.GetEtag()})
	require.NoError(t, err)
	assert.Nil(t, declined.GetOffer())
	passed, err := client.GetTimeRequest(technician, &saggarv1.GetTimeRequestRequest{Name: other.GetName()})
	require.NoError(t, err)
	assert.NotNil(t, passed.GetOffer())
	_, err = client.DeclineTimeOffer(maker, &saggarv1.DeclineTimeOfferRequest{Name: made.GetName()})
	assert.Equal(t, codes.FailedPrecondition, status.Code(err))
	_, err = client.DeleteTimeRequest(maker, &saggarv1.DeleteTimeRequestRequest{Name: made.GetName()})
	require.NoError(t, err)

	bad := []string{"time_request.furnaces[0]"}
	wish.Furnaces = []string{"none"}
	_, err = client.CreateTimeRequest(maker, &saggarv1.CreateTimeRequestRequest{Parent: north, TimeRequest: wish})
	assert.Equal(t, bad, fieldsOf(err))
	_, err = client.CreateTimeRequest(maker, &saggarv1.CreateTimeRequestRequest{Parent: north, TimeRequest: &saggarv1.TimeRequest{}})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
}
