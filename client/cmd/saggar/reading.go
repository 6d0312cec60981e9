package main

import (
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) readingCommand() *cobra.Command {
	return group("reading", "Readings: what instruments showed in a room, beside what was forecast",
		s.readingNoteCommand(), s.readingListCommand(), s.readingCloseCommand())
}

func (s *shell) readingNoteCommand() *cobra.Command {
	var at string
	var read saggarv1.Reading
	note := &cobra.Command{
		Use: "note --room ROOM --species GAS --ppm N --instrument WHAT", Args: cobra.NoArgs,
		Example: "  saggar reading note --room furnace-bay --species SO2 --ppm 0.8 --instrument 'pump and tube' --calibrated-on 2027-01-11 --uncertainty 0.15",
		Short:   "Note what an instrument shows, and see what was forecast for that moment",
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				request := proto.CloneOf(&read)
				request.ReadTime = timestamppb.Now()
				if at != "" {
					when, err := localTime("at", at, zone)
					if err != nil {
						return err
					}
					request.ReadTime = timestamppb.New(when)
				}
				noted, err := connection.Readings.CreateReading(c.Context(), &saggarv1.CreateReadingRequest{Parent: parent, Reading: request})
				if err != nil {
					return err
				}
				return s.print(noted, func() []render.Grid { return readingGrids(noted, zone) })
			})
		},
	}
	flags := note.Flags()
	flags.StringVar(&read.Room, "room", "", "in which room")
	flags.StringVar(&read.Furnace, "furnace", "", "beside which furnace; without it, away from any")
	flags.StringVar(&read.Species, "species", "", "which gas, such as SO2")
	flags.Float64Var(&read.MeasuredPpm, "ppm", 0, "what it showed, in ppm")
	flags.StringVar(&at, "at", "", "when, local, such as '2027-03-01 08:00', or RFC 3339; without it, now")
	flags.StringVar(&read.Instrument, "instrument", "", "what it was read with")
	flags.StringVar(&read.CalibratedOn, "calibrated-on", "", "when that was last calibrated, YYYY-MM-DD")
	flags.Float64Var(&read.UncertaintyFraction, "uncertainty", 0, "by what share it may be off, such as 0.1; without either, 0.25")
	flags.Float64Var(&read.UncertaintyPpm, "uncertainty-ppm", 0, "by how many ppm it may be off; the larger counts")
	flags.StringVar(&read.Note, "note", "", "anything else")
	for _, name := range []string{"room", "species", "ppm", "instrument"} {
		cobra.CheckErr(note.MarkFlagRequired(name))
	}
	return note
}

func (s *shell) readingListCommand() *cobra.Command {
	var room string
	list := &cobra.Command{
		Use: "list", Short: "List readings, the last noted first", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Readings.ListReadings(c.Context(), &saggarv1.ListReadingsRequest{Parent: parent, PageToken: token, Room: room})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid { return []render.Grid{readingGrid(elements(all), zone)} })
			})
		},
	}
	list.Flags().StringVar(&room, "room", "", "only those of this room")
	return list
}

func (s *shell) readingCloseCommand() *cobra.Command {
	var reason string
	end := &cobra.Command{
		Use: "close READING --reason WHY", Example: "  saggar reading close m17 --reason 'damper of the hood was shut; flow measured again'",
		Short: "Explain a reading above its forecast, so that bookings are not warned of it any more", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				closed, err := connection.Readings.CloseReading(c.Context(), &saggarv1.CloseReadingRequest{
					Name: convert.Name(s.studio, "readings", args[0]), Reason: reason,
				})
				if err != nil {
					return err
				}
				return s.print(closed, func() []render.Grid { return []render.Grid{readingGrid([]proto.Message{closed}, zone)} })
			})
		},
	}
	end.Flags().StringVar(&reason, "reason", "", "what explains it")
	cobra.CheckErr(end.MarkFlagRequired("reason"))
	return end
}

// readingGrids are one reading with what follows from it.
func readingGrids(r *saggarv1.Reading, zone *time.Location) []render.Grid {
	grids := append([]render.Grid{readingGrid([]proto.Message{r}, zone)}, findingGrids(r.GetFindings())...)
	return append(grids, notes(r.GetAssumptions(), r.GetCaution())...)
}

func readingGrid(readings []proto.Message, zone *time.Location) render.Grid {
	grid := render.Grid{Columns: []string{
		"reading", "when", "where", "gas", "read ppm", "forecast ppm", "likely ppm", "ratio", "with", "by", "above", "explained",
	}}
	for _, m := range readings {
		r := m.(*saggarv1.Reading)
		where := strings.Join(nonEmpty(r.GetRoom(), r.GetFurnace()), " at ")
		var above []string
		for _, f := range r.GetFindings() {
			if what, is := strings.CutPrefix(f.GetCode(), "READING_ABOVE_"); is {
				above = append(above, strings.ToLower(what))
			}
		}
		explained := r.GetCloseReason()
		if r.GetUnexplained() {
			explained = "no"
		}
		grid.Rows = append(grid.Rows, []string{
			shortName(r.GetName()), local(r.GetReadTime(), zone), where, r.GetSpecies(), render.Number(r.GetMeasuredPpm()),
			render.Number(r.GetCautiousPpm()), perhaps(r.LikelyPpm), perhaps(r.Ratio), r.GetInstrument(), r.GetReader(),
			strings.Join(above, ", "), explained,
		})
	}
	return grid
}

// perhaps is a number, or a dash where there is none.
func perhaps(number *float64) string {
	if number == nil {
		return "-"
	}
	return render.Number(*number)
}
