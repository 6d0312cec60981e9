package rpc

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"pgregory.net/rapid"

	"saggar/chem/finding"
	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestPageSizes(t *testing.T) {
	for given, want := range map[int32]int{0: 100, 1: 1, 1000: 1000, 1001: 1000, 1 << 30: 1000} {
		assert.Equal(t, want, pageSize(&saggarv1.ListRoomsRequest{PageSize: given}))
	}
}

func TestAPageTokenLeadsBackToItsPosition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		position := rapid.StringMatching(`[ -~]{1,80}`).Draw(t, "position")
		req := &saggarv1.ListRunsRequest{Parent: "studios/north", Department: "glass", PageSize: 10}
		req.PageToken = pageToken(context.Background(), req, position)
		got, err := pagePosition(context.Background(), req)
		if err != nil || got != position {
			t.Fatalf("%q came back as %q, %v", position, got, err)
		}
		req.PageSize = 20
		if got, err := pagePosition(context.Background(), req); err != nil || got != position {
			t.Fatal("the size of the page may change along the way")
		}
	})
}

func TestForeignPageTokensAreRefused(t *testing.T) {
	own := &saggarv1.ListRunsRequest{Parent: "studios/north", Department: "glass"}
	token := pageToken(context.Background(), own, "7")
	cases := map[string]listRequest{
		"another studio":     &saggarv1.ListRunsRequest{Parent: "studios/south", Department: "glass", PageToken: token},
		"another department": &saggarv1.ListRunsRequest{Parent: "studios/north", PageToken: token},
		"another list":       &saggarv1.ListRoomsRequest{Parent: "studios/north", PageToken: token},
		"garbled":            &saggarv1.ListRunsRequest{Parent: "studios/north", Department: "glass", PageToken: "!" + token},
		"cut":                &saggarv1.ListRunsRequest{Parent: "studios/north", Department: "glass", PageToken: token[:5]},
		"without a position": &saggarv1.ListRunsRequest{Parent: "studios/north", Department: "glass", PageToken: pageToken(context.Background(), own, "")},
		"with a zero":        &saggarv1.ListRunsRequest{Parent: "studios/north", Department: "glass", PageToken: pageToken(context.Background(), own, "7\x00")},
		"that is no text":    &saggarv1.ListRunsRequest{Parent: "studios/north", Department: "glass", PageToken: pageToken(context.Background(), own, "\xff")},
	}
	for name, req := range cases {
		t.Run(name, func(t *testing.T) {
			_, err := pagePosition(context.Background(), req)
			faults := finding.FaultsOf(err)
			require.Len(t, faults, 1)
			assert.Equal(t, "page_token", faults[0].Field)
		})
	}
}

// TestAPageTokenMadeByHandReachesNoFurther forges tokens for every list: the hash in them is no secret.
func TestAPageTokenMadeByHandReachesNoFurther(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	keys := s.people(t)
	as := context.WithValue(context.Background(), requestKey{}, &request{caller: domain.Caller{ID: memberIDs[domain.RoleSteward]}})
	forged := 0
	for _, method := range contractMethods(t) {
		request, isList := newMessage(t, method.Input()).(parentListRequest)
		if !isList {
			continue
		}
		setField(request, "parent", north)
		for _, position := range []string{"\x00", "\xff\xfe", "' OR 1=1 --", "../../south", "-9999999999999999999", " ", "zzzzzzzzzzzzzzzzzzzzzz"} {
			setField(request, "page_token", pageToken(as, request, position))
			err := s.connection.Invoke(withKey(t, keys[domain.RoleSteward]), fullName(method), request, newMessage(t, method.Output()))
			assert.Contains(t, []codes.Code{codes.OK, codes.InvalidArgument}, status.Code(err), "%s at %q: %v", method.Name(), position, err)
			forged++
		}
	}
	assert.Greater(t, forged, 70)
}

func FuzzPageTokensNeverBreakTheServer(f *testing.F) {
	f.Add("", "")
	f.Add(pageToken(context.Background(), &saggarv1.ListFiringsRequest{}, "1 2"), "x")
	f.Fuzz(func(t *testing.T, token, parent string) {
		_, err := keyPosition(context.Background(), &saggarv1.ListRunsRequest{PageToken: token, Parent: parent})
		_, _, errFiring := firingPosition(context.Background(), &saggarv1.ListFiringsRequest{PageToken: token, Parent: parent})
		for _, err := range []error{err, errFiring} {
			if err != nil && finding.FaultsOf(err) == nil {
				t.Fatalf("not a fault: %v", err)
			}
		}
	})
}

func roomNamed(id int) *saggarv1.Room {
	return &saggarv1.Room{Name: fmt.Sprintf("studios/north/rooms/r%d", id)}
}

func TestPagesGoOnWhereTheyEnded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		total := rapid.IntRange(0, 30).Draw(t, "total")
		req := &saggarv1.ListRoomsRequest{Parent: "studios/north", PageSize: int32(rapid.IntRange(1, 12).Draw(t, "size"))}
		var seen []string
		for {
			after, err := pagePosition(context.Background(), req)
			if err != nil {
				t.Fatal(err)
			}
			next, _ := strconv.Atoi(after)
			var found []int
			for id := next + 1; id <= total && len(found) <= pageSize(req); id++ {
				found = append(found, id)
			}
			page, token := cutPage(context.Background(), req, found, roomNamed, strconv.Itoa)
			for _, room := range page {
				seen = append(seen, room.GetName())
			}
			if len(page) > pageSize(req) {
				t.Fatal("longer than asked")
			}
			if req.PageToken = token; token == "" {
				break
			}
		}
		if len(seen) != total {
			t.Fatalf("%d of %d", len(seen), total)
		}
		for i, name := range seen {
			if name != roomNamed(i+1).GetName() {
				t.Fatalf("%s stands at %d", name, i)
			}
		}
	})
}

func TestAPageStaysUnderWhatClientsAccept(t *testing.T) {
	big := func(int) *saggarv1.Room { return &saggarv1.Room{Title: strings.Repeat("x", 1<<20)} }
	req := &saggarv1.ListRoomsRequest{PageSize: 10}
	page, token := cutPage(context.Background(), req, []int{1, 2, 3, 4, 5}, big, strconv.Itoa)
	assert.Len(t, page, 2)
	req.PageToken = token
	position, err := pagePosition(context.Background(), req)
	require.NoError(t, err)
	assert.Equal(t, "2", position)
}

func TestAPageTokenIsForWhoGotIt(t *testing.T) {
	as := func(id string) context.Context {
		return context.WithValue(context.Background(), requestKey{}, &request{caller: domain.Caller{ID: id}})
	}
	req := &saggarv1.ListRunsRequest{Parent: "studios/north"}
	req.PageToken = pageToken(as("ada"), req, "7")
	_, err := pagePosition(as("ben"), req)
	assert.Error(t, err)
	position, err := pagePosition(as("ada"), req)
	assert.NoError(t, err)
	assert.Equal(t, "7", position)
}
