package main

import (
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"saggar/chem/air"
	"saggar/client/render"
)

func (s *shell) airProtectionCommand() *cobra.Command {
	var species string
	ppm, milligrams := between(0, 1e6, 0), between(0, 1e9, 0)
	command := &cobra.Command{
		Use:     "protection --species FORMULA (--ppm X | --milligrams-per-cubic-meter X)",
		Example: "  saggar air protection --species SO2 --ppm 12",

		Short: "Say which classes of respirator are enough at a concentration", Args: cobra.NoArgs,
		Long: "Say which classes of respirator would be enough for their wearer at a concentration, by assigned protection factor\n" +
			"(29 CFR 1910.134 Table 1), the strictest limit that refuses and what is dangerous to life. A dust is given by its\n" +
			"measured mass; how much rises when something is weighed, sieved or ground is not worked out.",
		RunE: func(c *cobra.Command, _ []string) error {
			concentration, err := concentrationOf(c, species, ppm, milligrams)
			if err != nil {
				return badInput(err)
			}
			answer, err := air.CheckProtection(species, concentration)
			if err != nil {
				return badInput(source{}.located(err))
			}
			return s.print(answer, func() []render.Grid { return protectionGrids(answer) })
		},
	}
	flags := command.Flags()
	flags.StringVar(&species, "species", "", "formula of the gas or dust, such as SO2")
	flags.Var(ppm, "ppm", "concentration in ppm by volume, 0 to 1000000")
	flags.Var(milligrams, "milligrams-per-cubic-meter", "concentration in mg/m3, at least 0")
	cobra.CheckErr(command.MarkFlagRequired("species"))
	command.MarkFlagsMutuallyExclusive("ppm", "milligrams-per-cubic-meter")
	return command
}

// concentrationOf is the concentration that the flags give, in ppm.
func concentrationOf(c *cobra.Command, species string, ppm, milligrams *numberFlag) (float64, error) {
	if c.Flags().Changed("ppm") {
		return ppm.value, nil
	}
	if !c.Flags().Changed("milligrams-per-cubic-meter") {
		return 0, errors.New("give --ppm or --milligrams-per-cubic-meter")
	}
	gramsPerMole, err := air.GramsPerMole(species)
	if err != nil {
		return 0, fmt.Errorf("--species: %w: give a formula such as SiO2", err)
	}
	return air.PPMFromMilligrams(milligrams.value, gramsPerMole)
}

func protectionGrids(p air.ProtectionCheck) []render.Grid {
	classes := render.Grid{
		Title: fmt.Sprintf("Respirators against %s ppm (%s mg/m3) of %s", render.Number(p.PPM),
			render.Number(p.MilligramsPerCubicMeter), p.Species),
		Columns: []string{"class", "factor", "at most ppm", "goggles", "enough", "source"},
	}
	limits := render.Grid{Title: "Limits, the strictest first", Columns: []string{
		"authority", "kind", "over min", "ppm", "mg/m3", "above it", "read", "source",
	}}
	var sources sourceList
	why := render.Grid{Columns: []string{"why"}}
	for _, c := range p.Classes {
		classes.Rows = append(classes.Rows, []string{
			c.Class, render.Number(c.AssignedProtectionFactor), render.Number(c.MaximumUsePPM), yes(c.NeedsGoggles), yes(c.Enough),
			sources.number(c.Source),
		})
		if line := []string{"- " + c.Reason}; !slices.ContainsFunc(why.Rows, func(row []string) bool { return row[0] == line[0] }) {
			why.Rows = append(why.Rows, line)
		}
	}
	for _, l := range p.Limits {
		averaging := "any moment"
		if l.AveragingMinutes > 0 {
			averaging = render.Number(l.AveragingMinutes)
		}
		limits.Rows = append(limits.Rows, []string{
			l.Authority, string(l.Kind), averaging, render.Number(l.PPM), stated(l.MilligramsPerCubicMeter), string(l.Severity),
			string(l.Read), sources.number(l.Source),
		})
	}
	return append([]render.Grid{classes, why, limits, sources.grid()}, notes(p.Assumptions, p.Caution)...)
}
