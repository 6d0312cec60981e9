package rpc

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

// memberIDs are the people of studio north by their role there.
var memberIDs = map[domain.Role]string{
	domain.RoleViewer: "vic", domain.RoleMaker: "mia", domain.RoleTechnician: "tom", domain.RoleSteward: "sue",
}

// people adds a department and a person of each role to studio north, and returns a key for each that opens north only.
func (s *served) people(t *testing.T) map[domain.Role]string {
	t.Helper()
	people := saggarv1.NewPeopleServiceClient(s.connection)
	_, err := people.UpdateDepartment(s.steward(t), &saggarv1.UpdateDepartmentRequest{
		Department: &saggarv1.Department{Name: north + "/departments/pigments", Title: "Pigments"}, AllowMissing: true,
	})
	require.NoError(t, err)
	keys := map[domain.Role]string{}
	for role, id := range memberIDs {
		_, err := people.UpdatePerson(s.steward(t), &saggarv1.UpdatePersonRequest{AllowMissing: true, Person: &saggarv1.Person{
			Name: north + "/people/" + id, Role: roles.toProto(role), Departments: []string{"pigments"}, OpenidSubject: "subject-of-" + id,
			Trainings: []*saggarv1.Training{{Subject: "respirator-fit", DoneOn: "2026-02-01"}},
		}})
		require.NoError(t, err)
		key, err := saggarv1.NewAccessServiceClient(s.connection).CreateAccessKey(s.steward(t), &saggarv1.CreateAccessKeyRequest{
			Parent: north, AccessKey: &saggarv1.AccessKey{Caller: id, Role: saggarv1.Role_ROLE_STEWARD},
		})
		require.NoError(t, err)
		keys[role] = key.GetSecret()
	}
	return keys
}

func withKey(t *testing.T, secret string) context.Context {
	t.Helper()
	return metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+secret)
}

// TestEveryMethodWithEveryRole calls each method as each member of north: with north's names, with those of a studio that
// stands and is not theirs, and with those of one that does not stand. The last two must answer alike to the letter.
func TestEveryMethodWithEveryRole(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	keys := s.people(t)
	_, err := saggarv1.NewStudioServiceClient(s.connection).LoadStudio(s.steward(t), &saggarv1.LoadStudioRequest{
		Name: "studios/south", Contents: &saggarv1.StudioFile{Studio: &saggarv1.Studio{Name: "studios/south", TimeZone: "UTC"}},
	})
	require.NoError(t, err)
	tried := 0
	for _, method := range contractMethods(t) {
		row := policy[fullName(method)]
		if row.anywhere {
			continue
		}
		for role, key := range keys {
			own := s.tryWith(t, key, method, "north")
			if role < row.least {
				assert.Equal(t, codes.PermissionDenied, status.Code(own), "%s as %v", method.Name(), role)
			} else {
				assert.NotContains(t, []codes.Code{codes.PermissionDenied, codes.Unauthenticated}, status.Code(own),
					"%s as %v: %v", method.Name(), role, own)
			}
			foreign, missing := s.tryWith(t, key, method, "south"), s.tryWith(t, key, method, "nowhere")
			assert.Equal(t, codes.PermissionDenied, status.Code(foreign), "%s as %v", method.Name(), role)
			assert.Equal(t, strings.ReplaceAll(missing.Error(), "nowhere", "south"), foreign.Error(), "%s tells what stands", method.Name())
			tried++
		}
	}
	assert.Greater(t, tried, 100)
}

// tryWith sends a method's request with nothing but a studio's name in it and returns how it ended. What the request lacks
// is refused after the rights, so nothing is changed.
func (s *served) tryWith(t *testing.T, key string, method protoreflect.MethodDescriptor, studio string) error {
	t.Helper()
	request := newMessage(t, method.Input())
	name := studiosPrefix + studio
	if nameIsBelow(method) {
		name += "/things/none"
	}
	nameIt(t, request, name)
	_, err := s.invoke(withKey(t, key), t, method, request)
	return err
}

// invoke calls any method and returns its answer, of a stream the first.
func (s *served) invoke(ctx context.Context, t *testing.T, method protoreflect.MethodDescriptor, request proto.Message) (proto.Message, error) {
	t.Helper()
	ctx, cancel := context.WithCancel(ctx) // which ends a stream that would go on
	defer cancel()
	answer := newMessage(t, method.Output())
	if !method.IsStreamingServer() {
		return answer, s.connection.Invoke(ctx, fullName(method), request, answer)
	}
	stream, err := s.connection.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, fullName(method))
	require.NoError(t, err)
	require.NoError(t, stream.SendMsg(request))
	require.NoError(t, stream.CloseSend())
	return answer, stream.RecvMsg(answer)
}

// nameIsBelow reports whether a method's request names something within a studio rather than the studio. Requests of which
// a bare name would be enough to change something must name nothing that stands.
func nameIsBelow(method protoreflect.MethodDescriptor) bool {
	return method.Input().Fields().ByName("name") != nil && !strings.Contains(string(method.Name()), "Studio") ||
		strings.HasPrefix(string(method.Name()), "Update") || strings.HasPrefix(string(method.Name()), "Create") &&
		method.Input().Fields().ByName("parent") == nil
}

func TestStudiosOfOthersAreNotListed(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	keys := s.people(t)
	_, err := saggarv1.NewStudioServiceClient(s.connection).LoadStudio(s.steward(t), &saggarv1.LoadStudioRequest{
		Name: "studios/south", Contents: &saggarv1.StudioFile{Studio: &saggarv1.Studio{Name: "studios/south", TimeZone: "UTC"}},
	})
	require.NoError(t, err)
	list := func(ctx context.Context) (names []string) {
		page, err := saggarv1.NewStudioServiceClient(s.connection).ListStudios(ctx, &saggarv1.ListStudiosRequest{})
		require.NoError(t, err)
		for _, studio := range page.GetStudios() {
			names = append(names, studio.GetName())
		}
		return names
	}
	assert.Equal(t, []string{north}, list(withKey(t, keys[domain.RoleSteward])))
	assert.Equal(t, []string{north, "studios/south"}, list(s.as(t, domain.RoleViewer)))
}

// TestNamesOfAnotherStudioInsideARequestReachNothing puts south's names into requests that say they are about north.
func TestNamesOfAnotherStudioInsideARequestReachNothing(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, pigmentStudio())
	keys := s.people(t)
	ctx := withKey(t, keys[domain.RoleSteward])
	run := redRun()
	run.Recipe = "studios/south/recipes/red"
	run.StageWindows = []*saggarv1.StageWindow{{Stage: "calcine", Furnace: "pot"}}
	client := saggarv1.NewRunServiceClient(s.connection)
	_, err := client.CheckRun(ctx, &saggarv1.CheckRunRequest{Parent: north, Runs: []*saggarv1.Run{run}})
	assert.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
	_, err = client.BookRun(ctx, &saggarv1.BookRunRequest{Parent: north, Runs: []*saggarv1.Run{run}})
	assert.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
	_, err = saggarv1.NewStudioServiceClient(s.connection).LoadStudio(ctx, &saggarv1.LoadStudioRequest{
		Name: north, Contents: &saggarv1.StudioFile{Rooms: []*saggarv1.Room{{Name: "studios/south/rooms/hall", VolumeCubicMeters: 40}}},
	})
	assert.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
	_, err = saggarv1.NewPeopleServiceClient(s.connection).UpdatePerson(ctx, &saggarv1.UpdatePersonRequest{
		AllowMissing: true, Person: &saggarv1.Person{Name: "studios/south/people/sue", Role: saggarv1.Role_ROLE_STEWARD},
	})
	assert.Equal(t, codes.PermissionDenied, status.Code(err), "nobody makes themselves a member elsewhere")
	_, err = saggarv1.NewAccessServiceClient(s.connection).CreateAccessKey(ctx, &saggarv1.CreateAccessKeyRequest{
		AccessKey: &saggarv1.AccessKey{Caller: "sue", Role: saggarv1.Role_ROLE_STEWARD},
	})
	assert.Equal(t, codes.PermissionDenied, status.Code(err), "a studio's steward makes no key to every studio")
}

func TestAPersonIsSeenAsFarAsTheirOwn(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	keys := s.people(t)
	client := saggarv1.NewPeopleServiceClient(s.connection)
	for role, key := range keys {
		page, err := client.ListPeople(withKey(t, key), &saggarv1.ListPeopleRequest{Parent: north})
		require.NoError(t, err)
		require.Len(t, page.GetPeople(), 4)
		for _, p := range page.GetPeople() {
			own := p.GetName() == north+"/people/"+memberIDs[role]
			assert.Equal(t, own || role >= domain.RoleTechnician, len(p.GetTrainings()) == 1, "%v sees %s", role, p.GetName())
			assert.Equal(t, role == domain.RoleSteward, p.GetOpenidSubject() != "", "%v sees %s", role, p.GetName())
			one, err := client.GetPerson(withKey(t, key), &saggarv1.GetPersonRequest{Name: p.GetName()})
			require.NoError(t, err)
			assert.True(t, proto.Equal(p, one), "alone as in the list")
		}
	}
}

func TestAKeyOpensNoMoreThanItsPerson(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	keys := s.people(t)
	access, people := saggarv1.NewAccessServiceClient(s.connection), saggarv1.NewPeopleServiceClient(s.connection)
	ctx := withKey(t, keys[domain.RoleMaker])
	me, err := access.GetCaller(ctx, &saggarv1.GetCallerRequest{})
	require.NoError(t, err)
	assert.Equal(t, saggarv1.Role_ROLE_UNSPECIFIED, me.GetRole())
	require.Len(t, me.GetMemberships(), 1)
	assert.Equal(t, saggarv1.Role_ROLE_MAKER, me.GetMemberships()[0].GetRole(), "though the key was made for a steward")

	_, err = people.DeletePerson(s.steward(t), &saggarv1.DeletePersonRequest{Name: north + "/people/mia"})
	require.NoError(t, err)
	_, err = people.UpdatePerson(s.steward(t), &saggarv1.UpdatePersonRequest{
		AllowMissing: true, Person: &saggarv1.Person{Name: north + "/people/mia", Role: saggarv1.Role_ROLE_STEWARD},
	})
	require.NoError(t, err)
	assert.Eventually(t, func() bool {
		_, err := access.GetCaller(ctx, &saggarv1.GetCallerRequest{})
		return status.Code(err) == codes.Unauthenticated
	}, waitForRevocation, tick, "a later person of the same id is not opened to by an old key")
	_, err = access.CreateAccessKey(s.steward(t), &saggarv1.CreateAccessKeyRequest{
		Parent: north, AccessKey: &saggarv1.AccessKey{Caller: "nobody", Role: saggarv1.Role_ROLE_MAKER},
	})
	assert.Equal(t, []string{"access_key.caller"}, fieldsOf(err))
}

func TestDepartmentsAndPeopleAreChangedUnderTheirEtag(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	s.people(t)
	client := saggarv1.NewPeopleServiceClient(s.connection)
	pigments := north + "/departments/pigments"
	_, err := client.DeleteDepartment(s.steward(t), &saggarv1.DeleteDepartmentRequest{Name: pigments})
	assert.Equal(t, codes.FailedPrecondition, status.Code(err), "people belong to it")
	stands, err := client.GetDepartment(s.steward(t), &saggarv1.GetDepartmentRequest{Name: pigments})
	require.NoError(t, err)
	changed, err := client.UpdateDepartment(s.steward(t), &saggarv1.UpdateDepartmentRequest{
		Department: &saggarv1.Department{Name: pigments, Title: "Colour", Etag: stands.GetEtag()},
	})
	require.NoError(t, err)
	assert.NotEqual(t, stands.GetEtag(), changed.GetEtag())
	_, err = client.UpdateDepartment(s.steward(t), &saggarv1.UpdateDepartmentRequest{
		Department: &saggarv1.Department{Name: pigments, Title: "Late", Etag: stands.GetEtag()},
	})
	assert.Equal(t, codes.Aborted, status.Code(err))
	page, err := client.ListDepartments(s.steward(t), &saggarv1.ListDepartmentsRequest{Parent: north})
	require.NoError(t, err)
	assert.Equal(t, "Colour", page.GetDepartments()[0].GetTitle())

	for field, person := range map[string]*saggarv1.Person{
		"person.departments[0]":          {Departments: []string{"nowhere"}},
		"person.trainings[0].subject":    {Trainings: []*saggarv1.Training{{Subject: "furnaces/none", DoneOn: "2026-01-01"}}},
		"person.trainings[0].expires_on": {Trainings: []*saggarv1.Training{{Subject: "respirator-fit", DoneOn: "2026-01-01", ExpiresOn: "2027-01-02"}}},
	} {
		person.Name = north + "/people/mia"
		_, err := client.UpdatePerson(s.steward(t), &saggarv1.UpdatePersonRequest{Person: person})
		assert.Equal(t, []string{field}, fieldsOf(err), "%v", err)
	}
	_, err = client.UpdatePerson(s.steward(t), &saggarv1.UpdatePersonRequest{
		Person: &saggarv1.Person{Name: north + "/people/mia", OpenidSubject: "subject-of-tom"},
	})
	assert.Equal(t, codes.AlreadyExists, status.Code(err), "one subject is one person")
}

func TestPolicyNamesOwnersOnlyWhereThereAreSome(t *testing.T) {
	var owned []string
	for method, row := range policy {
		if row.others != domain.RoleNone {
			owned = append(owned, shortMethod(method))
			assert.Greater(t, row.others, row.least, method)
		}
	}
	slices.Sort(owned)
	assert.Equal(t, []string{
		"BookRun", "CancelRun", "CheckRun", "CreateLot", "CreateTimeRequest", "DeclineTimeOffer", "DeleteTimeRequest", "GetMailChoice", "GetPerson",
		"GetTimeRequest", "ListAccessKeys", "ListFeeds", "ListMailChoices", "ListPeople", "ListTimeRequests",
		"MoveRun", "MoveRuns", "ReplanRuns", "ReturnLot", "RevokeAccessKey", "RevokeFeed", "TakeLot", "UpdateFiring", "UpdateLot", "UpdateMailChoice", "WeighLot",
	}, owned)
}
