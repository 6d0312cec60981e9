package main

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"saggar/client/api"
	"saggar/client/paper"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) dayCommand() *cobra.Command {
	var date, page string
	var room idFlag
	command := &cobra.Command{
		Use:     "day [--date D]",
		Example: "  saggar day --date 2027-03-02 --html tuesday.html",
		Short:   "Show what there is to charge, watch and draw on a day, and print it as a sheet", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				day := time.Now().In(zone)
				if date != "" {
					if day, err = localDate("date", date, zone); err != nil {
						return err
					}
				}
				sheet, err := connection.Reports.GetDaySheet(c.Context(), &saggarv1.GetDaySheetRequest{
					Name: parent + "/daySheets/" + day.Format(time.DateOnly), Room: string(room),
				})
				if err != nil {
					return err
				}
				if err := writePage(page, func(w io.Writer) error { return paper.Day(w, sheet) }); err != nil {
					return err
				}
				return s.print(sheet, func() []render.Grid { return dayGrids(sheet, zone) })
			})
		},
	}
	command.Flags().StringVar(&date, "date", "", "the day, YYYY-MM-DD (default: today)")
	command.Flags().Var(&room, "room", "id of the only room that is wanted (default: all)")
	pageFlag(command, &page)
	return command
}

// pageFlag is where an answer is also kept as a page to print.
func pageFlag(command *cobra.Command, page *string) {
	command.Flags().StringVar(page, "html", "", "also write it to this file, as a page to print")
}

// writePage keeps a page in a file, whole or not at all; an empty path keeps none.
func writePage(path string, fill func(io.Writer) error) error {
	if path == "" {
		return nil
	}
	var page bytes.Buffer
	if err := fill(&page); err != nil {
		return err
	}
	if err := os.WriteFile(path, page.Bytes(), 0o644); err != nil {
		return badInput(fmt.Errorf("--html: %w", err))
	}
	return nil
}

func dayGrids(sheet *saggarv1.DaySheet, zone *time.Location) []render.Grid {
	tasks := render.Grid{
		Title:   sheet.GetStartTime().AsTime().In(zone).Format("Monday 2 January 2006"),
		Columns: []string{"from", "to", "sheet", "what", "where", "for", "stage", "people"},
	}
	for _, t := range sheet.GetTasks() {
		tasks.Rows = append(tasks.Rows, []string{
			local(t.GetStartTime(), zone), local(t.GetEndTime(), zone), t.GetJob(), words(t.GetKind()), cmp.Or(t.GetFurnace(), "bench"),
			t.GetTitle(), t.GetStage(), dayPeople(t.GetWatch(), t.GetPeopleCount()),
		})
	}
	grids := []render.Grid{tasks, dayRoomGrid(sheet), dayAirGrid(sheet, zone)}
	if len(sheet.GetDueChecks()) > 0 {
		due := dueGrid(sheet.GetDueChecks(), zone)
		due.Title = "To be tested or measured"
		grids = append(grids, due)
	}
	for _, closed := range sheet.GetClosed() {
		grids = append(grids, render.Grid{Rows: [][]string{{closed}}})
	}
	grids = append(grids, dayHeldGrid(sheet), dayMissing(sheet))
	return append(grids, notes(nil, sheet.GetCaution())...)
}

func dayPeople(watch saggarv1.Watch, count int32) string {
	if watch == saggarv1.Watch_WATCH_NONE {
		return "nobody"
	}
	return fmt.Sprintf("%d %s", max(count, 1), words(watch))
}

func dayRoomGrid(sheet *saggarv1.DaySheet) render.Grid {
	grid := render.Grid{Columns: []string{"room", "needs at once", "gas alarms, last tested", "call"}}
	for _, room := range sheet.GetRooms() {
		var detectors []string
		for _, d := range room.GetDetectors() {
			text := d.GetSpecies() + " " + cmp.Or(d.GetTestedOn(), never)
			if d.GetOverdue() {
				text += " (test it first)"
			}
			detectors = append(detectors, text)
		}
		grid.Rows = append(grid.Rows, []string{
			room.GetRoom(), fmt.Sprint(room.GetNeededCount()), cmp.Or(strings.Join(detectors, ", "), "none"),
			cmp.Or(room.GetEmergencyContact(), "not recorded"),
		})
	}
	return grid
}

// dayAirGrid is what follows from the gas of each job, and what it leaves to be done.
func dayAirGrid(sheet *saggarv1.DaySheet, zone *time.Location) render.Grid {
	grid := render.Grid{Columns: []string{"sheet", "open below C", "enter again from", "fan stopped: refuses after", "burn-off", "maker"}}
	for _, job := range sheet.GetJobs() {
		row := []string{job.GetMark(), orDash(job.GetOpenBelowCelsius()), "-", "-", "-", job.GetMaker()}
		if job.GetGivesOffGas() {
			row[2] = "not known"
		}
		if job.GetReentryTime() != nil {
			row[2] = local(job.GetReentryTime(), zone)
		}
		for _, p := range job.GetFanFailure() {
			if p.GetRefuses() {
				row[3] = fmt.Sprintf("%.0f min, %s, %s %s", math.Floor(p.GetAfterMinutes()), p.GetSpecies(), p.GetAuthority(), p.GetKind())
				break
			}
		}
		if job.GetClearing() != nil {
			row[4] = local(job.GetClearing().GetStartTime(), zone)
		}
		grid.Rows = append(grid.Rows, row)
	}
	return grid
}

// dayHeldGrid is what holds each charge and what is worn at it, where any of it is booked.
func dayHeldGrid(sheet *saggarv1.DaySheet) render.Grid {
	grid := render.Grid{Columns: []string{"sheet", "vessels", "worn while it is open"}}
	for _, job := range sheet.GetJobs() {
		if len(job.GetVessels()) > 0 || len(job.GetGearWorn()) > 0 {
			grid.Rows = append(grid.Rows, []string{
				job.GetMark(), cmp.Or(vesselsInWords(job.GetVessels()), "-"), cmp.Or(strings.Join(job.GetGearWorn(), "; "), "-"),
			})
		}
	}
	if len(grid.Rows) == 0 {
		return render.Grid{}
	}
	return grid
}

func dayMissing(sheet *saggarv1.DaySheet) render.Grid {
	grid := render.Grid{Title: "Not known"}
	for _, room := range sheet.GetRooms() {
		for _, sentence := range room.GetMissing() {
			grid.Rows = append(grid.Rows, paragraph("", sentence)...)
		}
	}
	for _, job := range sheet.GetJobs() {
		for _, sentence := range job.GetMissing() {
			grid.Rows = append(grid.Rows, paragraph("", job.GetMark()+": "+sentence)...)
		}
	}
	if len(grid.Rows) == 0 {
		return render.Grid{}
	}
	return grid
}
