package main

import (
	"errors"
	"fmt"

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
		if air.LimitedByMass(species) {
			return 0, fmt.Errorf("--ppm: the limits of %s are set in mg/m3 only, as those of dust, fume and mist are: give "+
				"--milligrams-per-cubic-meter", species)
		}
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
	there := render.Number(p.PPM) + " ppm (" + render.Number(p.MilligramsPerCubicMeter) + " mg/m3)"
	if air.LimitedByMass(p.Species) {
		there = render.Number(p.MilligramsPerCubicMeter) + " mg/m3"
	}
	var sources sourceList
	classes := render.Grid{
		Title:   fmt.Sprintf("Respirators against %s of %s", there, p.Species),
		Columns: []string{"class, and why", "factor", "unit", "at most", "goggles", "enough", "source"},
	}
	for _, c := range p.Classes {
		classes.Rows = append(classes.Rows, classRows(c, p.Species, &sources)...)
	}
	grids := []render.Grid{classes}
	if p.Entry != "" {
		grids = []render.Grid{{Title: "Dangerous to life", Rows: paragraph("", p.Entry)}, classes}
	}
	return append(append(grids, limitsGrid(p.Limits, &sources), sources.grid()), notes(p.Assumptions, p.Caution)...)
}

// whyWidth is how wide a class's reason is set, below the longest class.
const whyWidth = 68

// classRows are a class with its reason below it.
func classRows(c air.ProtectionClass, species string, sources *sourceList) [][]string {
	most, unit := measured(species, c.MaximumUsePPM)
	enough := yes(c.Enough)
	switch {
	case c.Unknown:
		most, enough = "not known", "cannot be said"
	case c.MaximumUsePPM == 0:
		most = "none"
	}
	rows := [][]string{{
		c.Class, render.Number(c.AssignedProtectionFactor), unit, most, yes(c.NeedsGoggles), enough, sources.number(c.Source),
	}}
	for _, line := range wrap(c.Reason, whyWidth) {
		rows = append(rows, []string{"  " + line})
	}
	return rows
}

// concentration is one as a table shows it, with its unit.
func concentration(species string, ppm float64) string {
	value, unit := measured(species, ppm)
	return value + " " + unit
}

// measured is a concentration as a table shows it whose unit has a column of its own.
func measured(species string, ppm float64) (value, unit string) {
	number, unit := air.Shown(species, ppm)
	return render.Number(number), unit
}

func limitsGrid(listed []air.Limit, sources *sourceList) render.Grid {
	limits := render.Grid{Title: "Limits, the strictest first", Columns: []string{
		"authority", "kind", "over min", "unit", "limit", "mg/m3 as set", "above it", "read", "source",
	}}
	for _, l := range listed {
		averaging := "any moment"
		if l.AveragingMinutes > 0 {
			averaging = render.Number(l.AveragingMinutes)
		}
		value, unit := measured(l.Species, l.PPM)
		limits.Rows = append(limits.Rows, []string{
			l.Authority, string(l.Kind), averaging, unit, value, stated(l.MilligramsPerCubicMeter),
			string(l.Severity), string(l.Read), sources.number(l.Source),
		})
	}
	return limits
}
