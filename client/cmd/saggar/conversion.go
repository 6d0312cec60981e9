package main

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/chem/reaction"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// heatConversion is how far a reaction goes along a program. What is of the core is null without a depth.
type heatConversion struct {
	Reaction        string   `json:"reaction"`
	Equation        string   `json:"equation"`
	Model           string   `json:"model"`
	PeakCelsius     float64  `json:"peak_celsius"`
	HoldMinutes     float64  `json:"hold_minutes"`
	Conversion      float64  `json:"conversion"`
	MeanConversion  *float64 `json:"mean_conversion"`
	CoreConversion  *float64 `json:"core_conversion"`
	CorePeakCelsius *float64 `json:"core_peak_celsius"`
	// MinutesTo99Percent is null when no hold at the peak is enough; NeverReason then says why, and EnoughCelsius at which peak
	// the hold as it stands would be.
	MinutesTo99Percent *float64 `json:"minutes_to_99_percent"`
	NeverReason        string   `json:"never_reason"`
	EnoughCelsius      *float64 `json:"enough_celsius"`
	// HeldBack says that the peak is below where the reaction's gas comes to 1 bar: then the figures hold only in moving air.
	HeldBack    string   `json:"held_back"`
	Source      string   `json:"source"`
	Assumptions []string `json:"assumptions"`
	Caution     string   `json:"caution"`
}

// conversionFlags are what the verb is asked.
type conversionFlags struct {
	reaction, program, furnace string
	depth, diffusivity, start  *numberFlag
	// startGiven is false where a furnace's ambient temperature stands in for the start.
	startGiven bool
}

func (s *shell) conversionCommand() *cobra.Command {
	asked := conversionFlags{
		depth: aboveZero(2000), diffusivity: between(1e-9, 1e-3, 0), start: between(-40, 2000, heat.DefaultAmbientCelsius),
	}
	command := &cobra.Command{
		Use:     "conversion --reaction NAME --program FILE",
		Example: "  saggar heat conversion --reaction kaolinite --program program.yaml --depth-millimeters 30",
		Short:   "How far a reaction goes along a heat program, and which hold would be enough", Args: cobra.NoArgs,
		Long: "How far a reaction goes along a heat program: where it is as hot as the program says, and in the core of the charge, " +
			"which lags behind.\n\nThe program is followed exactly, to the end of its last hold; with a furnace it is followed as that " +
			"furnace can, with the cooling after it. Without a depth no 'enough' is given. Heat is taken to come through one face of the " +
			"bed only: give half the depth of a bed that is heated from both.",
		RunE: func(c *cobra.Command, _ []string) error {
			asked.startGiven = c.Flags().Changed("start-celsius")
			return s.convert(asked)
		},
	}
	flags := command.Flags()
	flags.StringVar(&asked.reaction, "reaction", "", "name of the reaction, as 'saggar heat reactions' lists it")
	flags.StringVar(&asked.program, "program", "", "YAML or JSON file with the heat program, - for standard input")
	flags.StringVar(&asked.furnace, "furnace", "", "YAML or JSON file with a furnace; needed for segments at full power")
	flags.Var(asked.depth, "depth-millimeters", "depth of the charge from its heated face")
	flags.Var(asked.diffusivity, "diffusivity-square-meters-per-second", "thermal diffusivity of the charge; the tabled one unless given")
	flags.Var(asked.start, "start-celsius", "temperature of furnace and charge at the start; with a furnace its ambient one unless given")
	cobra.CheckErr(command.MarkFlagRequired("reaction"))
	cobra.CheckErr(command.MarkFlagRequired("program"))
	return command
}

func (s *shell) convert(asked conversionFlags) error {
	r, known := reaction.Named(asked.reaction)
	if !known {
		return badInput(fmt.Errorf("--reaction: there is no reaction %q; with a rate are %s; 'saggar heat reactions' lists all",
			asked.reaction, strings.Join(reaction.Rated(), ", ")))
	}
	message := &saggarv1.HeatProgram{}
	from, err := s.decode(asked.program, message, nil)
	if err != nil {
		return badInput(err)
	}
	profile, notes, err := s.profileOf(asked, *convert.ProgramFromProto(message))
	if err != nil {
		return badInput(from.located(err))
	}
	result, err := r.Along(reaction.Request{
		Profile: profile, InitialCelsius: asked.start.value, DepthMillimeters: asked.depth.value,
		DiffusivitySquareMetersPerSecond: asked.diffusivity.value,
	})
	if err != nil {
		return badInput(from.located(err))
	}
	result.Assumptions = append(notes, result.Assumptions...)
	answer := newHeatConversion(result)
	return s.print(answer, func() []render.Grid { return conversionGrids(answer) })
}

// profileOf is the program's temperature: as asked, or as a furnace follows it.
func (s *shell) profileOf(asked conversionFlags, program heat.Program) ([]heat.Point, []string, error) {
	if asked.furnace == "" {
		profile, err := program.Asked(asked.start.value)
		return profile, []string{"The program is followed exactly, to the end of its last hold; cooling converts no more."}, err
	}
	furnace, constants, err := s.readFurnace(asked.furnace)
	if err != nil {
		return nil, nil, err
	}
	if !asked.startGiven {
		asked.start.value = constants.AmbientCelsius
	}
	result, err := heat.Run(furnace, constants, program, asked.start.value)
	if err != nil {
		return nil, nil, err
	}
	var faults finding.Faults
	for _, segment := range result.Segments {
		if !segment.Reachable {
			faults.Add(fmt.Sprintf("segments[%d].to_celsius", segment.Index), "is out of the furnace's reach", "give a cooler one, or another furnace")
		}
	}
	return result.Profile, result.Assumptions, faults.Err()
}

func newHeatConversion(r reaction.Result) heatConversion {
	return heatConversion{
		Reaction: r.Reaction, Equation: r.Equation, Model: r.Model, PeakCelsius: r.PeakCelsius, HoldMinutes: r.HoldMinutes,
		Conversion: r.Conversion, MeanConversion: r.MeanConversion, CoreConversion: r.CoreConversion, CorePeakCelsius: r.CorePeakCelsius,
		MinutesTo99Percent: r.MinutesTo99Percent, NeverReason: r.Never, EnoughCelsius: r.EnoughCelsius, HeldBack: r.HeldBack, Source: r.Source,
		Assumptions: r.Assumptions, Caution: r.Caution,
	}
}

func conversionGrids(a heatConversion) []render.Grid {
	main := render.Grid{
		Title:   fmt.Sprintf("%s: %s (%s)", a.Reaction, a.Equation, a.Model),
		Columns: []string{"peak C", "hold min", "converted", "on average", "in the core", "core reaches C", "hold for 99 % min"},
		Rows: [][]string{{
			render.Number(a.PeakCelsius), render.Number(a.HoldMinutes), percent(&a.Conversion), percent(a.MeanConversion),
			percent(a.CoreConversion), number(a.CorePeakCelsius), number(a.MinutesTo99Percent),
		}},
	}
	grids := []render.Grid{main}
	if a.HeldBack != "" && a.NeverReason != a.HeldBack {
		grids = append(grids, render.Grid{Columns: []string{"held back"}, Rows: [][]string{{a.HeldBack}}})
	}
	if a.NeverReason != "" {
		never := render.Grid{Columns: []string{"never enough", "peak that would do C"}}
		never.Rows = append(never.Rows, []string{a.NeverReason, number(a.EnoughCelsius)})
		grids = append(grids, never)
	}
	return append(grids, notes(a.Assumptions, a.Caution)...)
}

// number is a value that may be unknown.
func number(value *float64) string {
	if value == nil {
		return ""
	}
	return render.Number(*value)
}

// tabledReaction is one row of the table of reactions.
type tabledReaction struct {
	Reaction    string  `json:"reaction"`
	Kind        string  `json:"kind"`
	Equation    string  `json:"equation"`
	LowCelsius  float64 `json:"low_celsius"`
	HighCelsius float64 `json:"high_celsius"`
	Read        string  `json:"read"`
	Source      string  `json:"source"`
	// Model is empty where no rate is tabled.
	Model                       string  `json:"model"`
	ActivationKilojoulesPerMole float64 `json:"activation_kilojoules_per_mole"`
	FrequencyPerSecond          float64 `json:"frequency_per_second"`
	KineticsRead                string  `json:"kinetics_read"`
	KineticsSource              string  `json:"kinetics_source"`
	// EnthalpyKilojoulesPerMole is null where none is tabled.
	EnthalpyKilojoulesPerMole *float64 `json:"enthalpy_kilojoules_per_mole"`
	EnthalpyRead              string   `json:"enthalpy_read"`
	EnthalpySource            string   `json:"enthalpy_source"`
}

func (s *shell) reactionsCommand() *cobra.Command {
	return &cobra.Command{
		Use: "reactions", Short: "The table of reactions: equation, range, rate, heat and the source of each", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			var list []tabledReaction
			for _, r := range reaction.All() {
				list = append(list, newTabledReaction(r))
			}
			return s.print(list, func() []render.Grid { return reactionGrids(list) })
		},
	}
}

func newTabledReaction(r reaction.Reaction) tabledReaction {
	row := tabledReaction{
		Reaction: r.Name, Kind: string(r.Kind), Equation: r.Equation, LowCelsius: r.LowCelsius, HighCelsius: r.HighCelsius,
		Read: string(r.Read), Source: r.Source, Model: r.Kinetics.Model,
		ActivationKilojoulesPerMole: r.Kinetics.ActivationKilojoulesPerMole, FrequencyPerSecond: r.Kinetics.FrequencyPerSecond,
		KineticsRead: string(r.Kinetics.Read), KineticsSource: r.Kinetics.Source,
		EnthalpyRead: string(r.Enthalpy.Read), EnthalpySource: r.Enthalpy.Source,
	}
	if r.Enthalpy.Read != "" {
		row.EnthalpyKilojoulesPerMole = &r.Enthalpy.KilojoulesPerMole
	}
	return row
}

// reactionGrids leaves the sources of rate and heat to the other formats, which have room for them.
func reactionGrids(list []tabledReaction) []render.Grid {
	grid := render.Grid{
		Title:   "Reactions; heat in kJ per mole of the first formula, taken up if positive",
		Columns: []string{"reaction", "equation", "from C", "to C", "rate", "E kJ/mol", "A 1/s", "heat", "range is from"},
	}
	for _, r := range list {
		cells := []string{r.Reaction, r.Equation, render.Number(r.LowCelsius), render.Number(r.HighCelsius), r.Model, "", ""}
		if r.Model != "" {
			cells[5] = render.Number(r.ActivationKilojoulesPerMole)
			cells[6] = fmt.Sprintf("%.1e", r.FrequencyPerSecond)
		}
		heatOf := ""
		if r.EnthalpyKilojoulesPerMole != nil {
			heatOf = render.Number(math.Round(*r.EnthalpyKilojoulesPerMole*10) / 10)
		}
		grid.Rows = append(grid.Rows, append(cells, heatOf, r.Read))
	}
	return append([]render.Grid{grid}, notes([]string{
		"Sources of range, rate and heat stand in the other formats (--output json, yaml or csv).",
		"Melting and boiling, and reactions between several reactants, are for reading: what leaves a charge is reckoned from the " +
			"rules for single compounds.",
	}, reaction.Caution)...)
}
