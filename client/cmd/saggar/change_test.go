package main

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

func hour(day, hour int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2027, 3, day, hour, 0, 0, 0, time.UTC))
}

func calcine(day int) *saggarv1.NoticedRun {
	return &saggarv1.NoticedRun{Recipe: "blue", Department: "ceramics", Maker: "ada", Loads: []*saggarv1.NoticedLoad{
		{Stage: "weigh", Furnace: "dust-hood", StartTime: hour(1, 8), EndTime: hour(1, 9)},
		{Stage: "calcine", Furnace: "pot", StartTime: hour(day, 10), EndTime: hour(day+1, 8)},
	}}
}

func TestChangesAreToldInWords(t *testing.T) {
	for want, n := range map[string]*saggarv1.Notice{
		"ada booked run blue-7 (blue, ceramics): weigh on dust-hood Mon 1 Mar 08:00 - 09:00; calcine on pot Mon 1 Mar 10:00 - Tue 2 Mar 08:00": {
			Caller: "ada", Method: "BookRun", Subject: "runs/blue-7", RunAfter: calcine(1),
		},
		"tom moved run blue-7 (blue, ceramics) of ada: calcine on pot to Tue 2 Mar 10:00 - Wed 3 Mar 08:00": {
			Caller: "tom", Method: "MoveRuns", Subject: "runs/blue-7", RunBefore: calcine(1), RunAfter: calcine(2),
		},
		"tom added closure floor: room hall, Mon 1 Mar 08:00 - 17:00, new floor": {
			Caller: "tom", Method: "UpdateClosure", Subject: "closures/floor", Action: saggarv1.ChangeAction_CHANGE_ACTION_CREATED,
			Closure: &saggarv1.NoticedClosure{Subject: "rooms/hall", StartTime: hour(1, 8), EndTime: hour(1, 17), Reason: "new floor"},
		},
		"sue removed person ben": {
			Caller: "sue", Method: "DeletePerson", Subject: "people/ben", Action: saggarv1.ChangeAction_CHANGE_ACTION_REMOVED,
		},
		"sue changed staffed hours of room hall": {
			Caller: "sue", Method: "UpdateStaffedHours", Subject: "staffedHours/hall", Action: saggarv1.ChangeAction_CHANGE_ACTION_CHANGED,
		},
	} {
		assert.Equal(t, want, changeInWords(n, time.UTC))
	}
}

// TestChangesAreFollowedOverALostConnection answers five calls: a start, a change and a loss; a change and a loss; nothing,
// twice; a refusal.
func TestChangesAreFollowedOverALostConnection(t *testing.T) {
	f := newFakeServer(t)
	lost := status.Error(codes.Unavailable, "gone")
	notice := func(revision int64) *saggarv1.WatchStudioResponse {
		return &saggarv1.WatchStudioResponse{Revision: revision, Notices: []*saggarv1.Notice{{
			Revision: revision, ChangeTime: hour(1, 8), Caller: "sue", Method: "UpdateRoom", Subject: "rooms/bay\x1b[2J",
		}}}
	}
	f.answer("GetCaller", &saggarv1.Caller{Id: "ada-at-large", Memberships: []*saggarv1.Membership{
		{Studio: "studios/other", Person: "a"}, {Studio: "studios/marl-lane", Person: "ada"},
	}})
	var starts []int64
	f.stream("WatchStudio", func(m proto.Message) []any {
		request := m.(*saggarv1.WatchStudioRequest)
		starts = append(starts, request.GetAfterRevision())
		switch len(starts) {
		case 1:
			return []any{&saggarv1.WatchStudioResponse{Revision: 7}, notice(8), lost}
		case 2:
			return []any{&saggarv1.WatchStudioResponse{Revision: 8}, notice(10), lost}
		case 3, 4:
			return []any{lost}
		default:
			return []any{status.Error(codes.Unauthenticated, "revoked")}
		}
	})
	r := f.run("change", "follow", "--mine", "--furnace", "pot", "--kind", "runs", "--kind", "closures")
	assert.Equal(t, 4, r.code, r.errOut)
	assert.Equal(t, int64(0), starts[0])
	assert.Equal(t, int64(8), starts[1])
	for _, start := range starts[2:] { // the library below repeats what got no answer by itself
		assert.Equal(t, int64(10), start)
	}
	assert.Equal(t, 2, strings.Count(r.out, "Mon 1 Mar 08:00  sue changed room bay [2J\n"), r.out)
	assert.LessOrEqual(t, strings.Count(r.errOut, "the connection is lost"), 1, "a loss that is mended at once is not told: %s", r.errOut)
	request := asked[*saggarv1.WatchStudioRequest](f)
	assert.Equal(t, "ada", request.GetPerson())
	assert.Equal(t, []string{"runs", "closures"}, request.GetKinds())

	starts = nil
	r = f.run("change", "follow", "--output", "json", "--after-revision", "3")
	assert.Equal(t, 2, strings.Count(r.out, "\n"), "a line each: %s", r.out)
	assert.Contains(t, r.out, `"subject":"rooms/bay\u001b[2J"`)
	assert.Equal(t, 2, f.run("change", "follow", "--output", "csv").code)

	f.stream("WatchStudio", func(proto.Message) []any { return []any{lost} })
	assert.Equal(t, 5, f.run("change", "follow").code, "a server that is not there at the start is said to be")
}

func TestAnInterruptEndsFollowingWell(t *testing.T) {
	f := newFakeServer(t)
	ctx, cancel := context.WithCancel(t.Context())
	f.stream("WatchStudio", func(proto.Message) []any {
		cancel()
		return []any{&saggarv1.WatchStudioResponse{Revision: 7}, status.Error(codes.Unavailable, "gone")}
	})
	assert.Equal(t, 0, f.runIn(ctx, "", "change", "follow").code)
}
