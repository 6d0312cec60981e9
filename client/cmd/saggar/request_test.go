package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/types/known/emptypb"

	saggarv1 "saggar/proto/saggar/v1"
)

func timeRequests() []*saggarv1.TimeRequest {
	waits := &saggarv1.TimeRequest{
		Name: "studios/marl-lane/timeRequests/t17", Furnaces: []string{"muffle", "pot"}, StartTime: instant("2027-03-01T08:00:00Z"),
		EndTime: instant("2027-03-03T20:00:00Z"), LeastMinutes: 240, Department: "glass", Note: "small tiles", Asker: "ada",
		State: saggarv1.TimeRequestState_TIME_REQUEST_STATE_WAITING,
	}
	offered := &saggarv1.TimeRequest{
		Name: "studios/marl-lane/timeRequests/t19", Furnaces: []string{"muffle"}, StartTime: instant("2027-03-01T08:00:00Z"),
		EndTime: instant("2027-03-02T20:00:00Z"), LeastMinutes: 60, Department: "ceramics", Asker: "ben",
		State: saggarv1.TimeRequestState_TIME_REQUEST_STATE_OFFERED, Offer: &saggarv1.TimeOffer{
			Furnace: "muffle", StartTime: instant("2027-03-01T10:00:00Z"), EndTime: instant("2027-03-01T16:00:00Z"),
			ExpireTime: instant("2027-03-01T09:30:00Z"),
		},
	}
	return []*saggarv1.TimeRequest{waits, offered}
}

func TestTimeIsAskedForListedDeclinedAndWithdrawn(t *testing.T) {
	f := newFakeServer(t)
	both := timeRequests()
	f.answer("CreateTimeRequest", both[0])
	f.succeed("request", "add", "--furnace", "muffle", "--furnace", "pot", "--from", "2027-03-01 08:00", "--until", "2027-03-03 20:00",
		"--minutes", "240", "--department", "glass", "--note", "small tiles")
	assertSame(t, &saggarv1.TimeRequest{
		Furnaces: []string{"muffle", "pot"}, StartTime: instant("2027-03-01T08:00:00Z"), EndTime: instant("2027-03-03T20:00:00Z"),
		LeastMinutes: 240, Department: "glass", Note: "small tiles",
	}, asked[*saggarv1.CreateTimeRequestRequest](f).GetTimeRequest())
	assert.Equal(t, 2, f.run("request", "add", "--furnace", "muffle", "--from", "soon", "--until", "2027-03-03 20:00", "--minutes", "1", "--department", "x").code)
	assert.Equal(t, 2, f.run("request", "add", "--furnace", "muffle").code)

	f.answer("ListTimeRequests", &saggarv1.ListTimeRequestsResponse{TimeRequests: both})
	golden(t, "requests.table.golden", f.succeed("request", "list"))
	golden(t, "requests.json.golden", f.succeed("request", "list", "--output", "json"))
	f.succeed("request", "list", "--show-ended")
	assert.True(t, asked[*saggarv1.ListTimeRequestsRequest](f).GetShowEnded())
	f.answer("DeclineTimeOffer", both[0])
	f.succeed("request", "decline", "t19")
	assert.Equal(t, "studios/marl-lane/timeRequests/t19", asked[*saggarv1.DeclineTimeOfferRequest](f).GetName())
	f.answer("DeleteTimeRequest", &emptypb.Empty{})
	f.answer("GetTimeRequest", both[0])
	f.succeed("request", "remove", "t17")
	assert.Equal(t, "studios/marl-lane/timeRequests/t17", asked[*saggarv1.DeleteTimeRequestRequest](f).GetName())
}

func TestAnOfferIsToldInOneLine(t *testing.T) {
	told := changeInWords(&saggarv1.Notice{
		Caller: "saggard", Method: "OfferTime", Subject: "timeRequests/t19", Action: saggarv1.ChangeAction_CHANGE_ACTION_CHANGED,
		TimeOffer: timeRequests()[1].GetOffer(),
	}, time.UTC)
	assert.Equal(t, "saggard changed request for time t19: muffle Mon 1 Mar 10:00 - 16:00, held until Mon 1 Mar 09:30", told)
}
