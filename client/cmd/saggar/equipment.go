package main

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/chem/air"
	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// equipmentKind is one kind of equipment on the command line. All have the same verbs; the functions say which RPC each is.
type equipmentKind struct {
	noun, plural, exampleID string
	collection, short       string
	field                   string // of the resource in the request of its update
	empty                   func() proto.Message
	get                     func(ctx context.Context, c *api.Connection, name string) (proto.Message, error)
	// list is nil for what is listed and created otherwise.
	list    func(ctx context.Context, c *api.Connection, parent, token string) (page proto.Message, next string, err error)
	update  func(ctx context.Context, c *api.Connection, x change) (proto.Message, error)
	columns []string
	row     func(m proto.Message, zone *time.Location) []string
	details func(m proto.Message) []render.Grid // below the row of one; nil for none
}

// change is what a resource is to become.
type change struct {
	to     proto.Message
	mask   *fieldmaskpb.FieldMask
	create bool // when there is none
}

var roomKind = equipmentKind{
	noun: "room", exampleID: "kiln-hall", plural: "rooms", field: "room", collection: "rooms", short: "Rooms: air volume, make-up air, detectors, crew",
	empty: func() proto.Message { return &saggarv1.Room{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Equipment.GetRoom(ctx, &saggarv1.GetRoomRequest{Name: name})
	},
	list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
		page, err := c.Equipment.ListRooms(ctx, &saggarv1.ListRoomsRequest{Parent: parent, PageToken: token})
		return page, page.GetNextPageToken(), err
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Equipment.UpdateRoom(ctx, &saggarv1.UpdateRoomRequest{
			Room: x.to.(*saggarv1.Room), UpdateMask: x.mask, AllowMissing: x.create,
		})
	},
	details: roomDetails,
	columns: []string{"room", "title", "volume m3", "make-up m3/s", "mixing", "crew", "detectors"},
	row: func(m proto.Message, _ *time.Location) []string {
		r := m.(*saggarv1.Room)
		var detectors []string
		for _, d := range r.GetDetectors() {
			detectors = append(detectors, d.GetSpecies()+" "+d.GetTestedOn())
		}
		return []string{
			shortName(r.GetName()), r.GetTitle(), render.Number(r.GetVolumeCubicMeters()),
			render.Number(r.GetMakeUpCubicMetersPerSecond()), render.Number(cmp.Or(r.GetMixingFactor(), air.DefaultMixingFactor)), count(cmp.Or(r.GetCrewCount(), 1)),
			strings.Join(detectors, ", "),
		}
	},
}

var circuitKind = equipmentKind{
	noun: "circuit", exampleID: "bay-fan", plural: "extraction circuits", field: "extraction_circuit", collection: "extractionCircuits", short: "Extraction circuits: a fan and its branches",
	empty: func() proto.Message { return &saggarv1.ExtractionCircuit{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Equipment.GetExtractionCircuit(ctx, &saggarv1.GetExtractionCircuitRequest{Name: name})
	},
	list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
		page, err := c.Equipment.ListExtractionCircuits(ctx, &saggarv1.ListExtractionCircuitsRequest{Parent: parent, PageToken: token})
		return page, page.GetNextPageToken(), err
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Equipment.UpdateExtractionCircuit(ctx, &saggarv1.UpdateExtractionCircuitRequest{
			ExtractionCircuit: x.to.(*saggarv1.ExtractionCircuit), UpdateMask: x.mask, AllowMissing: x.create,
		})
	},
	details: circuitDetails,
	columns: []string{"circuit", "title", "recirculating", "branches m3/s"},
	row: func(m proto.Message, _ *time.Location) []string {
		x := m.(*saggarv1.ExtractionCircuit)
		var branches []string
		for _, b := range x.GetBranches() {
			branches = append(branches, fmt.Sprintf("%s %s", b.GetId(), render.Number(b.GetCubicMetersPerSecond())))
		}
		return []string{shortName(x.GetName()), x.GetTitle(), yes(x.GetRecirculating()), strings.Join(branches, ", ")}
	},
}

var supplyKind = equipmentKind{
	noun: "supply", exampleID: "hall-panel", plural: "supplies", field: "supply", collection: "supplies", short: "Supplies: panels and gas lines that furnaces share",
	empty: func() proto.Message { return &saggarv1.Supply{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Equipment.GetSupply(ctx, &saggarv1.GetSupplyRequest{Name: name})
	},
	list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
		page, err := c.Equipment.ListSupplies(ctx, &saggarv1.ListSuppliesRequest{Parent: parent, PageToken: token})
		return page, page.GetNextPageToken(), err
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Equipment.UpdateSupply(ctx, &saggarv1.UpdateSupplyRequest{
			Supply: x.to.(*saggarv1.Supply), UpdateMask: x.mask, AllowMissing: x.create,
		})
	},
	columns: []string{"supply", "title", "limit kW"},
	row: func(m proto.Message, _ *time.Location) []string {
		x := m.(*saggarv1.Supply)
		return []string{shortName(x.GetName()), x.GetTitle(), render.Number(x.GetLimitKilowatts())}
	},
}

var furnaceKind = equipmentKind{
	noun: "furnace", exampleID: "big-kiln", plural: "furnaces and stations", field: "furnace", collection: "furnaces", short: "Furnaces and stations: what can be booked",
	empty: func() proto.Message { return &saggarv1.Furnace{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Equipment.GetFurnace(ctx, &saggarv1.GetFurnaceRequest{Name: name})
	},
	list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
		page, err := c.Equipment.ListFurnaces(ctx, &saggarv1.ListFurnacesRequest{Parent: parent, PageToken: token})
		return page, page.GetNextPageToken(), err
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Equipment.UpdateFurnace(ctx, &saggarv1.UpdateFurnaceRequest{
			Furnace: x.to.(*saggarv1.Furnace), UpdateMask: x.mask, AllowMissing: x.create,
		})
	},
	details: furnaceDetails,
	columns: []string{"furnace", "title", "room", "heat", "kW", "top C", "litres", "supply"},
	row: func(m proto.Message, _ *time.Location) []string {
		f := m.(*saggarv1.Furnace)
		return []string{
			shortName(f.GetName()), f.GetTitle(), f.GetRoom(), render.Enum(f.GetSource()), orDash(f.GetInputKilowatts()),
			orDash(f.GetTopCelsius()), orDash(f.GetChamberLiters()), f.GetSupply(),
		}
	},
}

var hoursKind = equipmentKind{
	noun: "hours", exampleID: "kiln-hall", plural: "staffed hours", field: "staffed_hours", collection: "staffedHours", short: "Staffed hours: when somebody who answers for a room is there",
	empty: func() proto.Message { return &saggarv1.StaffedHours{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Equipment.GetStaffedHours(ctx, &saggarv1.GetStaffedHoursRequest{Name: name})
	},
	list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
		page, err := c.Equipment.ListStaffedHours(ctx, &saggarv1.ListStaffedHoursRequest{Parent: parent, PageToken: token})
		return page, page.GetNextPageToken(), err
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Equipment.UpdateStaffedHours(ctx, &saggarv1.UpdateStaffedHoursRequest{
			StaffedHours: x.to.(*saggarv1.StaffedHours), UpdateMask: x.mask, AllowMissing: x.create,
		})
	},
	columns: []string{"room", "weekly hours", "exceptions"},
	row: func(m proto.Message, _ *time.Location) []string {
		h := m.(*saggarv1.StaffedHours)
		return []string{shortName(h.GetName()), weeklyText(h.GetWeekly()), fmt.Sprint(len(h.GetExceptions()))}
	},
}

func weeklyText(hours []*saggarv1.WeeklyHours) string {
	var weekly []string
	for _, w := range hours {
		var days []string
		for _, d := range w.GetDays() {
			days = append(days, render.Enum(d)[:3])
		}
		weekly = append(weekly, fmt.Sprintf("%s %s-%s", strings.Join(days, " "), w.GetOpens(), w.GetCloses()))
	}
	return strings.Join(weekly, "; ")
}

var closureKind = equipmentKind{
	noun: "closure", exampleID: "repair", plural: "closures", field: "closure", collection: "closures", short: "Closures: what is out of use for a time",
	empty: func() proto.Message { return &saggarv1.Closure{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Equipment.GetClosure(ctx, &saggarv1.GetClosureRequest{Name: name})
	},
	list: func(ctx context.Context, c *api.Connection, parent, token string) (proto.Message, string, error) {
		page, err := c.Equipment.ListClosures(ctx, &saggarv1.ListClosuresRequest{Parent: parent, PageToken: token})
		return page, page.GetNextPageToken(), err
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Equipment.UpdateClosure(ctx, &saggarv1.UpdateClosureRequest{
			Closure: x.to.(*saggarv1.Closure), UpdateMask: x.mask, AllowMissing: x.create,
		})
	},
	columns: []string{"closure", "subject", "from", "until", "what", "reason"},
	row: func(m proto.Message, zone *time.Location) []string {
		x := m.(*saggarv1.Closure)
		return []string{
			shortName(x.GetName()), x.GetSubject(), localWithYear(x.GetStartTime(), zone), localWithYear(x.GetEndTime(), zone), closureWords(x),
			x.GetReason(),
		}
	},
}

// closureWords say what a closure means.
func closureWords(c *saggarv1.Closure) string {
	if c.GetUnoccupied() {
		return "nobody inside"
	}
	return "out of use"
}

func (s *shell) equipmentCommand(k equipmentKind) *cobra.Command {
	return group(k.noun, k.short, s.equipmentListCommand(k), s.equipmentShowCommand(k), s.equipmentUpdateCommand(k))
}

func (s *shell) equipmentListCommand(k equipmentKind) *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List all " + k.plural + " of the studio", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				all, err := pages(func(token string) (proto.Message, string, error) {
					return k.list(c.Context(), connection, parent, token)
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid { return []render.Grid{k.grid(zone, elements(all)...)} })
			})
		},
	}
}

func (s *shell) equipmentShowCommand(k equipmentKind) *cobra.Command {
	return &cobra.Command{
		Use: "show ID", Example: "  saggar " + k.noun + " show " + k.exampleID,
		Short: "Show one of the " + k.plural + "; --output yaml gives all of it", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				m, err := k.get(c.Context(), connection, convert.Name(s.studio, k.collection, args[0]))
				if err != nil {
					return err
				}
				return s.print(m, func() []render.Grid {
					grids := []render.Grid{k.grid(zone, m)}
					if k.details != nil {
						grids = append(grids, k.details(m)...)
					}
					return grids
				})
			})
		},
	}
}

func (s *shell) equipmentUpdateCommand(k equipmentKind) *cobra.Command {
	var path string
	var create bool
	command := &cobra.Command{
		Use: "update --file FILE", Short: "Change one of the " + k.plural + "; the fields in the file are set", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				m := k.empty()
				from, err := s.decode(path, m, zone)
				if err != nil {
					return badInput(err)
				}
				changed, err := k.update(c.Context(), connection, change{m, from.mask(), create})
				if err != nil {
					return from.serverFaults(k.field, err)
				}
				return s.print(changed, func() []render.Grid { return []render.Grid{k.grid(zone, changed)} })
			})
		},
	}
	command.Flags().StringVarP(&path, "file", "f", "-", "YAML or JSON file, - for standard input")
	if k.list != nil {
		command.Flags().BoolVar(&create, "create", false, "create it when there is none")
	}
	return command
}

func (k equipmentKind) grid(zone *time.Location, list ...proto.Message) render.Grid {
	grid := render.Grid{Columns: k.columns}
	for _, m := range list {
		grid.Rows = append(grid.Rows, k.row(m, zone))
	}
	return grid
}

// pages fetches every page of a list and returns the first with the elements of all.
func pages(fetch func(token string) (proto.Message, string, error)) (proto.Message, error) {
	all, next, err := fetch("")
	for err == nil && next != "" {
		var page proto.Message
		if page, next, err = fetch(next); err == nil {
			proto.Merge(all, page) // lists are appended
		}
	}
	if err != nil {
		return nil, err
	}
	all.ProtoReflect().Clear(all.ProtoReflect().Descriptor().Fields().ByName("next_page_token"))
	return all, nil
}

// elements are the messages in the one list of a list response.
func elements(response proto.Message) []proto.Message {
	var list []proto.Message
	response.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		if field.IsList() && field.Message() != nil {
			for i := range value.List().Len() {
				list = append(list, value.List().Get(i).Message().Interface())
			}
		}
		return true
	})
	return list
}

func shortName(name string) string { return convert.ID(name) }

// orDash shows a number that may be left out, as that of a bench's heat.
func orDash(x float64) string {
	if x == 0 {
		return "-"
	}
	return render.Number(x)
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// localWithYear shows an instant, which may be long ago or far off, in the studio's time.
func localWithYear(t *timestamppb.Timestamp, zone *time.Location) string {
	return t.AsTime().In(zone).Format("Mon 2 Jan 2006 15:04")
}
