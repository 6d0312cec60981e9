package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"saggar/chem/air"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/client/render"
)

// airLimits lists published limits of air.
type airLimits struct {
	Limits  []publishedLimit `json:"limits"`
	Caution string           `json:"caution"`
}

// publishedLimit is one row; a concentration that the row does not state is zero.
type publishedLimit struct {
	Substance               string           `json:"substance"`
	Species                 string           `json:"species"`
	CAS                     string           `json:"cas"`
	Authority               string           `json:"authority"`
	Kind                    data.LimitKind   `json:"kind"`
	AveragingMinutes        int              `json:"averaging_minutes"`
	LimitPPM                float64          `json:"limit_ppm"`
	MilligramsPerCubicMeter float64          `json:"limit_mg_m3"`
	Fraction                string           `json:"fraction"`
	Severity                finding.Severity `json:"severity"`
	Note                    string           `json:"note"`
	Read                    data.Read        `json:"read"`
	Source                  string           `json:"source"`
}

func (s *shell) airLimitsCommand() *cobra.Command {
	var species string
	command := &cobra.Command{
		Use:     "limits [--species FORMULA]",
		Example: "  saggar air limits --species SO2",

		Short: "List the published limits of air with their sources", Args: cobra.NoArgs,
		Long: "List every published limit of air that firings are held to, with who set it, where it stands and whether it was\n" +
			"read there. OSHA's and NIOSH's values that were read refuse a booking, all others warn. Sulfur trioxide is held to\n" +
			"the limits of sulfuric acid mist.",
		RunE: func(*cobra.Command, []string) error {
			answer := airLimits{Limits: []publishedLimit{}, Caution: air.Caution}
			for _, row := range data.ExposureLimits() {
				if species == "" || row.Formula == species {
					answer.Limits = append(answer.Limits, newPublishedLimit(row))
				}
			}
			if len(answer.Limits) == 0 {
				return badInput(fmt.Errorf("--species %q: no limit is tabled for it; give a formula as the table has it, such as SO2, "+
					"or none for all", species))
			}
			return s.print(answer, func() []render.Grid { return answer.grids() })
		},
	}
	command.Flags().StringVar(&species, "species", "", "formula of the gas or dust, such as SO2; not given: all")
	return command
}

func newPublishedLimit(row data.ExposureLimit) publishedLimit {
	return publishedLimit{
		Substance: row.Substance, Species: row.Formula, CAS: row.CAS, Authority: row.Authority, Kind: row.Kind,
		AveragingMinutes: row.AveragingMinutes, LimitPPM: row.PPM, MilligramsPerCubicMeter: row.MilligramsPerCubicMeter,
		Fraction: row.Fraction, Severity: air.SeverityOf(row), Note: row.Note, Read: row.Read, Source: row.Source,
	}
}

func (a airLimits) grids() []render.Grid {
	grid := render.Grid{Title: "Published limits of air", Columns: []string{
		"substance", "species", "authority", "kind", "over min", "ppm", "mg/m3", "part", "above it", "read", "note", "source",
	}}
	var sources sourceList
	for _, l := range a.Limits {
		averaging := ""
		if l.AveragingMinutes > 0 {
			averaging = render.Number(float64(l.AveragingMinutes))
		}
		grid.Rows = append(grid.Rows, []string{
			l.Substance, l.Species, l.Authority, string(l.Kind), averaging, stated(l.LimitPPM), stated(l.MilligramsPerCubicMeter),
			l.Fraction, string(l.Severity), string(l.Read), l.Note, sources.number(l.Source),
		})
	}
	return append([]render.Grid{grid, sources.grid()}, notes(nil, a.Caution)...)
}

// stated is a concentration, empty where none is stated.
func stated(value float64) string {
	if value == 0 {
		return ""
	}
	return render.Number(value)
}
