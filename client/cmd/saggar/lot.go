package main

import (
	"context"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// Lots are shown and changed as equipment is, and have verbs of their own for what they hold.
var lotKind = equipmentKind{
	noun: "lot", exampleID: "kaolin-3", plural: "lots", field: "lot", collection: "lots",
	short: "Lots: what of materials and intermediates is at hand",
	empty: func() proto.Message { return &saggarv1.Lot{} },
	get: func(ctx context.Context, c *api.Connection, name string) (proto.Message, error) {
		return c.Lots.GetLot(ctx, &saggarv1.GetLotRequest{Name: name})
	},
	update: func(ctx context.Context, c *api.Connection, x change) (proto.Message, error) {
		return c.Lots.UpdateLot(ctx, &saggarv1.UpdateLotRequest{Lot: x.to.(*saggarv1.Lot), UpdateMask: x.mask})
	},
	details: lotDetails,
	columns: []string{"lot", "what", "at hand g", "reserved g", "of", "age days", "place", "low"},
	row: func(m proto.Message, _ *time.Location) []string {
		l := m.(*saggarv1.Lot)
		return []string{
			shortName(l.GetName()), lotContents(l), render.Number(l.GetMassGrams()), render.Number(l.GetReservedGrams()), lotOwner(l),
			count(l.GetAgeDays()), l.GetPlace(), yes(l.GetLowStock()),
		}
	},
}

// lotContents says what a lot is: its title, else its material or what made it.
func lotContents(l *saggarv1.Lot) string {
	switch {
	case l.GetTitle() != "":
		return l.GetTitle()
	case l.GetMaterial() != "":
		return l.GetMaterial()
	case l.GetFromRun() != "":
		return l.GetFromRun() + ", " + l.GetFromStage()
	default:
		return "intermediate"
	}
}

func lotOwner(l *saggarv1.Lot) string {
	switch {
	case l.GetDepartment() == "":
		return "everybody"
	case l.GetShared():
		return l.GetDepartment() + ", shared"
	default:
		return l.GetDepartment()
	}
}

func lotDetails(m proto.Message) []render.Grid {
	l := m.(*saggarv1.Lot)
	grid := render.Grid{Rows: [][]string{{"owner", l.GetOwner()}, {"made on", l.GetMadeOn()}}}
	add := func(what, value string) {
		if value != "" {
			grid.Rows = append(grid.Rows, []string{what, value})
		}
	}
	add("material", l.GetMaterial())
	if l.GetFromRun() != "" {
		add("made by", "run "+l.GetFromRun()+", stage "+l.GetFromStage())
	}
	if l.MoistureFraction != nil {
		add("moisture", render.Number(100*l.GetMoistureFraction())+" %")
	}
	for _, p := range l.GetPhases() {
		add("holds "+p.GetFormula(), render.Number(100*p.GetMassFraction())+" % of the dry mass")
	}
	for _, o := range l.GetOxides() {
		add("holds "+o.GetFormula(), render.Number(100*o.GetMassFraction())+" % of the dry mass")
	}
	if l.GetLowStockGrams() > 0 {
		add("watched for", "less than "+render.Number(l.GetLowStockGrams())+" g free")
	}
	add("safety sheet", l.GetSafetySheet())
	return []render.Grid{grid}
}

func (s *shell) lotCommand() *cobra.Command {
	return group(lotKind.noun, lotKind.short, s.lotListCommand(), s.equipmentShowCommand(lotKind), s.lotAddCommand(),
		s.equipmentUpdateCommand(lotKind), s.lotTakeCommand(), s.lotReturnCommand(), s.lotWeighCommand(), s.lotHistoryCommand())
}

func (s *shell) lotListCommand() *cobra.Command {
	var department, material, run idFlag
	var low, empty bool
	command := &cobra.Command{
		Use: "list", Short: "List what is at hand", Args: cobra.NoArgs, Example: "  saggar lot list --low",
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Lots.ListLots(c.Context(), &saggarv1.ListLotsRequest{
						Parent: parent, Department: string(department), Material: string(material), FromRun: string(run), LowStock: low,
						ShowEmpty: empty, PageToken: token,
					})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid { return []render.Grid{lotKind.grid(time.UTC, elements(all)...)} })
			})
		},
	}
	flags := command.Flags()
	flags.Var(&department, "department", "only this department's")
	flags.Var(&material, "material", "only of this material")
	flags.Var(&run, "from-run", "only what this run made")
	flags.BoolVar(&low, "low", false, "only those that run low")
	flags.BoolVar(&empty, "all", false, "also those that are used up")
	return command
}

func (s *shell) lotAddCommand() *cobra.Command {
	var lot saggarv1.Lot
	var path string
	var material, department, run, stage idFlag
	mass, low, moisture := aboveZero(1e7), between(0, 1e7, 0), between(0, 0.999, 0)
	add := &cobra.Command{
		Use: "add [ID] --grams G (--material M | --from-run R --from-stage S | --file FILE)", Args: cobra.MaximumNArgs(1),
		Example: "  saggar lot add kaolin-3 --material kaolin --grams 25000 --moisture 0.01 --low-stock-grams 5000",
		Short:   "Put a lot down: a delivery, or what a load made, which then is what the balance says stays",
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				put := &saggarv1.Lot{}
				var from source
				if path != "" {
					var err error
					if from, err = s.decode(path, put, nil); err != nil {
						return badInput(err)
					}
				}
				proto.Merge(put, &lot)
				if len(args) > 0 {
					put.Name = convert.Name(s.studio, lotKind.collection, args[0])
				}
				proto.Merge(put, &saggarv1.Lot{
					Material: string(material), Department: string(department), FromRun: string(run), FromStage: string(stage),
					MassGrams: mass.value, LowStockGrams: low.value,
				})
				if c.Flags().Changed("moisture") {
					put.MoistureFraction = &moisture.value
				}
				created, err := connection.Lots.CreateLot(c.Context(), &saggarv1.CreateLotRequest{
					Parent: parent, Lot: put, RequestId: api.NewRequestID(),
				})
				if err != nil && path != "" {
					return from.serverFaults(lotKind.field, err)
				}
				return s.printLot(created, err)
			})
		},
	}
	flags := add.Flags()
	flags.Var(mass, "grams", "what it weighs, in g")
	flags.Var(&material, "material", "id of the material of which it is a delivery")
	flags.Var(&run, "from-run", "id of the run that made it")
	flags.Var(&stage, "from-stage", "id of the stage that made it")
	flags.Var(&department, "department", "id of the department whose it is (default: everybody's, or the run's)")
	flags.Var(moisture, "moisture", "free water by mass as weighed, such as 0.02")
	flags.Var(low, "low-stock-grams", "it runs low when less than this is free, in g")
	flags.BoolVar(&lot.Shared, "shared", false, "other departments may take of it too")
	flags.StringVar(&lot.MadeOn, "made-on", "", "day on which it was made, received or dried, YYYY-MM-DD (default: today)")
	flags.StringVar(&lot.Title, "title", "", "what people call it")
	flags.StringVar(&lot.Owner, "owner", "", "id of the person whose it is (default: you)")
	flags.StringVar(&lot.Place, "place", "", "where it stands")
	flags.StringVar(&lot.SafetySheet, "safety-sheet", "", "address of its safety data sheet")
	flags.StringVarP(&path, "file", "f", "", "YAML or JSON file with more of it, such as its phases or oxides")
	add.MarkFlagsRequiredTogether("from-run", "from-stage")
	return add
}

func (s *shell) printLot(lot *saggarv1.Lot, err error) error {
	if err != nil {
		return err
	}
	return s.print(lot, func() []render.Grid { return []render.Grid{lotKind.grid(time.UTC, lot)} })
}

// lotMass is how much of a lot is meant, and why, as flags say it.
type lotMass struct {
	mass   *numberFlag
	reason string
}

func (m *lotMass) flags(command *cobra.Command, usage string) {
	command.Flags().Var(m.mass, "grams", usage)
	command.Flags().StringVar(&m.reason, "reason", "", "why")
	for _, name := range []string{"grams", "reason"} {
		cobra.CheckErr(command.MarkFlagRequired(name))
	}
}

func (s *shell) lotTakeCommand() *cobra.Command {
	m, load := lotMass{mass: aboveZero(1e7)}, loadFlag{}
	command := &cobra.Command{
		Use: "take ID --grams G --reason WHY", Args: cobra.ExactArgs(1),
		Example: "  saggar lot take kaolin-3 --grams 71 --reason weighed --load blue-one/mix",
		Short:   "Take some; with --load what the run reserved there is settled by it",
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				return s.printLot(connection.Lots.TakeLot(c.Context(), &saggarv1.TakeLotRequest{
					Name: convert.Name(s.studio, lotKind.collection, args[0]), MassGrams: m.mass.value, Reason: m.reason,
					Load: load.name(s.studio), RequestId: api.NewRequestID(),
				}))
			})
		},
	}
	m.flags(command, "how much, in g")
	command.Flags().Var(&load, "load", "RUN/STAGE that it is charged with")
	return command
}

func (s *shell) lotReturnCommand() *cobra.Command {
	m := lotMass{mass: aboveZero(1e7)}
	command := &cobra.Command{
		Use: "return ID --grams G --reason WHY", Args: cobra.ExactArgs(1),
		Example: "  saggar lot return kaolin-3 --grams 20 --reason 'not needed'", Short: "Put some back",
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				return s.printLot(connection.Lots.ReturnLot(c.Context(), &saggarv1.ReturnLotRequest{
					Name: convert.Name(s.studio, lotKind.collection, args[0]), MassGrams: m.mass.value, Reason: m.reason, RequestId: api.NewRequestID(),
				}))
			})
		},
	}
	m.flags(command, "how much, in g")
	return command
}

func (s *shell) lotWeighCommand() *cobra.Command {
	m, moisture := lotMass{mass: between(0, 1e7, 0)}, between(0, 0.999, 0)
	var driedOn string
	command := &cobra.Command{
		Use: "weigh ID --grams G --reason WHY", Args: cobra.ExactArgs(1),
		Example: "  saggar lot weigh blue-one-12 --grams 98.2 --reason dried --moisture 0 --dried-on 2027-03-08",
		Short:   "Note what it weighs now, as after drying",
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, _ string) error {
				request := &saggarv1.WeighLotRequest{
					Name: convert.Name(s.studio, lotKind.collection, args[0]), MassGrams: m.mass.value, Reason: m.reason, DriedOn: driedOn,
					RequestId: api.NewRequestID(),
				}
				if c.Flags().Changed("moisture") {
					request.MoistureFraction = &moisture.value
				}
				return s.printLot(connection.Lots.WeighLot(c.Context(), request))
			})
		},
	}
	m.flags(command, "what it weighs, in g")
	command.Flags().Var(moisture, "moisture", "free water by mass as weighed, when that changed too")
	command.Flags().StringVar(&driedOn, "dried-on", "", "day on which it was dried and weighed, YYYY-MM-DD; its age then counts from there")
	return command
}

func (s *shell) lotHistoryCommand() *cobra.Command {
	return &cobra.Command{
		Use: "history [ID]", Example: "  saggar lot history kaolin-3", Short: "Show what happened to a lot or to all, newest first",
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				request := &saggarv1.ListLotEntriesRequest{Parent: parent}
				if len(args) > 0 {
					request.Lot = args[0]
				}
				all, err := pages(func(token string) (proto.Message, string, error) {
					request.PageToken = token
					page, err := connection.Lots.ListLotEntries(c.Context(), request)
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid {
					return []render.Grid{lotEntryGrid(all.(*saggarv1.ListLotEntriesResponse).GetLotEntries(), zone)}
				})
			})
		},
	}
}

func lotEntryGrid(entries []*saggarv1.LotEntry, zone *time.Location) render.Grid {
	grid := render.Grid{Columns: []string{"when", "lot", "what", "g", "reserved g", "then at hand g", "for", "by", "why"}}
	for _, e := range entries {
		run := ""
		if e.GetRun() != "" {
			run = shortName(e.GetRun())
		}
		grid.Rows = append(grid.Rows, []string{
			localWithYear(e.GetEntryTime(), zone), e.GetLot(), render.Enum(e.GetKind()), signed(e.GetChangeGrams()),
			signed(e.GetReservedChangeGrams()), render.Number(e.GetMassGrams()), run, e.GetCaller(), e.GetReason(),
		})
	}
	return grid
}

// signed shows a change with its sign; nothing for none.
func signed(grams float64) string {
	switch {
	case grams == 0:
		return ""
	case grams > 0:
		return "+" + render.Number(grams)
	default:
		return render.Number(grams)
	}
}
