package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"saggar/chem/heat"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// heatTime is how long a program takes on a furnace.
type heatTime struct {
	Segments       []segmentTime `json:"segments"`
	CoolingMinutes float64       `json:"cooling_minutes"`
	TotalMinutes   float64       `json:"total_minutes"`
	// EnergyKilowattHours goes into the chamber: what goes out through the lining and what chamber and lining keep.
	EnergyKilowattHours   float64  `json:"energy_kilowatt_hours"`
	WallLossKilowattHours float64  `json:"wall_loss_kilowatt_hours"`
	StoredKilowattHours   float64  `json:"stored_kilowatt_hours"`
	Assumptions           []string `json:"assumptions"`
	Caution               string   `json:"caution"`
}

// segmentTime is one segment of it; the possible and the taken minutes are 0 where the furnace cannot reach it.
type segmentTime struct {
	Index           int     `json:"index"`
	AskedMinutes    float64 `json:"asked_minutes"`
	PossibleMinutes float64 `json:"possible_minutes"`
	DurationMinutes float64 `json:"duration_minutes"`
	Reachable       bool    `json:"reachable"`
}

func (s *shell) heatCommand() *cobra.Command {
	start, openBelow := between(-40, 2000, heat.DefaultAmbientCelsius), between(-40, 2000, heat.DefaultOpenBelowCelsius)
	var furnacePath, programPath string
	timeCommand := &cobra.Command{
		Use:     "time --furnace FILE --program FILE",
		Example: "  saggar heat time --furnace furnace.yaml --program program.yaml",
		Short:   "How long a heat program takes on a furnace", Args: cobra.NoArgs,
		Long: "How long a heat program takes on a furnace, from the furnace's own measured times, and how long it then cools.\n\n" +
			"A segment that the furnace cannot reach is answered as such and left out of the sums.",
		RunE: func(c *cobra.Command, _ []string) error {
			furnace, constants, err := s.readFurnace(furnacePath)
			if err != nil {
				return err
			}
			message := &saggarv1.HeatProgram{}
			from, err := s.decode(programPath, message, nil)
			if err != nil {
				return badInput(err)
			}
			program := *convert.ProgramFromProto(message)
			if !c.Flags().Changed("start-celsius") {
				start.value = constants.AmbientCelsius
			}
			result, err := heat.RunUntil(furnace, constants, program, start.value, openBelow.value)
			if err != nil {
				return badInput(from.located(err))
			}
			answer := newHeatTime(result)
			return s.print(answer, func() []render.Grid { return heatGrids(answer, program) })
		},
	}
	flags := timeCommand.Flags()
	flags.StringVar(&furnacePath, "furnace", "", "YAML or JSON file with the furnace and its measured times, - for standard input")
	flags.StringVar(&programPath, "program", "", "YAML or JSON file with the heat program, - for standard input")
	flags.Var(start, "start-celsius", "temperature at which the program starts; the furnace's ambient one unless given")
	flags.Var(openBelow, "open-below-celsius", "how cold the charge must be before the furnace is opened")
	cobra.CheckErr(timeCommand.MarkFlagRequired("furnace"))
	cobra.CheckErr(timeCommand.MarkFlagRequired("program"))
	return group("heat", "Heat: how long programs take, how far they convert, and what a furnace's log says of it", timeCommand,
		s.conversionCommand(), s.weighingCommand(), s.reactionsCommand(), s.heatFitCommand())
}

// readFurnace reads a furnace and finds its constants.
func (s *shell) readFurnace(path string) (heat.Furnace, heat.Constants, error) {
	furnace, from, err := s.describedFurnace(path)
	if err != nil {
		return heat.Furnace{}, heat.Constants{}, err
	}
	constants, err := heat.Fit(furnace)
	if err != nil {
		return heat.Furnace{}, heat.Constants{}, badInput(from.located(err))
	}
	return furnace, constants, nil
}

// describedFurnace reads a furnace, measured or not.
func (s *shell) describedFurnace(path string) (heat.Furnace, source, error) {
	m := &saggarv1.Furnace{}
	from, err := s.decode(path, m, nil)
	if err != nil {
		return heat.Furnace{}, source{}, badInput(err)
	}
	return convert.FurnaceFromProto(m), from, nil
}

func newHeatTime(r heat.Result) heatTime {
	answer := heatTime{
		Segments: []segmentTime{}, CoolingMinutes: r.CoolingMinutes, TotalMinutes: r.TotalMinutes,
		EnergyKilowattHours: r.EnergyKilowattHours, WallLossKilowattHours: r.WallLossKilowattHours,
		StoredKilowattHours: r.StoredKilowattHours, Assumptions: r.Assumptions, Caution: heat.Caution,
	}
	for _, s := range r.Segments {
		if !s.Reachable {
			answer.Assumptions = append(answer.Assumptions,
				fmt.Sprintf("segment %d cannot be reached and is left out of the sums", s.Index))
		}
		answer.Segments = append(answer.Segments, segmentTime{
			Index: s.Index, AskedMinutes: s.AskedMinutes, PossibleMinutes: s.PossibleMinutes, DurationMinutes: s.DurationMinutes,
			Reachable: s.Reachable,
		})
	}
	return answer
}

func heatGrids(a heatTime, program heat.Program) []render.Grid {
	segments := render.Grid{
		Title:   "Segments",
		Columns: []string{"segment", "to C", "asked min", "possible min", "takes min", "reachable"},
	}
	for _, s := range a.Segments {
		cells := []string{fmt.Sprint(s.Index), render.Number(program.Segments[s.Index].ToCelsius), render.Number(s.AskedMinutes)}
		if s.Reachable {
			cells = append(cells, render.Number(s.PossibleMinutes), render.Number(s.DurationMinutes), "yes")
		} else {
			cells = append(cells, "", "", "no: beyond what the furnace reaches")
		}
		segments.Rows = append(segments.Rows, cells)
	}
	whole := render.Grid{
		Title:   "The whole",
		Columns: []string{"cooling min", "total min", "total", "kWh into the chamber", "lost through the lining", "stored"},
		Rows: [][]string{{
			render.Number(a.CoolingMinutes), render.Number(a.TotalMinutes), render.Minutes(heat.WholeMinutes(a.TotalMinutes)),
			render.Number(a.EnergyKilowattHours), render.Number(a.WallLossKilowattHours), render.Number(a.StoredKilowattHours),
		}},
	}
	return append([]render.Grid{segments, whole}, notes(a.Assumptions, a.Caution)...)
}
