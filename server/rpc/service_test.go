package rpc

import (
	"context"
	"crypto/rand"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/app"
	"saggar/server/domain"
	"saggar/server/pgtest"
	"saggar/server/store"
)

const north = "studios/north"

// monday is when the clock of the tests stands.
var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// served is a server in this process on a real database, with a key for each role.
type served struct {
	connection *grpc.ClientConn
	server     *Server
	keys       map[domain.Role]string
	away       *atomic.Bool // the database, as health sees it
}

func serve(t *testing.T) *served {
	t.Helper()
	kept, err := store.Open(t.Context(), pgtest.New(t), store.Options{MaxConnections: 4})
	require.NoError(t, err)
	t.Cleanup(kept.Close)
	clock := func() time.Time { return monday.Add(-time.Hour) }
	operations := app.New(kept, clock, rand.Reader)
	s := &served{keys: map[domain.Role]string{}, away: new(atomic.Bool)}
	for role, id := range map[domain.Role]string{
		domain.RoleViewer: "vera", domain.RoleMaker: "max", domain.RoleTechnician: "tess", domain.RoleSteward: "stella",
	} {
		s.keys[role], _, err = operations.CreateAccessKey(t.Context(), app.Call{}, app.NewKey{Caller: domain.Caller{ID: id, Role: role}})
		require.NoError(t, err)
	}
	operations.ServeFeeds("https://kiln.example")
	operations.SendMail(func(context.Context, domain.Letter) error { return nil })
	go operations.RunWatches(t.Context())
	server, err := New(Options{App: operations, RequestTimeout: time.Minute, Now: clock, Stopping: operations.EndWatches, Ping: func(ctx context.Context) error {
		if s.away.Load() {
			return domain.ErrUnavailable
		}
		return kept.Ping(ctx)
	}})
	require.NoError(t, err)
	s.server, s.connection = server, connect(t, server)
	return s
}

// connect serves a server over memory until the test ends.
func connect(t *testing.T, server *Server) *grpc.ClientConn {
	t.Helper()
	connection, stop := overMemory(t, server)
	t.Cleanup(func() {
		assert.NoError(t, connection.Close())
		assert.NoError(t, stop())
	})
	return connection
}

// overMemory serves a server over memory until it is stopped.
func overMemory(t *testing.T, server *Server) (connection *grpc.ClientConn, stop func() error) {
	t.Helper()
	listener := bufconn.Listen(1 << 20)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Serve(ctx, listener) }()
	connection, err := grpc.NewClient("passthrough:memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	require.NoError(t, err)
	return connection, func() error {
		cancel()
		return <-done
	}
}

// as is a context that carries the key of a role.
func (s *served) as(t *testing.T, role domain.Role) context.Context {
	t.Helper()
	return metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+s.keys[role])
}

func (s *served) steward(t *testing.T) context.Context { return s.as(t, domain.RoleSteward) }

// load loads a studio.
func (s *served) load(t *testing.T, contents *saggarv1.StudioFile) *saggarv1.LoadStudioResponse {
	t.Helper()
	answer, err := saggarv1.NewStudioServiceClient(s.connection).LoadStudio(s.steward(t),
		&saggarv1.LoadStudioRequest{Name: north, Contents: contents})
	require.NoError(t, err)
	return answer
}

func smallStudio() *saggarv1.StudioFile {
	return &saggarv1.StudioFile{
		Studio: &saggarv1.Studio{Name: north, Title: "North", TimeZone: "Europe/Lisbon"},
		Rooms: []*saggarv1.Room{
			{Name: north + "/rooms/annex", Title: "Annex", VolumeCubicMeters: 40},
			{Name: north + "/rooms/hall", Title: "Hall", VolumeCubicMeters: 120},
		},
		Supplies: []*saggarv1.Supply{{Name: north + "/supplies/panel", Title: "Panel", LimitKilowatts: 20}},
		StaffedHours: []*saggarv1.StaffedHours{{
			Name: north + "/staffedHours/hall",
			Weekly: []*saggarv1.WeeklyHours{{
				Days: []saggarv1.Weekday{saggarv1.Weekday_WEEKDAY_MONDAY, saggarv1.Weekday_WEEKDAY_SUNDAY}, Opens: "08:30", Closes: "24:00",
			}},
			Exceptions: []*saggarv1.DateHours{{Date: "2026-12-25"}, {Date: "2026-12-24", Opens: "09:00", Closes: "12:00"}},
		}},
	}
}

// fieldsOf are the fields that an error names.
func fieldsOf(err error) []string {
	_, violations, _ := detailsOf(status.Convert(err))
	var fields []string
	for _, v := range violations {
		fields = append(fields, v.GetField())
	}
	return fields
}

func TestAStudioIsLoadedShownAndChanged(t *testing.T) {
	t.Parallel()
	s := serve(t)
	client := saggarv1.NewStudioServiceClient(s.connection)
	answer := s.load(t, smallStudio())
	assert.EqualValues(t, 5, answer.GetCreatedCount())
	again := s.load(t, smallStudio())
	assert.EqualValues(t, 5, again.GetUnchangedCount())
	assert.Zero(t, again.GetCreatedCount()+again.GetUpdatedCount())

	shown, err := client.GetStudio(s.as(t, domain.RoleViewer), &saggarv1.GetStudioRequest{Name: north})
	require.NoError(t, err)
	assert.Equal(t, "North", shown.GetTitle())
	assert.Equal(t, monday.Add(-time.Hour), shown.GetCreateTime().AsTime())

	changed, err := client.UpdateStudio(s.steward(t), &saggarv1.UpdateStudioRequest{
		Studio: &saggarv1.Studio{Name: north, Title: "Far north", Etag: shown.GetEtag()},
	})
	require.NoError(t, err)
	assert.Equal(t, "Far north", changed.GetTitle())
	assert.Equal(t, "Europe/Lisbon", changed.GetTimeZone(), "what is not given stays")
	assert.NotEqual(t, shown.GetEtag(), changed.GetEtag())

	_, err = client.UpdateStudio(s.steward(t), &saggarv1.UpdateStudioRequest{
		Studio: &saggarv1.Studio{Name: north, Title: "Other", Etag: shown.GetEtag()},
	})
	assert.Equal(t, codes.Aborted, status.Code(err))

	for field, studio := range map[string]*saggarv1.Studio{
		"studio.time_zone": {Name: north, TimeZone: "Mars/Olympus"}, "studio.step_minutes": {Name: north, StepMinutes: 61},
		"studio.name": {Title: "x"},
	} {
		_, err = client.UpdateStudio(s.steward(t), &saggarv1.UpdateStudioRequest{Studio: studio})
		assert.Equal(t, codes.InvalidArgument, status.Code(err))
		assert.Equal(t, []string{field}, fieldsOf(err))
	}
	_, err = client.UpdateStudio(s.steward(t), &saggarv1.UpdateStudioRequest{
		Studio: &saggarv1.Studio{Name: north, Title: "x"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"*"}},
	})
	assert.Equal(t, []string{"studio.time_zone"}, fieldsOf(err), "all fields, and the zone is required")
}

func TestALoadNamesThePlaceOfEachFault(t *testing.T) {
	t.Parallel()
	s := serve(t)
	cases := map[string]struct {
		change func(*saggarv1.StudioFile)
		field  string
	}{
		"another studio's room": {func(f *saggarv1.StudioFile) { f.Rooms[1].Name = "studios/south/rooms/hall" }, "contents.rooms[1].name"},
		"another studio":        {func(f *saggarv1.StudioFile) { f.Studio.Name = "studios/south" }, "contents.studio.name"},
		"unknown zone":          {func(f *saggarv1.StudioFile) { f.Studio.TimeZone = "Local" }, "contents.studio.time_zone"},
		"a room twice": {func(f *saggarv1.StudioFile) {
			f.Rooms = append(f.Rooms, &saggarv1.Room{Name: north + "/rooms/annex", VolumeCubicMeters: 1})
		}, "contents.rooms[2]"},
		"hours the wrong way round": {func(f *saggarv1.StudioFile) { f.StaffedHours[0].Weekly[0].Closes = "08:00" },
			"contents.staffed_hours[0].weekly[0].closes"},
		"no time of day":   {func(f *saggarv1.StudioFile) { f.StaffedHours[0].Exceptions[1].Opens = "9 am" }, "contents.staffed_hours[0].exceptions[1].opens"},
		"no such date":     {func(f *saggarv1.StudioFile) { f.StaffedHours[0].Exceptions[0].Date = "2026-02-30" }, "contents.staffed_hours[0].exceptions[0].date"},
		"a room's hours":   {func(f *saggarv1.StudioFile) { f.StaffedHours[0].Name = north + "/staffedHours/cellar" }, "contents.staffed_hours[0].name"},
		"negative volume":  {func(f *saggarv1.StudioFile) { f.Rooms[0].VolumeCubicMeters = -1 }, "contents.rooms[0].volume_cubic_meters"},
		"hidden character": {func(f *saggarv1.StudioFile) { f.Rooms[0].Title = "a\u2066b" }, "contents.rooms[0].title"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			contents := smallStudio()
			c.change(contents)
			_, err := saggarv1.NewStudioServiceClient(s.connection).LoadStudio(s.steward(t),
				&saggarv1.LoadStudioRequest{Name: north, Contents: contents})
			assert.Equal(t, codes.InvalidArgument, status.Code(err))
			assert.Contains(t, fieldsOf(err), c.field)
		})
	}
	_, err := saggarv1.NewStudioServiceClient(s.connection).GetStudio(s.steward(t), &saggarv1.GetStudioRequest{Name: north})
	assert.Equal(t, codes.NotFound, status.Code(err), "nothing of a faulty load is kept")
}

func TestEquipmentIsChangedUnderItsEtag(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	client := saggarv1.NewEquipmentServiceClient(s.connection)
	hall, err := client.GetRoom(s.steward(t), &saggarv1.GetRoomRequest{Name: north + "/rooms/hall"})
	require.NoError(t, err)

	changed, err := client.UpdateRoom(s.steward(t), &saggarv1.UpdateRoomRequest{
		Room: &saggarv1.Room{Name: hall.GetName(), VolumeCubicMeters: 90, Etag: hall.GetEtag()},
	})
	require.NoError(t, err)
	assert.Equal(t, "Hall", changed.GetTitle())
	assert.InDelta(t, 90, changed.GetVolumeCubicMeters(), 0)

	for _, c := range []struct {
		etag string
		code codes.Code
	}{{hall.GetEtag(), codes.Aborted}, {"garbled", codes.Aborted}, {changed.GetEtag(), codes.OK}, {changed.GetEtag(), codes.Aborted}, {"", codes.OK}} {
		_, err = client.UpdateRoom(s.steward(t), &saggarv1.UpdateRoomRequest{
			Room: &saggarv1.Room{Name: hall.GetName(), Title: "Great hall " + c.etag, Etag: c.etag},
		})
		assert.Equal(t, c.code, status.Code(err), "etag %q", c.etag)
	}

	_, err = client.UpdateRoom(s.steward(t), &saggarv1.UpdateRoomRequest{
		Room: &saggarv1.Room{Name: hall.GetName()}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"colour"}},
	})
	assert.Equal(t, []string{"update_mask.paths[0]"}, fieldsOf(err))
}

func TestEquipmentIsMadeWhenItMayBeMissing(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	client := saggarv1.NewEquipmentServiceClient(s.connection)
	fresh := func() *saggarv1.UpdateRoomRequest {
		return &saggarv1.UpdateRoomRequest{Room: &saggarv1.Room{Name: north + "/rooms/cellar", VolumeCubicMeters: 30}}
	}
	_, err := client.UpdateRoom(s.steward(t), fresh())
	assert.Equal(t, codes.NotFound, status.Code(err))

	withEtag := fresh()
	withEtag.AllowMissing, withEtag.Room.Etag = true, "r3"
	_, err = client.UpdateRoom(s.steward(t), withEtag)
	assert.Equal(t, codes.Aborted, status.Code(err), "an etag says that it stood")

	allowed := fresh()
	allowed.AllowMissing, allowed.UpdateMask = true, &fieldmaskpb.FieldMask{Paths: []string{"title"}}
	made, err := client.UpdateRoom(s.steward(t), allowed)
	require.NoError(t, err)
	assert.InDelta(t, 30, made.GetVolumeCubicMeters(), 0, "what is made is made as given, whatever the mask")

	incomplete := &saggarv1.UpdateRoomRequest{Room: &saggarv1.Room{Name: north + "/rooms/loft"}, AllowMissing: true}
	_, err = client.UpdateRoom(s.steward(t), incomplete)
	assert.Equal(t, []string{"room.volume_cubic_meters"}, fieldsOf(err))

	elsewhere := &saggarv1.UpdateRoomRequest{Room: &saggarv1.Room{Name: "studios/south/rooms/loft", VolumeCubicMeters: 9}, AllowMissing: true}
	_, err = client.UpdateRoom(s.steward(t), elsewhere)
	assert.Equal(t, codes.NotFound, status.Code(err), "there is no such studio")
}

func TestListsArePaged(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	client := saggarv1.NewEquipmentServiceClient(s.connection)
	req := &saggarv1.ListRoomsRequest{Parent: north, PageSize: 1}
	var names []string
	for {
		page, err := client.ListRooms(s.as(t, domain.RoleViewer), req)
		require.NoError(t, err)
		for _, room := range page.GetRooms() {
			names = append(names, strings.TrimPrefix(room.GetName(), north))
		}
		if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
			break
		}
	}
	assert.Equal(t, []string{"/rooms/annex", "/rooms/hall"}, names)

	_, err := client.ListSupplies(s.as(t, domain.RoleViewer), &saggarv1.ListSuppliesRequest{Parent: north, PageToken: "abc"})
	assert.Equal(t, []string{"page_token"}, fieldsOf(err))
}

func TestHoursAndClosuresComeBackAsTheyWent(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	client := saggarv1.NewEquipmentServiceClient(s.connection)
	hours, err := client.GetStaffedHours(s.steward(t), &saggarv1.GetStaffedHoursRequest{Name: north + "/staffedHours/hall"})
	require.NoError(t, err)
	hours.Etag = ""
	want := smallStudio().GetStaffedHours()[0]
	assert.Equal(t, want.String(), hours.String())

	start := monday.Add(90 * time.Second)
	closed, err := client.UpdateClosure(s.as(t, domain.RoleTechnician), &saggarv1.UpdateClosureRequest{
		Closure: &saggarv1.Closure{
			Name: north + "/closures/hall-floor", Subject: "rooms/hall", Reason: "new floor",
			StartTime: timestamppb.New(start), EndTime: timestamppb.New(start.Add(time.Hour)),
		}, AllowMissing: true,
	})
	require.NoError(t, err)
	assert.Equal(t, monday.Add(time.Minute), closed.GetStartTime().AsTime(), "floored to the minute")
	assert.Equal(t, monday.Add(62*time.Minute), closed.GetEndTime().AsTime(), "ceiled to the minute")

	_, err = client.UpdateClosure(s.as(t, domain.RoleTechnician), &saggarv1.UpdateClosureRequest{
		Closure: &saggarv1.Closure{Name: closed.GetName(), EndTime: timestamppb.New(monday)},
	})
	assert.Equal(t, []string{"closure.end_time"}, fieldsOf(err))
	_, err = client.UpdateClosure(s.as(t, domain.RoleTechnician), &saggarv1.UpdateClosureRequest{
		Closure: &saggarv1.Closure{Name: closed.GetName(), Subject: "rooms/attic"},
	})
	assert.Equal(t, []string{"closure.subject"}, fieldsOf(err))

	_, err = client.DeleteClosure(s.as(t, domain.RoleTechnician), &saggarv1.DeleteClosureRequest{Name: closed.GetName(), Etag: "r1"})
	assert.Equal(t, codes.Aborted, status.Code(err))
	_, err = client.DeleteClosure(s.as(t, domain.RoleTechnician), &saggarv1.DeleteClosureRequest{Name: closed.GetName(), Etag: closed.GetEtag()})
	require.NoError(t, err)
	_, err = client.DeleteClosure(s.as(t, domain.RoleTechnician), &saggarv1.DeleteClosureRequest{Name: closed.GetName()})
	assert.Equal(t, codes.NotFound, status.Code(err))
}

func TestKeysAreMadeByStewards(t *testing.T) {
	t.Parallel()
	s := serve(t)
	client := saggarv1.NewAccessServiceClient(s.connection)
	me, err := client.GetCaller(s.as(t, domain.RoleViewer), &saggarv1.GetCallerRequest{})
	require.NoError(t, err)
	assert.Equal(t, "vera", me.GetId())
	assert.Equal(t, saggarv1.Role_ROLE_VIEWER, me.GetRole())

	wanted := &saggarv1.CreateAccessKeyRequest{AccessKey: &saggarv1.AccessKey{Caller: "mia", Role: saggarv1.Role_ROLE_MAKER}}
	_, err = client.CreateAccessKey(s.as(t, domain.RoleTechnician), wanted)
	assert.Equal(t, codes.PermissionDenied, status.Code(err))
	key, err := client.CreateAccessKey(s.steward(t), wanted)
	require.NoError(t, err)
	me, err = client.GetCaller(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+key.GetSecret()),
		&saggarv1.GetCallerRequest{})
	require.NoError(t, err)
	assert.Equal(t, "mia", me.GetId())

	_, err = client.GetCaller(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer x"), &saggarv1.GetCallerRequest{})
	assert.Equal(t, codes.Unauthenticated, status.Code(err))
}

func TestWindowsOfListsAreBounded(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	client := saggarv1.NewFiringServiceClient(s.connection)
	start := timestamppb.New(monday)
	for days, code := range map[int]codes.Code{-1: codes.InvalidArgument, 0: codes.InvalidArgument, 1: codes.OK, 400: codes.OK, 401: codes.InvalidArgument} {
		end := timestamppb.New(monday.Add(time.Duration(days) * 24 * time.Hour))
		_, err := client.ListFirings(s.as(t, domain.RoleViewer), &saggarv1.ListFiringsRequest{Parent: north, StartTime: start, EndTime: end})
		assert.Equal(t, code, status.Code(err), "%d days of firings", days)
		_, err = client.ListOpenings(s.as(t, domain.RoleViewer), &saggarv1.ListOpeningsRequest{Parent: north, StartTime: start, EndTime: end})
		assert.Equal(t, code, status.Code(err), "%d days of openings", days)
		if code != codes.OK {
			assert.Equal(t, []string{"end_time"}, fieldsOf(err))
		}
	}
}

func TestRequestIDsAreEchoed(t *testing.T) {
	t.Parallel()
	s := serve(t)
	var header metadata.MD
	ctx := metadata.AppendToOutgoingContext(s.steward(t), RequestIDKey, "find-me")
	_, err := saggarv1.NewAccessServiceClient(s.connection).GetCaller(ctx, &saggarv1.GetCallerRequest{}, grpc.Header(&header))
	require.NoError(t, err)
	assert.Equal(t, []string{"find-me"}, header.Get(RequestIDKey))
}

func TestAMessageThatIsTooLargeIsRefused(t *testing.T) {
	t.Parallel()
	s := serve(t)
	room := &saggarv1.Room{Name: north + "/rooms/hall", Title: strings.Repeat("x", defaultMessageBytes)}
	_, err := saggarv1.NewEquipmentServiceClient(s.connection).UpdateRoom(s.steward(t), &saggarv1.UpdateRoomRequest{Room: room})
	assert.Equal(t, codes.ResourceExhausted, status.Code(err))
}

func TestHealthFollowsTheDatabase(t *testing.T) {
	t.Parallel()
	s := serve(t)
	client := healthpb.NewHealthClient(s.connection)
	for _, away := range []bool{false, true, false} {
		s.away.Store(away)
		want := healthpb.HealthCheckResponse_SERVING
		if away {
			want = healthpb.HealthCheckResponse_NOT_SERVING
		}
		require.Eventually(t, func() bool {
			answer, err := client.Check(t.Context(), &healthpb.HealthCheckRequest{})
			return err == nil && answer.GetStatus() == want
		}, 20*time.Second, 20*time.Millisecond)
	}
}

func TestStoppingLetsRequestsEndAndCutsThoseThatDoNot(t *testing.T) {
	t.Parallel()
	server, err := New(Options{App: new(app.App), StopTimeout: time.Millisecond})
	require.NoError(t, err)
	listener := bufconn.Listen(1 << 20)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- server.Serve(ctx, listener) }()
	connection, err := grpc.NewClient("passthrough:memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	require.NoError(t, err)
	defer connection.Close()
	watch, err := healthpb.NewHealthClient(connection).Watch(t.Context(), &healthpb.HealthCheckRequest{})
	require.NoError(t, err)
	_, err = watch.Recv()
	require.NoError(t, err)
	cancel()
	select {
	case err := <-done:
		assert.NoError(t, err)
	case <-time.After(20 * time.Second):
		t.Fatal("a stream that never ends holds the stop up")
	}
}

func TestForeignNamesFindNothing(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	south := "studios/south"
	_, err := saggarv1.NewStudioServiceClient(s.connection).LoadStudio(s.steward(t), &saggarv1.LoadStudioRequest{
		Name: south, Contents: &saggarv1.StudioFile{Studio: &saggarv1.Studio{Name: south, TimeZone: "UTC"}},
	})
	require.NoError(t, err)
	_, err = saggarv1.NewEquipmentServiceClient(s.connection).GetRoom(s.steward(t), &saggarv1.GetRoomRequest{Name: south + "/rooms/hall"})
	assert.Equal(t, codes.NotFound, status.Code(err))
	run := &saggarv1.Run{Name: north + "/runs/a", Recipe: north + "/recipes/blue", Department: "glass", StageWindows: []*saggarv1.StageWindow{}}
	_, err = saggarv1.NewRunServiceClient(s.connection).CheckRun(s.steward(t), &saggarv1.CheckRunRequest{Parent: south, Runs: []*saggarv1.Run{run}})
	assert.Equal(t, []string{"runs[0].recipe", "runs[0].name"}, fieldsOf(err))
}

// A revocation reaches every server within a second; slow machines get some more to notice.
const (
	waitForRevocation = 5 * time.Second
	tick              = 20 * time.Millisecond
)
