package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/client/file"
	"saggar/client/render"
)

// heatFit is what a temperature log says of a furnace; a part for which the log has no stretch is nil.
type heatFit struct {
	FinalCelsius      *heat.Estimate       `json:"final_celsius"`
	HeatingTauMinutes *heat.Estimate       `json:"heating_tau_minutes"`
	CoolingTauMinutes *heat.Estimate       `json:"cooling_tau_minutes"`
	Lining            *heat.LiningEstimate `json:"lining"`
	RMSCelsius        float64              `json:"rms_celsius"`
	HeatingRMSCelsius float64              `json:"heating_rms_celsius"`
	CoolingRMSCelsius float64              `json:"cooling_rms_celsius"`
	// HeatingTimes and CoolingTimes stand as in a furnace's description.
	HeatingTimes []heat.Timing `json:"heating_times"`
	CoolingTimes []heat.Timing `json:"cooling_times"`
	// Constants and TwoLumps are those of the furnace described, with these times.
	Constants   *heat.Constants `json:"constants"`
	TwoLumps    *heat.TwoLumps  `json:"two_lumps"`
	Notes       []string        `json:"notes"`
	Assumptions []string        `json:"assumptions"`
	Caution     string          `json:"caution"`
}

// fitFlags are those of heat fit.
type fitFlags struct {
	log, furnace, thermocouple string
	reference, ambient         *numberFlag
	spans                      heat.LogSpans
}

func (s *shell) heatFitCommand() *cobra.Command {
	flags := fitFlags{reference: between(-40, 200, 0), ambient: between(-40, 60, heat.DefaultAmbientCelsius)}
	command := &cobra.Command{
		Use:     "fit --log FILE [--full-power FROM-TO] [--closed-cooling FROM-TO]",
		Example: "  saggar heat fit --log log.csv --furnace furnace.yaml --full-power 0-180 --closed-cooling 240-900",
		Short:   "Find a furnace's constants from its temperature log", Args: cobra.NoArgs,
		Long: "Find a furnace's constants from its temperature log: where full power settles, and the time constants of heating\n" +
			"and of closed cooling, each with its standard error and the interval that holds it in 95 of 100 such logs.\n\n" +
			"The log is comma-separated with a header that names a column minute or time and a column celsius or millivolts;\n" +
			"lines that begin with # are left out. A time is in minutes, h:mm[:ss] since the start, or a date with a time;\n" +
			"with dates, minutes count from the first reading. Say which minutes are heating with all the power on, and which\n" +
			"are cooling with everything shut. The times in the answer can be put into the furnace's file as they stand.",
		RunE: func(c *cobra.Command, _ []string) error {
			answer, err := s.heatFit(flags, c.Flags().Changed("ambient-celsius"))
			if err != nil {
				return err
			}
			return s.print(answer, func() []render.Grid { return heatFitGrids(answer) })
		},
	}
	f := command.Flags()
	f.StringVar(&flags.log, "log", "", "CSV file with the log, - for standard input")
	f.StringVar(&flags.furnace, "furnace", "", "YAML or JSON file with the furnace; its own times may be missing")
	f.StringVar(&flags.thermocouple, "thermocouple", "", "type of a log in millivolts: K, S, N, R or B")
	f.Var(flags.reference, "reference-celsius", "temperature of the reference junction; 0 where the instrument makes up for it")
	f.Var(flags.ambient, "ambient-celsius", "temperature of the room; the furnace's own unless given")
	f.Var((*spansFlag)(&flags.spans.FullPower), "full-power", "minutes of heating with all the power on; may be repeated")
	f.Var((*spansFlag)(&flags.spans.ClosedCooling), "closed-cooling", "minutes of cooling shut, heat off; may be repeated")
	cobra.CheckErr(command.MarkFlagRequired("log"))
	command.MarkFlagsOneRequired("full-power", "closed-cooling")
	return command
}

func (s *shell) heatFit(flags fitFlags, ambientGiven bool) (heatFit, error) {
	if flags.log == "-" && flags.furnace == "-" {
		return heatFit{}, badInput(errors.New("--log and --furnace cannot both be standard input: give one as a file"))
	}
	furnace, described := heat.Furnace{AmbientCelsius: flags.ambient.value}, source{}
	if flags.furnace != "" {
		var err error
		if furnace, described, err = s.describedFurnace(flags.furnace); err != nil {
			return heatFit{}, err
		}
		if ambientGiven {
			furnace.AmbientCelsius = flags.ambient.value
		}
	}
	name, data, err := s.read(flags.log)
	if err != nil {
		return heatFit{}, badInput(err)
	}
	log, err := file.DecodeLog(name, data, file.LogOptions{
		Thermocouple: heat.Thermocouple(flags.thermocouple), ReferenceCelsius: flags.reference.value,
	})
	if err != nil {
		return heatFit{}, badInput(err)
	}
	fit, err := heat.FitLog(log.Readings, flags.spans, furnace)
	if err != nil {
		return heatFit{}, badInput(flags.located(err, name, described))
	}
	return newHeatFit(fit, log.Notes), nil
}

// located gives the faults of a fit the flag, the furnace's file or the log that they are about.
func (f fitFlags) located(err error, log string, described source) error {
	words := map[string]string{"full_power": "--full-power", "closed_cooling": "--closed-cooling"}
	for i, span := range f.spans.FullPower {
		words[fmt.Sprintf("full_power[%d]", i)] = "--full-power " + spanWords(span)
	}
	for i, span := range f.spans.ClosedCooling {
		words[fmt.Sprintf("closed_cooling[%d]", i)] = "--closed-cooling " + spanWords(span)
	}
	var list []error
	for _, fault := range finding.FaultsOf(err) {
		field, ofFurnace := strings.CutPrefix(fault.Field, "furnace.")
		for name, word := range words {
			if strings.HasSuffix(name, "]") {
				fault.Message = strings.ReplaceAll(fault.Message, name, word)
			}
		}
		switch {
		case words[field] != "":
			list = append(list, &file.Error{Field: words[field], Problem: fault.Message, Cure: fault.Cure})
		case ofFurnace && described.name != "":
			fault.Field = field
			list = append(list, described.located(finding.Faults{fault}))
		default:
			list = append(list, &file.Error{File: log, Field: fault.Field, Problem: fault.Message, Cure: fault.Cure})
		}
	}
	return errors.Join(list...)
}

func newHeatFit(fit heat.LogFit, notes []string) heatFit {
	answer := heatFit{
		FinalCelsius: fit.FinalCelsius, HeatingTauMinutes: fit.HeatingTauMinutes, CoolingTauMinutes: fit.CoolingTauMinutes,
		Lining: fit.Lining, RMSCelsius: fit.RMSCelsius, HeatingRMSCelsius: fit.HeatingRMSCelsius,
		CoolingRMSCelsius: fit.CoolingRMSCelsius, HeatingTimes: append([]heat.Timing{}, fit.HeatingTimes...),
		CoolingTimes: append([]heat.Timing{}, fit.CoolingTimes...), Constants: fit.Constants, Notes: append([]string{}, notes...),
		Assumptions: fit.Assumptions, Caution: heat.Caution,
	}
	if fit.Constants != nil {
		if lumps, ok := fit.Constants.TwoLumps(); ok {
			answer.TwoLumps = &lumps
		}
	}
	return answer
}

func heatFitGrids(a heatFit) []render.Grid {
	constants := render.Grid{
		Title:   "Constants, the fitted course being off the readings by " + render.Number(a.RMSCelsius) + " C (root mean square)",
		Columns: []string{"constant", "value", "standard error", "95 % from", "to", "unit"},
	}
	add := func(name, unit string, e *heat.Estimate) {
		if e == nil {
			return
		}
		constants.Rows = append(constants.Rows, []string{name, render.Number(e.Value), render.Number(e.StandardError),
			render.Number(e.Low95), render.Number(e.High95), unit})
	}
	add("full power settles at", "C", a.FinalCelsius)
	add("time constant of heating", "min", a.HeatingTauMinutes)
	add("time constant of cooling", "min", a.CoolingTauMinutes)
	if l := a.Lining; l != nil {
		add("cooling, chamber", "min", &l.FastTauMinutes)
		add("cooling, lining", "min", &l.SlowTauMinutes)
		add("share of the lining", "1", &l.SlowShare)
	}
	paste := render.Grid{Title: "For the furnace's file"}
	for _, times := range []struct {
		name string
		list []heat.Timing
	}{{"heating_times", a.HeatingTimes}, {"cooling_times", a.CoolingTimes}} {
		if len(times.list) == 0 {
			continue
		}
		paste.Rows = append(paste.Rows, []string{times.name + ":"})
		for _, t := range times.list {
			paste.Rows = append(paste.Rows, []string{fmt.Sprintf("  - {from_celsius: %s, to_celsius: %s, minutes: %s}",
				plain(t.FromCelsius), plain(t.ToCelsius), plain(t.Minutes))})
		}
	}
	said := render.Grid{Columns: []string{"the log"}}
	for _, note := range a.Notes {
		said.Rows = append(said.Rows, []string{"- " + note})
	}
	return append([]render.Grid{constants, paste, said}, notes(a.Assumptions, a.Caution)...)
}
