package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	ical "github.com/arran4/golang-ical"
	"github.com/spf13/cobra"

	"saggar/client/api"
	"saggar/client/render"
)

// calendarEvent is one appointment of a calendar, as a program that subscribes to it finds it (RFC 5545).
type calendarEvent struct {
	UID       string    `json:"uid"`
	StartTime time.Time `json:"start_time"`
	EndTime   time.Time `json:"end_time"`
	Summary   string    `json:"summary"`
	Status    string    `json:"status"`
	Alarms    int       `json:"alarm_count"`
}

func (s *shell) feedReadCommand() *cobra.Command {
	var addressFile, save string
	read := &cobra.Command{
		Use: "read [ADDRESS]", Example: "  saggar feed read --address-file phone.feed --save phone.ics",
		Short: "Read a calendar as a calendar program does, to see that its address works", Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			address, err := calendarAddress(addressFile, args)
			if err != nil {
				return badInput(err)
			}
			if err := s.settle(); err != nil {
				return err
			}
			ctx, cancel := context.WithTimeout(c.Context(), s.timeout)
			defer cancel()
			text, err := api.ReadCalendar(ctx, address, s.tls)
			if err != nil && api.ExitCode(err) != api.ExitUnreachable {
				err = badInput(err)
			}
			if err != nil {
				return err
			}
			if save != "" {
				if err := os.WriteFile(save, text, 0o600); err != nil {
					return err
				}
			}
			events, err := calendarEvents(text)
			if err != nil {
				return err
			}
			return s.print(map[string]any{"events": events}, func() []render.Grid { return []render.Grid{eventGrid(events)} })
		},
	}
	read.Flags().StringVar(&addressFile, "address-file", "", "file with the address, as 'feed create --address-file' wrote it")
	read.Flags().StringVar(&save, "save", "", "also write the calendar to this file as it came (iCalendar)")
	return read
}

// calendarAddress is the address given, or the one in a file.
func calendarAddress(path string, args []string) (string, error) {
	if (path == "") == (len(args) == 0) {
		return "", errors.New("which calendar: give its address, or --address-file, and not both")
	}
	if path == "" {
		return args[0], nil
	}
	text, err := os.ReadFile(path)
	return strings.TrimSpace(string(text)), err
}

// calendarEvents are the appointments in a calendar, in its order.
func calendarEvents(text []byte) ([]calendarEvent, error) {
	calendar, err := ical.ParseCalendar(bytes.NewReader(text))
	if err != nil {
		return nil, fmt.Errorf("what came is no calendar: %w", err)
	}
	events := []calendarEvent{}
	for _, e := range calendar.Events() {
		event := calendarEvent{UID: e.Id(), Alarms: len(e.Alarms())}
		var wrong error
		if event.StartTime, wrong = e.GetStartAt(); wrong == nil {
			event.EndTime, wrong = e.GetEndAt()
		}
		if wrong != nil {
			return nil, fmt.Errorf("event %s: %w", e.Id(), wrong)
		}
		for name, value := range map[ical.ComponentProperty]*string{
			ical.ComponentPropertySummary: &event.Summary, ical.ComponentPropertyStatus: &event.Status,
		} {
			if property := e.GetProperty(name); property != nil {
				*value = property.Value
			}
		}
		events = append(events, event)
	}
	return events, nil
}

func eventGrid(events []calendarEvent) render.Grid {
	grid := render.Grid{Columns: []string{"from", "until", "what", "status", "alarms"}}
	for _, e := range events {
		grid.Rows = append(grid.Rows, []string{
			e.StartTime.Format(calendarTime), e.EndTime.Format(calendarTime), e.Summary, e.Status, fmt.Sprint(e.Alarms),
		})
	}
	return grid
}

// calendarTime shows an instant of an event in the zone in which the calendar has it.
const calendarTime = "Mon 2 Jan 2006 15:04"
