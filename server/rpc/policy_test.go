package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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
			err := authorise(method, domain.Caller{ID: "ada", Role: role})
			if role >= row.least {
				assert.NoError(t, err, "%s as %v", method, role)
			} else {
				assert.ErrorIs(t, err, domain.ErrForbidden, "%s as %v", method, role)
			}
		}
	}
}

func TestAForbiddenCallerReadsWhichRoleIsNeeded(t *testing.T) {
	err := authorise("/saggar.v1.RunService/BookRun", domain.Caller{ID: "ada", Role: domain.RoleViewer})
	assert.ErrorContains(t, err, "BookRun is for a maker or above, and ada is a viewer")
}

func TestAMethodWithoutARowIsRefused(t *testing.T) {
	err := authorise("/saggar.v1.RunService/Forgotten", domain.Caller{ID: "ada", Role: domain.RoleSteward})
	assert.ErrorContains(t, err, "no policy row")
}
