package main

import (
	"github.com/spf13/cobra"

	"saggar/chem/air"
	"saggar/chem/finding"
	"saggar/client/render"
)

// fanFailure is what a failed fan leads to.
type fanFailure struct {
	AtMinute float64 `json:"at_minute"`
	Worst    bool    `json:"worst"`
	// LeastMinutes and EvacuateMinutes are nil where nothing that matters is passed.
	LeastMinutes    *float64          `json:"least_minutes"`
	EvacuateMinutes *float64          `json:"evacuate_minutes"`
	Passed          []passedLimit     `json:"passed"`
	Findings        []finding.Finding `json:"findings"`
	Assumptions     []string          `json:"assumptions"`
	Caution         string            `json:"caution"`
}

// passedLimit is one limit that is passed after the failure.
type passedLimit struct {
	Species          string           `json:"species"`
	Authority        string           `json:"authority"`
	Kind             string           `json:"kind"`
	AveragingMinutes float64          `json:"averaging_minutes"`
	LimitPPM         float64          `json:"limit_ppm"`
	AfterMinutes     float64          `json:"after_minutes"`
	GreatestPPM      float64          `json:"greatest_ppm"`
	Severity         finding.Severity `json:"severity"`
	Source           string           `json:"source"`
}

func (s *shell) airFanFailureCommand() *cobra.Command {
	command := &cobra.Command{
		Use:     "fan-failure --volume-cubic-meters V --flow-cubic-meters-per-second Q --release FILE",
		Example: "  saggar air fan-failure --volume-cubic-meters 60 --flow-cubic-meters-per-second 0.5 --release release.csv",

		Short: "Say how long people have when the extraction stops", Args: cobra.NoArgs,
		Long: "Say which limits a room passes, and how soon, when its extraction stops while something is given off.\n\n" +
			releaseFileHelp + " Without --at-minute the minute that leaves the\nleast time is sought. From the failure on nothing is captured.",
	}
	given := roomFlagsOf(command)
	natural, at := zeroOrBetween(leastFlow, 1e4), between(0, maxReleaseMinute, 0)
	command.Flags().Var(natural, "natural-cubic-meters-per-second", "what still flows by itself then, in m3/s, 0 or at least 0.000001")
	command.Flags().Var(at, "at-minute", "when it stops, at least 0; not given: at the worst minute")
	command.RunE = func(c *cobra.Command, _ []string) error {
		zone, sources, err := given.room(s)
		if err != nil {
			return badInput(err)
		}
		check := air.FanFailureCheck{Zone: zone, Sources: sources, NaturalCubicMetersPerSecond: natural.value}
		if c.Flags().Changed("at-minute") {
			check.AtMinute = &at.value
		}
		failure, err := air.CheckFanFailure(check)
		if err != nil {
			return badInput(err)
		}
		answer := newFanFailure(failure)
		return s.print(answer, func() []render.Grid { return answer.grids() })
	}
	return command
}

func newFanFailure(f air.FanFailure) fanFailure {
	answer := fanFailure{
		AtMinute: f.AtMinute, Worst: f.Worst, LeastMinutes: f.LeastMinutes, EvacuateMinutes: f.EvacuateMinutes,
		Passed: []passedLimit{}, Findings: f.Findings, Assumptions: f.Assumptions, Caution: f.Caution,
	}
	for _, p := range f.Limits {
		answer.Passed = append(answer.Passed, passedLimit{
			Species: p.Species, Authority: p.Authority, Kind: string(p.Kind), AveragingMinutes: p.AveragingMinutes, LimitPPM: p.PPM,
			AfterMinutes: p.AfterMinutes, GreatestPPM: p.GreatestPPM, Severity: p.Severity, Source: p.Source,
		})
	}
	return answer
}

func (f fanFailure) grids() []render.Grid {
	title := "If the extraction stops at minute " + render.Number(f.AtMinute)
	if f.Worst {
		title += ", the worst"
	}
	passed := render.Grid{Title: title + ": the limits passed", Columns: []string{
		"species", "unit", "authority", "kind", "over min", "limit", "passed after min", "greatest", "source",
	}}
	var sources sourceList
	for _, p := range f.Passed {
		averaging := "any moment"
		if p.AveragingMinutes > 0 {
			averaging = render.Number(p.AveragingMinutes)
		}
		limit, unit := measured(p.Species, p.LimitPPM)
		greatest, _ := measured(p.Species, p.GreatestPPM)
		passed.Rows = append(passed.Rows, []string{
			p.Species, unit, p.Authority, p.Kind, averaging, limit, render.Number(p.AfterMinutes), greatest, sources.number(p.Source),
		})
	}
	said := render.Grid{Columns: []string{"findings"}, Rows: findingLines(f.Findings)}
	return append([]render.Grid{passed, said, sources.grid()}, notes(f.Assumptions, f.Caution)...)
}
