package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/types/known/emptypb"

	saggarv1 "saggar/proto/saggar/v1"
)

func TestPeopleAreAddedTrainedAndRemoved(t *testing.T) {
	f := newFakeServer(t)
	ada := &saggarv1.Person{Name: "studios/marl-lane/people/ada", Role: saggarv1.Role_ROLE_MAKER, Etag: "r1", Trainings: []*saggarv1.Training{
		{Subject: "respirator-fit", DoneOn: "2026-02-26", ExpiresOn: "2027-02-26"}, {Subject: "furnaces/pot", DoneOn: "2026-02-26", ExpiresOn: "2027-02-26"},
	}}
	f.answer("UpdatePerson", ada)
	f.succeed("person", "add", "ada", "--role", "maker", "--department", "ceramics", "--department", "sculpture")
	request := asked[*saggarv1.UpdatePersonRequest](f)
	assertSame(t, &saggarv1.Person{
		Name: "studios/marl-lane/people/ada", Role: saggarv1.Role_ROLE_MAKER, Departments: []string{"ceramics", "sculpture"},
	}, request.GetPerson())
	assert.True(t, request.GetAllowMissing())

	f.answer("GetPerson", ada)
	f.succeed("person", "train", "ada", "--for", "respirator-fit", "--on", "2027-02-26")
	request = asked[*saggarv1.UpdatePersonRequest](f)
	assert.Equal(t, []string{"trainings"}, request.GetUpdateMask().GetPaths())
	assertSame(t, &saggarv1.Person{Name: "studios/marl-lane/people/ada", Etag: "r1", Trainings: []*saggarv1.Training{
		{Subject: "furnaces/pot", DoneOn: "2026-02-26", ExpiresOn: "2027-02-26"}, {Subject: "respirator-fit", DoneOn: "2027-02-26"},
	}}, request.GetPerson())

	f.answer("ListPeople", &saggarv1.ListPeopleResponse{People: []*saggarv1.Person{ada}})
	assert.Contains(t, f.succeed("person", "list"), "respirator-fit 2027-02-26, furnaces/pot 2027-02-26")
	f.answer("DeletePerson", &emptypb.Empty{})
	f.succeed("person", "remove", "ada")
	assert.Equal(t, "studios/marl-lane/people/ada", asked[*saggarv1.DeletePersonRequest](f).GetName())
	assert.Equal(t, 2, f.run("person", "add", "ada", "--role", "emperor").code)
}

func TestDepartmentsAreAddedListedAndRemoved(t *testing.T) {
	f := newFakeServer(t)
	ceramics := &saggarv1.Department{Name: "studios/marl-lane/departments/ceramics", Title: "Ceramics"}
	f.answer("UpdateDepartment", ceramics)
	f.succeed("department", "add", "ceramics", "--title", "Ceramics")
	assertSame(t, ceramics, asked[*saggarv1.UpdateDepartmentRequest](f).GetDepartment())
	f.answer("ListDepartments", &saggarv1.ListDepartmentsResponse{Departments: []*saggarv1.Department{ceramics}})
	assert.Contains(t, f.succeed("department", "list"), "Ceramics")
	f.answer("DeleteDepartment", &emptypb.Empty{})
	f.succeed("department", "remove", "ceramics")
}
