package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	saggarv1 "saggar/proto/saggar/v1"
	"saggar/server/domain"
)

func TestEverybodyChoosesHowTheyAreWrittenTo(t *testing.T) {
	t.Parallel()
	s := serve(t)
	s.load(t, smallStudio())
	keys := s.people(t)
	letters := saggarv1.NewMailServiceClient(s.connection)
	choose := func(role domain.Role, choice *saggarv1.MailChoice, paths ...string) (*saggarv1.MailChoice, error) {
		return letters.UpdateMailChoice(withKey(t, keys[role]), &saggarv1.UpdateMailChoiceRequest{
			MailChoice: choice, AllowMissing: true, UpdateMask: &fieldmaskpb.FieldMask{Paths: paths},
		})
	}
	const mia, tom = north + "/mailChoices/mia", north + "/mailChoices/tom"
	made, err := choose(domain.RoleMaker, &saggarv1.MailChoice{Name: mia, Email: "mia@example.edu"})
	require.NoError(t, err)
	assert.Equal(t, saggarv1.MailPace_MAIL_PACE_DAILY, made.GetPace(), "once a day until one chooses")
	assert.NotNil(t, made.GetNextTime())
	changed, err := choose(domain.RoleMaker, &saggarv1.MailChoice{Name: mia, Pace: saggarv1.MailPace_MAIL_PACE_NONE, Failure: "x"}, "pace")
	require.NoError(t, err)
	assert.Equal(t, "mia@example.edu", changed.GetEmail())
	assert.Empty(t, changed.GetFailure())
	_, err = choose(domain.RoleMaker, &saggarv1.MailChoice{Name: mia, Etag: made.GetEtag(), Email: "x@example.edu"}, "email")
	assert.Equal(t, codes.Aborted, status.Code(err), "changed meanwhile")
	cleared, err := choose(domain.RoleMaker, &saggarv1.MailChoice{Name: mia}, "email")
	require.NoError(t, err)
	assert.Empty(t, cleared.GetEmail())

	_, err = choose(domain.RoleMaker, &saggarv1.MailChoice{Name: tom, Email: "mia@example.edu"})
	assert.Equal(t, codes.NotFound, status.Code(err), "somebody else's")
	_, err = choose(domain.RoleSteward, &saggarv1.MailChoice{Name: tom, Email: "tom@example.edu"})
	require.NoError(t, err, "a steward may")
	for role, count := range map[domain.Role]int{domain.RoleMaker: 1, domain.RoleTechnician: 1, domain.RoleViewer: 0, domain.RoleSteward: 2} {
		page, err := letters.ListMailChoices(withKey(t, keys[role]), &saggarv1.ListMailChoicesRequest{Parent: north})
		require.NoError(t, err)
		assert.Len(t, page.GetMailChoices(), count, "%v", role)
	}
	_, err = letters.GetMailChoice(withKey(t, keys[domain.RoleViewer]), &saggarv1.GetMailChoiceRequest{Name: tom})
	assert.Equal(t, codes.NotFound, status.Code(err))
	_, err = choose(domain.RoleMaker, &saggarv1.MailChoice{Name: mia, Email: "mia"})
	assert.Equal(t, []string{"mail_choice.email"}, fieldsOf(err))
	_, err = choose(domain.RoleSteward, &saggarv1.MailChoice{Name: north + "/mailChoices/nobody", Email: "a@example.edu"})
	assert.Equal(t, []string{"mail_choice.name"}, fieldsOf(err))
}
