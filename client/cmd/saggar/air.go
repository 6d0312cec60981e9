package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"saggar/chem/air"
	"saggar/chem/data"
	"saggar/chem/finding"
	"saggar/client/render"
)

// roomAir is the predicted air of one room. The flow is nil where none does, or no species has a limit that refuses.
type roomAir struct {
	Species                        []speciesAir      `json:"species"`
	MixtureRatio                   float64           `json:"mixture_ratio"`
	ShiftMixtureRatio              float64           `json:"shift_mixture_ratio"`
	ShortTermMixtureRatio          float64           `json:"short_term_mixture_ratio"`
	FlowNeededCubicMetersPerSecond *float64          `json:"flow_needed_cubic_meters_per_second"`
	Findings                       []finding.Finding `json:"findings"`
	Series                         []air.SeriesPoint `json:"series"`
	Assumptions                    []string          `json:"assumptions"`
	Caution                        string            `json:"caution"`
}

// speciesAir is one gas of it. The minute and the flow are nil where there is none or none is known.
type speciesAir struct {
	Species                        string       `json:"species"`
	PeakPPM                        float64      `json:"peak_ppm"`
	PeakMinute                     float64      `json:"peak_minute"`
	Max15MinutePPM                 float64      `json:"max_15_minute_ppm"`
	Max8HourPPM                    float64      `json:"max_8_hour_ppm"`
	Limits                         []limitRatio `json:"limits"`
	ReentryMinute                  *float64     `json:"reentry_minute"`
	FlowNeededCubicMetersPerSecond *float64     `json:"flow_needed_cubic_meters_per_second"`
}

// limitRatio is one limit with what is predicted against it; Severity is what going over it does to a booking.
type limitRatio struct {
	Authority        string           `json:"authority"`
	Kind             data.LimitKind   `json:"kind"`
	AveragingMinutes float64          `json:"averaging_minutes"`
	LimitPPM         float64          `json:"limit_ppm"`
	Ratio            float64          `json:"ratio"`
	Severity         finding.Severity `json:"severity"`
	Source           string           `json:"source"`
}

func (s *shell) airCommand() *cobra.Command {
	return group("air", "Air: what a release does to a room, the limits, what protection does", s.airRoomCommand(),
		s.airFanFailureCommand(), s.airLimitsCommand(), s.airProtectionCommand())
}

// Bounds of a room: nobody stands in less, and a flow that is smaller is a slip of the pen.
const (
	leastRoomCubicMeters = 1
	leastFlow            = 1e-6 // m3/s
)

// roomFlags say what a room is and what is given off in it.
type roomFlags struct {
	volume, flow, mixing, capture *numberFlag
	path                          string
}

// roomFlagsOf adds the flags of a room to a command.
func roomFlagsOf(command *cobra.Command) *roomFlags {
	r := &roomFlags{
		volume: between(leastRoomCubicMeters, 1e6, 0), flow: zeroOrBetween(leastFlow, 1e4),
		mixing: between(1, 100, air.DefaultMixingFactor), capture: between(0, 1, 0),
	}
	flags := command.Flags()
	flags.Var(r.volume, "volume-cubic-meters", "air volume of the room in m3, at least 1")
	flags.Var(r.flow, "flow-cubic-meters-per-second", "fresh air through the room in m3/s, 0 or at least 0.000001")
	flags.Var(r.mixing, "mixing-factor", "K, at least 1: the share 1/K of the flow counts (common practice, no source)")
	flags.Var(r.capture, "capture-efficiency", "share of the release that is drawn away at its source, 0 to 1")
	flags.StringVar(&r.path, "release", "", "release file, - for standard input")
	for _, name := range []string{"volume-cubic-meters", "flow-cubic-meters-per-second", "release"} {
		cobra.CheckErr(command.MarkFlagRequired(name))
	}
	return r
}

// room is the room that the flags say, with what is given off in it.
func (r *roomFlags) room(s *shell) (air.Zone, []air.Source, error) {
	releases, err := s.releases(r.path)
	if err != nil {
		return air.Zone{}, nil, err
	}
	zone := air.Zone{
		VolumeCubicMeters: r.volume.value, MixingFactor: r.mixing.value, Flow: air.ConstantFlow(r.flow.value),
	}
	source := air.Source{
		Name: r.path, Releases: releases, CaptureFraction: r.capture.value, DoorOpenFraction: r.capture.value,
	}
	return zone, []air.Source{source}, nil
}

// releaseFileHelp says how a release file looks.
const releaseFileHelp = "The release file is comma-separated with the header species,start_minute,end_minute,grams_per_minute.\n" +
	"Lines that overlap in time add up."

func (s *shell) airRoomCommand() *cobra.Command {
	command := &cobra.Command{
		Use:     "room --volume-cubic-meters V --flow-cubic-meters-per-second Q --release FILE",
		Example: "  saggar air room --volume-cubic-meters 60 --flow-cubic-meters-per-second 0.2 --release release.csv",

		Short: "Predict a room's air from what is given off, against the published limits", Args: cobra.NoArgs,
		Long: "Predict a room's air from what is given off, against the published limits.\n\n" + releaseFileHelp +
			" A mixture ratio above 1 is over the limit of the mixture. The course\n" +
			"over time is in the json and yaml outputs.",
	}
	given := roomFlagsOf(command)
	command.RunE = func(*cobra.Command, []string) error {
		zone, sources, err := given.room(s)
		if err != nil {
			return badInput(err)
		}
		assessment, err := air.CheckRoom(air.RoomCheck{Zone: zone, Sources: sources})
		if err != nil {
			return badInput(err)
		}
		answer := newRoomAir(assessment)
		return s.print(answer, func() []render.Grid { return roomAirGrids(answer) })
	}
	return command
}

// releases reads a release file, or standard input for "-".
func (s *shell) releases(path string) ([]air.Release, error) {
	name, in, err := s.open(path)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	return readReleases(name, in)
}

func newRoomAir(a air.Assessment) roomAir {
	answer := roomAir{
		Species: []speciesAir{}, MixtureRatio: a.MixtureRatio, ShiftMixtureRatio: a.ShiftMixtureRatio,
		ShortTermMixtureRatio: a.ShortTermMixtureRatio, FlowNeededCubicMetersPerSecond: a.FlowNeeded, Findings: a.Findings,
		Series: a.Series, Assumptions: a.Assumptions, Caution: a.Caution,
	}
	for _, species := range a.Species {
		one := speciesAir{
			Species: species.Species, PeakPPM: species.PeakPPM, PeakMinute: species.PeakMinute,
			Max15MinutePPM: species.Max15MinutePPM, Max8HourPPM: species.Max8HourPPM, Limits: []limitRatio{},
			ReentryMinute: species.ReentryMinute, FlowNeededCubicMetersPerSecond: species.FlowNeeded,
		}
		for _, l := range species.Limits {
			one.Limits = append(one.Limits, limitRatio{
				Authority: l.Authority, Kind: l.Kind, AveragingMinutes: l.AveragingMinutes, LimitPPM: l.PPM, Ratio: l.Ratio,
				Severity: l.Severity, Source: l.Source,
			})
		}
		answer.Species = append(answer.Species, one)
	}
	return answer
}

func roomAirGrids(a roomAir) []render.Grid {
	peaks := render.Grid{
		Title: "Air of the room, " + a.mixtureWords(),
		Columns: []string{
			"species", "unit", "peak", "at minute", "over 15 min", "over 8 h", "re-entry minute", "flow needed m3/s",
		},
	}
	limits := render.Grid{
		Title:   "Against the limits",
		Columns: append([]string{"species", "unit"}, limitColumns...),
	}
	var sources sourceList
	for _, species := range a.Species {
		peak, unit := measured(species.Species, species.PeakPPM)
		quarter, _ := measured(species.Species, species.Max15MinutePPM)
		shift, _ := measured(species.Species, species.Max8HourPPM)
		peaks.Rows = append(peaks.Rows, []string{
			species.Species, unit, peak, render.Number(species.PeakMinute), quarter, shift,
			orNone(species.ReentryMinute, species.noReentry()),
			orNone(species.FlowNeededCubicMetersPerSecond, noFlow(species.judged())),
		})
		for _, l := range species.Limits {
			limit, _ := measured(species.Species, l.LimitPPM)
			limits.Rows = append(limits.Rows, append([]string{species.Species, unit}, l.cells(limit, &sources)...))
		}
	}
	return append([]render.Grid{peaks, a.flowGrid(), {Columns: []string{"findings"}, Rows: findingLines(a.Findings)}, limits,
		sources.grid()}, notes(a.Assumptions, a.Caution)...)
}

// judged reports whether a limit that refuses is known for the gas, or it needs none.
func (s speciesAir) judged() bool {
	return s.FlowNeededCubicMetersPerSecond != nil ||
		slices.ContainsFunc(s.Limits, func(l limitRatio) bool { return l.Severity == finding.Block })
}

// judged reports whether any gas has a limit that refuses, or needs none.
func (a roomAir) judged() bool {
	return slices.ContainsFunc(a.Species, func(s speciesAir) bool { return s.judged() })
}

// mixtureWords say both mixtures and which is over.
func (a roomAir) mixtureWords() string {
	if a.MixtureRatio == 0 && !a.judged() && len(a.Species) > 0 {
		return "mixture ratio not known: no limit that refuses is known"
	}
	over := func(ratio float64) string {
		if ratio > 1 {
			return " (over)"
		}
		return ""
	}
	return fmt.Sprintf("mixture ratio over a shift %s%s, over a short term %s%s", render.Number(a.ShiftMixtureRatio),
		over(a.ShiftMixtureRatio), render.Number(a.ShortTermMixtureRatio), over(a.ShortTermMixtureRatio))
}

// flowGrid says the flow for all gases together, and what it does not count.
func (a roomAir) flowGrid() render.Grid {
	text := "flow needed for all that refuses, both mixtures among it: " +
		orNone(a.FlowNeededCubicMetersPerSecond, noFlow(a.judged()))
	if a.FlowNeededCubicMetersPerSecond != nil {
		text += " m3/s"
	}
	text += "; limits that only warn are not counted in it"
	var unknown []string
	for _, species := range a.Species {
		if !species.judged() {
			unknown = append(unknown, species.Species)
		}
	}
	if len(unknown) > 0 {
		text += ", nor is " + strings.Join(unknown, ", ") + ", for which no limit that refuses is known"
	}
	return render.Grid{Rows: paragraph("", text)}
}

// noFlow words why no flow is named.
func noFlow(judged bool) string {
	if judged {
		return "no flow does"
	}
	return "not known"
}

// noReentry words why no minute is named.
func (s speciesAir) noReentry() string {
	if len(s.Limits) == 0 {
		return "not known"
	}
	return "never"
}

// findingLines are findings as a table tells them, each with its cure.
func findingLines(findings []finding.Finding) [][]string {
	var rows [][]string
	for _, found := range findings {
		for _, line := range wrap(fmt.Sprintf("%s %s: %s", found.Severity, found.Code, found.Message), tableWidth) {
			rows = append(rows, []string{line})
		}
		for _, line := range wrap(found.Cure, tableWidth-2) {
			rows = append(rows, []string{"  " + line})
		}
	}
	return rows
}

// limitColumns head the cells of a limit.
var limitColumns = []string{"authority", "kind", "over min", "limit", "ratio", "", "above it", "source"}

// cells are a limit as a table shows it, its value in words, with the number of its source.
func (l limitRatio) cells(value string, sources *sourceList) []string {
	mark := ""
	if l.Ratio > 1 {
		mark = "over"
	}
	averaging := "any moment"
	if l.AveragingMinutes > 0 {
		averaging = render.Number(l.AveragingMinutes)
	}
	return []string{
		l.Authority, string(l.Kind), averaging, value, render.Number(l.Ratio), mark, string(l.Severity),
		sources.number(l.Source),
	}
}

func orNone(value *float64, none string) string {
	if value == nil {
		return none
	}
	return render.Number(*value)
}
