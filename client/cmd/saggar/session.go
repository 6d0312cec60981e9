package main

import (
	"context"
	"fmt"
	"time"

	"saggar/client/api"
	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

// zone is the studio's time zone: local times on the command line are read in it, and answers shown in it.
func (s *shell) zone(ctx context.Context, connection *api.Connection, parent string) (*time.Location, error) {
	if parent == "" {
		return time.UTC, nil
	}
	studio, err := connection.Studios.GetStudio(ctx, &saggarv1.GetStudioRequest{Name: parent})
	if err != nil {
		return nil, err
	}
	return time.LoadLocation(studio.GetTimeZone())
}

// localTime reads a time given by a flag; empty gives the zero time.
func localTime(flag, text string, zone *time.Location) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := file.LocalTime(text, zone)
	if err != nil {
		return t, badInput(fmt.Errorf("--%s: %w", flag, err))
	}
	return t, nil
}

// localDate reads a date given by a flag as the start of that local day.
func localDate(flag, text string, zone *time.Location) (time.Time, error) {
	day, err := time.ParseInLocation(time.DateOnly, text, zone)
	if err != nil {
		return day, badInput(fmt.Errorf("--%s: %q is no date: give YYYY-MM-DD", flag, text))
	}
	return day, nil
}
