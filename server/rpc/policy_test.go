package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"saggar/server/app"
	"saggar/server/domain"
)

func TestEveryMethodHasAPolicyRowAndEveryRowAMethod(t *testing.T) {
	server, err := New(Options{App: new(app.App)})
	require.NoError(t, err)
	served := map[string]bool{}
	for service, info := range server.grpc.GetServiceInfo() {
		for _, method := range info.Methods {
			served["/"+service+"/"+method.Name] = true
		}
	}
	require.Greater(t, len(served), 30)
	for method := range served {
		assert.Contains(t, policy, method, "nobody has said who may call it")
	}
	for method := range policy {
		assert.True(t, served[method], "%s is not served", method)
	}
}

func TestOnlyHealthAndReflectionNeedNoKey(t *testing.T) {
	for method := range policy {
		ours := len(method) > len("/saggar.") && method[:len("/saggar.")] == "/saggar."
		assert.Equal(t, !ours, isPublic(method), method)
	}
	assert.False(t, isPublic("/saggar.v1.RunService/Forgotten"))
}

func TestARoleReachesItsRowAndNoFurther(t *testing.T) {
	allRoles := []domain.Role{domain.RoleNone, domain.RoleViewer, domain.RoleMaker, domain.RoleTechnician, domain.RoleSteward}
	for method, row := range policy {
		for _, role := range allRoles {
			_, _, err := authorise(method, domain.Identity{ID: "ada", ServerRole: role}, "north")
			if role >= row.least {
				assert.NoError(t, err, "%s as %v", method, role)
			} else {
				assert.ErrorIs(t, err, domain.ErrForbidden, "%s as %v", method, role)
			}
		}
	}
}

func TestAForbiddenCallerReadsWhichRoleIsNeeded(t *testing.T) {
	_, _, err := authorise("/saggar.v1.RunService/BookRun", domain.Identity{ID: "ada", ServerRole: domain.RoleViewer}, "north")
	assert.ErrorContains(t, err, "BookRun is for a maker or above, and ada is a viewer")
}

func TestAMethodWithoutARowIsRefused(t *testing.T) {
	_, _, err := authorise("/saggar.v1.RunService/Forgotten", domain.Identity{ID: "ada", ServerRole: domain.RoleSteward}, "north")
	assert.ErrorContains(t, err, "no policy row")
}

func TestARoleInOneStudioIsNoneInAnother(t *testing.T) {
	who := domain.Identity{ID: "ada", Memberships: []domain.Membership{{StudioID: "north", PersonID: "ada", Role: domain.RoleSteward}}}
	for method, row := range policy {
		_, _, err := authorise(method, who, "north")
		assert.NoError(t, err, method)
		_, _, err = authorise(method, who, "south")
		if row.anywhere || row.least == domain.RoleNone {
			assert.NoError(t, err, method)
			continue
		}
		assert.ErrorContains(t, err, "ada is not a member of studios/south", method)
		_, _, err = authorise(method, who, "")
		assert.ErrorContains(t, err, "not a member of the server", method)
	}
}

func TestTheOwnThingsRuleHoldsBelowItsRole(t *testing.T) {
	for role, own := range map[domain.Role]bool{domain.RoleMaker: true, domain.RoleTechnician: false, domain.RoleSteward: false} {
		_, ownOnly, err := authorise("/saggar.v1.RunService/CancelRun", domain.Identity{ID: "ada", ServerRole: role}, "north")
		require.NoError(t, err)
		assert.Equal(t, own, ownOnly, role)
	}
}

func TestAOneTimeKeyOpensItsExchangeOnly(t *testing.T) {
	who := domain.Identity{ID: "steward", ServerRole: domain.RoleSteward, MustExchange: true}
	for method, row := range policy {
		if _, _, err := authorise(method, who, "north"); row.exchange {
			assert.NoError(t, err, method)
		} else {
			assert.ErrorIs(t, err, domain.ErrForbidden, method)
		}
	}
}

// TestEveryRequestTellsItsStudio keeps new requests from slipping past the rights of their studio.
func TestEveryRequestTellsItsStudio(t *testing.T) {
	for _, method := range contractMethods(t) {
		request := newMessage(t, method.Input())
		if policy[fullName(method)].anywhere {
			assert.Empty(t, studioAsked(request), method.FullName())
			continue
		}
		nameIt(t, request, "studios/north/things/one")
		assert.Equal(t, "north", studioAsked(request), method.FullName())
	}
}

// nameIt puts a name where a request has one: its own field, or that of the resource in it.
func nameIt(t *testing.T, request proto.Message, name string) {
	t.Helper()
	fields := request.ProtoReflect().Descriptor().Fields()
	for _, field := range []protoreflect.Name{"name", "parent"} {
		if fields.ByName(field) != nil {
			setField(request, field, name)
			return
		}
	}
	field := resourceField(request.ProtoReflect().Descriptor())
	require.NotNil(t, field, "%T names nothing", request)
	setField(request.ProtoReflect().Mutable(field).Message().Interface(), "name", name)
}
