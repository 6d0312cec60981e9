package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// Departments and people have the verbs of equipment, and some of their own.
var (
	departmentKind = equipmentKind{
		noun: "department", exampleID: "ceramics", plural: "departments", field: "department", collection: "departments",
		short: "Departments: who books at the studio",
		empty: func() proto.Message { return &saggarv1.Department{} },
		get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
			return c.People.GetDepartment(ctx, &saggarv1.GetDepartmentRequest{Name: name})
		},
		list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
			page, err := c.People.ListDepartments(ctx, &saggarv1.ListDepartmentsRequest{Parent: parent, PageToken: token})
			return page, page.GetNextPageToken(), err
		},
		update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
			return c.People.UpdateDepartment(ctx, &saggarv1.UpdateDepartmentRequest{
				Department: x.to.(*saggarv1.Department), UpdateMask: x.mask, AllowMissing: x.create,
			})
		},
		columns: []string{"department", "title"},
		row: func(m proto.Message, _ *time.Location) []string {
			d := m.(*saggarv1.Department)
			return []string{shortName(d.GetName()), d.GetTitle()}
		},
	}
	personKind = equipmentKind{
		noun: "person", exampleID: "ada", plural: "people", field: "person", collection: "people",
		short: "People: what they may do in the studio, and what they were trained for",
		empty: func() proto.Message { return &saggarv1.Person{} },
		get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
			return c.People.GetPerson(ctx, &saggarv1.GetPersonRequest{Name: name})
		},
		list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
			page, err := c.People.ListPeople(ctx, &saggarv1.ListPeopleRequest{Parent: parent, PageToken: token})
			return page, page.GetNextPageToken(), err
		},
		update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
			return c.People.UpdatePerson(ctx, &saggarv1.UpdatePersonRequest{
				Person: x.to.(*saggarv1.Person), UpdateMask: x.mask, AllowMissing: x.create,
			})
		},
		columns: []string{"person", "title", "role", "departments", "trained for, until"},
		row: func(m proto.Message, _ *time.Location) []string {
			p := m.(*saggarv1.Person)
			var trainings []string
			for _, t := range p.GetTrainings() {
				trainings = append(trainings, t.GetSubject()+" "+t.GetExpiresOn())
			}
			return []string{
				shortName(p.GetName()), p.GetTitle(), render.Enum(p.GetRole()),
				strings.Join(p.GetDepartments(), ", "), strings.Join(trainings, ", "),
			}
		},
	}
)

func (s *shell) departmentCommand() *cobra.Command {
	command := s.equipmentCommand(departmentKind)
	command.AddCommand(s.departmentAddCommand(), s.removeCommand(departmentKind, "Remove a department to which nobody belongs",
		func(ctx context.Context, c *api.Connection, name string) error {
			_, err := c.People.DeleteDepartment(ctx, &saggarv1.DeleteDepartmentRequest{Name: name})
			return err
		}))
	return command
}

func (s *shell) departmentAddCommand() *cobra.Command {
	var title string
	add := &cobra.Command{
		Use: "add ID", Example: "  saggar department add ceramics --title Ceramics", Short: "Add a department", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.putResource(c, departmentKind, change{to: &saggarv1.Department{
				Name: args[0], Title: title,
			}, create: true})
		},
	}
	add.Flags().StringVar(&title, "title", "", "what people call it")
	return add
}

func (s *shell) personCommand() *cobra.Command {
	command := s.equipmentCommand(personKind)
	command.AddCommand(s.personAddCommand(), s.personTrainCommand(),
		s.removeCommand(personKind, "Remove somebody from the studio; their keys end, their runs stay",
			func(ctx context.Context, c *api.Connection, name string) error {
				_, err := c.People.DeletePerson(ctx, &saggarv1.DeletePersonRequest{Name: name})
				return err
			}))
	return command
}

func (s *shell) personAddCommand() *cobra.Command {
	var title, role, subject string
	var departments []string
	add := &cobra.Command{
		Use: "add ID --role viewer|maker|technician|steward", Example: "  saggar person add ada --role maker --department ceramics",
		Short: "Add somebody, or change what is given of them", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			p := &saggarv1.Person{Name: args[0], Title: title, Departments: departments, OpenidSubject: subject}
			value, err := file.EnumNumber(p.GetRole().Descriptor(), role)
			if err != nil {
				return badInput(fmt.Errorf("--role: %w", err))
			}
			p.Role = saggarv1.Role(value)
			return s.putResource(c, personKind, change{to: p, create: true})
		},
	}
	flags := add.Flags()
	flags.StringVar(&role, "role", "maker", "viewer, maker, technician or steward")
	flags.StringVar(&title, "title", "", "what people call them")
	flags.StringSliceVar(&departments, "department", nil, "a department that they book for; may be given several times")
	flags.StringVar(&subject, "openid-subject", "", "the subject by which the issuer of tokens knows them")
	return add
}

func (s *shell) personTrainCommand() *cobra.Command {
	var training saggarv1.Training
	train := &cobra.Command{
		Use: "train ID --for SUBJECT --on DATE", Args: cobra.ExactArgs(1),
		Example: "  saggar person train ada --for respirator-fit --on 2027-02-26",
		Short:   "Note a training or fit test; it takes the place of an earlier one for the same",
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				name := convert.Name(s.studio, personKind.collection, args[0])
				p, err := connection.People.GetPerson(c.Context(), &saggarv1.GetPersonRequest{Name: name})
				if err != nil {
					return err
				}
				changed := &saggarv1.Person{Name: name, Etag: p.GetEtag()}
				for _, t := range p.GetTrainings() {
					if t.GetSubject() != training.GetSubject() {
						changed.Trainings = append(changed.Trainings, t)
					}
				}
				changed.Trainings = append(changed.Trainings, &training)
				mask := &fieldmaskpb.FieldMask{Paths: []string{"trainings"}}
				return s.putKnown(c, connection, personKind, change{to: changed, mask: mask})
			})
		},
	}
	flags := train.Flags()
	flags.StringVar(&training.Subject, "for", "", "hot-charging, respirator-fit, respirator-training or furnaces/ID")
	flags.StringVar(&training.DoneOn, "on", "", "date, YYYY-MM-DD")
	flags.StringVar(&training.ExpiresOn, "until", "", "last date on which it counts; without it twelve months later")
	for _, name := range []string{"for", "on"} {
		cobra.CheckErr(train.MarkFlagRequired(name))
	}
	return train
}

// putResource stores a resource whose name is an id yet.
func (s *shell) putResource(c *cobra.Command, k equipmentKind, x change) error {
	return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
		m := x.to.ProtoReflect()
		name := m.Descriptor().Fields().ByName("name")
		m.Set(name, protoreflect.ValueOfString(convert.Name(s.studio, k.collection, m.Get(name).String())))
		return s.putKnown(c, connection, k, x)
	})
}

func (s *shell) putKnown(c *cobra.Command, connection *api.Connection, k equipmentKind, x change) error {
	changed, err := k.update(c.Context(), connection, x)
	if err != nil {
		return err
	}
	return s.print(changed, func() []render.Grid { return []render.Grid{k.grid(time.UTC, changed)} })
}

// removeCommand deletes a resource.
func (s *shell) removeCommand(
	k equipmentKind, short string, remove func(ctx context.Context, c *api.Connection, name string) error,
) *cobra.Command {
	return &cobra.Command{
		Use: "remove ID", Example: "  saggar " + k.noun + " remove " + k.exampleID, Short: short, Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				return remove(c.Context(), connection, convert.Name(s.studio, k.collection, args[0]))
			})
		},
	}
}
