package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// The marks of the chart, one for each kind of time on a furnace.
const (
	markFree   = '.'
	markPeople = 'o' // charge, feed, open, draw, bench work
	markHeat   = '#' // warm, fire, clear
	markCool   = '~'
	markWait   = '-' // cold and closed until drawn
	markClosed = 'x'
	markBoth   = '!' // booked and closed
)

// cellHours are the hours that a character can stand for: those that divide a day and leave room for its date.
var cellHours = []int{1, 2, 3, 4, 6}

const bothLegend = "! booked and closed"

const chartLegend = "o people at it   # heat on   ~ cooling   - cold, waits to be drawn   x closed   . free"

func (s *shell) weekCommand() *cobra.Command {
	var from string
	var days, hours int
	command := &cobra.Command{
		Use: "week", Short: "Show a week by furnace as a chart, and its firings", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if days < 1 || days > 31 || hours != 0 && !slices.Contains(cellHours, hours) {
				return badInput(fmt.Errorf("--days takes 1 to 31 and --hours 1, 2, 3, 4 or 6, not %d and %d", days, hours))
			}
			return s.inStudio(c.Context(), func(connection *api.Connection, parent string) error {
				w, err := s.readWeek(c.Context(), connection, from, days)
				if err != nil {
					return err
				}
				return s.print(w.firings, func() []render.Grid { return w.grids(hours) })
			})
		},
	}
	command.Flags().StringVar(&from, "from", "", "first day, YYYY-MM-DD (default: this Monday)")
	command.Flags().IntVar(&days, "days", 7, "how many days")
	command.Flags().IntVar(&hours, "hours", 0, "hours to a character (default: as few as fit 100 columns)")
	return command
}

// week is what the chart shows.
type week struct {
	start    time.Time // local midnight
	days     int
	zone     *time.Location
	furnaces []string
	firings  *saggarv1.ListFiringsResponse
	closures map[string][]*saggarv1.Closure // by furnace id
	planned  []*saggarv1.StageWindow        // not booked
}

func (s *shell) readWeek(ctx context.Context, connection *api.Connection, from string, days int) (*week, error) {
	parent := "studios/" + s.studio
	zone, err := s.zone(ctx, connection, parent)
	if err != nil {
		return nil, err
	}
	w := &week{days: days, zone: zone, start: thisMonday(time.Now().In(zone))}
	if from != "" {
		if w.start, err = localDate("from", from, zone); err != nil {
			return nil, err
		}
	}
	return w, s.fillWeek(ctx, connection, w)
}

// fillWeek reads the furnaces and what is booked and closed on them.
func (s *shell) fillWeek(ctx context.Context, connection *api.Connection, w *week) error {
	parent := "studios/" + s.studio
	furnaces, err := pages(func(token string) (proto.Message, string, error) {
		return furnaceKind.list(ctx, connection, parent, token)
	})
	if err != nil {
		return err
	}
	closures, err := pages(func(token string) (proto.Message, string, error) {
		return closureKind.list(ctx, connection, parent, token)
	})
	if err != nil {
		return err
	}
	all := furnaces.(*saggarv1.ListFurnacesResponse).GetFurnaces()
	w.closures = closedFurnaces(all, closures.(*saggarv1.ListClosuresResponse).GetClosures())
	for _, f := range all {
		w.furnaces = append(w.furnaces, shortName(f.GetName()))
	}
	firings, err := pages(func(token string) (proto.Message, string, error) {
		page, err := connection.Firings.ListFirings(ctx, &saggarv1.ListFiringsRequest{
			Parent: parent, StartTime: timestamppb.New(w.start), EndTime: timestamppb.New(w.day(w.days)), PageToken: token,
		})
		return page, page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	w.firings = firings.(*saggarv1.ListFiringsResponse)
	return nil
}

func thisMonday(now time.Time) time.Time {
	back := (int(now.Weekday()) + 6) % 7
	return time.Date(now.Year(), now.Month(), now.Day()-back, 0, 0, 0, 0, now.Location())
}

// day is the local midnight at which a day of the chart starts.
func (w *week) day(n int) time.Time { return w.clock(n, 0) }

// clock is when the clock on the wall shows an hour of a day of the chart. On a day on which the clock is changed one
// stretch between two hours is longer or shorter, and none is left out.
func (w *week) clock(n, hour int) time.Time {
	return time.Date(w.start.Year(), w.start.Month(), w.start.Day()+n, hour, 0, 0, 0, w.zone)
}

// closedFurnaces puts closures to the furnaces that they take out of use: their own, their room's, supply's and circuit's. In
// a room that is closed to people only, firings go on.
func closedFurnaces(furnaces []*saggarv1.Furnace, closures []*saggarv1.Closure) map[string][]*saggarv1.Closure {
	closed := map[string][]*saggarv1.Closure{}
	for _, f := range furnaces {
		id := shortName(f.GetName())
		circuit, _, _ := strings.Cut(f.GetBranch(), "/")
		needs := []string{"furnaces/" + id, "rooms/" + f.GetRoom(), "supplies/" + f.GetSupply(), "extractionCircuits/" + circuit}
		for _, c := range closures {
			if !c.GetUnoccupied() && slices.Contains(needs, c.GetSubject()) {
				closed[id] = append(closed[id], c)
			}
		}
	}
	return closed
}

func (w *week) grids(hours int) []render.Grid {
	if hours == 0 {
		hours = w.fittingHours(w.labelWidth())
	}
	title := fmt.Sprintf("%s to %s, %s, %d h to a character", w.start.Format("Mon 2 Jan 2006"),
		w.day(w.days-1).Format("Mon 2 Jan"), w.zone, hours)
	chart := w.chart(title, hours, w.days)
	margin := strings.Repeat(" ", w.labelWidth()) + " "
	chart.Rows = append(chart.Rows, []string{margin + chartLegend})
	both := w.bookedAndClosed()
	if len(both.Rows) > 0 {
		chart.Rows = append(chart.Rows, []string{margin + bothLegend})
	}
	return []render.Grid{chart, both, w.list()}
}

func (w *week) labelWidth() int {
	width := 0
	for _, id := range w.furnaces {
		width = max(width, len(id))
	}
	return width
}

// chart is a row for each furnace, under each other as often as the days need; most days stand side by side.
func (w *week) chart(title string, hours, most int) render.Grid {
	chart := render.Grid{Title: title}
	width := w.labelWidth()
	margin := strings.Repeat(" ", width) + " "
	fit := min(max((tableWidth-len(margin))/(24/hours+1), 1), most)
	for first := 0; first < w.days; first += fit {
		days := dayRange{first, min(first+fit, w.days)}
		for _, line := range w.heading(days, hours) {
			chart.Rows = append(chart.Rows, []string{margin + line})
		}
		for _, id := range w.furnaces {
			chart.Rows = append(chart.Rows, []string{fmt.Sprintf("%-*s %s", width, id, w.row(id, days, hours))})
		}
	}
	return chart
}

// bookedAndClosed names the firings that a closure lies over, a line each.
func (w *week) bookedAndClosed() render.Grid {
	grid := render.Grid{Title: "Booked and closed: move the run or end the closure"}
	for _, f := range w.firings.GetFirings() {
		for _, c := range w.closures[f.GetFurnace()] {
			if overlap(f.GetStartTime(), f.GetEndTime(), c.GetStartTime(), c.GetEndTime()) == 0 {
				continue
			}
			grid.Rows = append(grid.Rows, paragraph("", fmt.Sprintf("%s: %s, stage %s, run %s, %s to %s; closure %s of %s, %s to %s",
				f.GetFurnace(), f.GetTitle(), f.GetStage(), shortName(f.GetRun()), local(f.GetStartTime(), w.zone), local(f.GetEndTime(), w.zone),
				shortName(c.GetName()), c.GetSubject(), local(c.GetStartTime(), w.zone), local(c.GetEndTime(), w.zone)))...)
		}
	}
	if len(grid.Rows) == 0 {
		return render.Grid{}
	}
	return grid
}

// overlap is how long two windows last at once.
func overlap(start, end, otherStart, otherEnd *timestamppb.Timestamp) time.Duration {
	return max(minTime(end.AsTime(), otherEnd.AsTime()).Sub(maxTime(start.AsTime(), otherStart.AsTime())), 0)
}

// dayRange are days of a chart, counted from its first; end is the one after the last.
type dayRange struct{ first, end int }

// fittingHours are the fewest hours to a character with which the chart is no wider than a table gets.
func (w *week) fittingHours(labelWidth int) int {
	for _, hours := range cellHours {
		if labelWidth+1+w.days*(24/hours+1) <= tableWidth {
			return hours
		}
	}
	return cellHours[len(cellHours)-1]
}

// heading is the days, and below them midnight and noon.
func (w *week) heading(shown dayRange, hours int) []string {
	var days, ticks strings.Builder
	width := 24 / hours
	for n := shown.first; n < shown.end; n++ {
		name := w.day(n).Format("Mon 2")
		if width < len("Mon 28") { // as wide on every day
			name = name[:2] + w.day(n).Format("_2")
		}
		fmt.Fprintf(&days, "|%-*.*s", width, width, name)
		fmt.Fprintf(&ticks, "|%-*.*s%-*.*s", width/2, width/2, "0", width-width/2, width-width/2, "12")
	}
	return []string{days.String(), ticks.String()}
}

// row is one furnace's week: for each character the mark of what fills the most of it.
func (w *week) row(furnace string, days dayRange, hours int) string {
	var b strings.Builder
	for n := days.first; n < days.end; n++ {
		b.WriteByte('|')
		for k := range 24 / hours {
			b.WriteRune(w.mark(furnace, w.clock(n, k*hours), w.clock(n, (k+1)*hours)))
		}
	}
	return b.String()
}

func (w *week) mark(furnace string, start, end time.Time) rune {
	filled := map[rune]time.Duration{}
	add := func(mark rune, from, until time.Time) {
		if d := minTime(until, end).Sub(maxTime(from, start)); d > 0 {
			filled[mark] += d
		}
	}
	for _, f := range w.firings.GetFirings() {
		if f.GetFurnace() == furnace {
			for _, p := range f.GetPhases() {
				add(phaseMark(p.GetKind()), p.GetStartTime().AsTime(), p.GetEndTime().AsTime())
			}
			for _, c := range w.closures[furnace] {
				add(markBoth, maxTime(f.GetStartTime().AsTime(), c.GetStartTime().AsTime()), minTime(f.GetEndTime().AsTime(), c.GetEndTime().AsTime()))
			}
		}
	}
	for _, p := range w.planned {
		if p.GetFurnace() == furnace {
			for _, phase := range p.GetPhases() {
				add(plannedMarks[phaseMark(phase.GetKind())], phase.GetStartTime().AsTime(), phase.GetEndTime().AsTime())
			}
		}
	}
	if filled[markBoth] > 0 { // however short: somebody must act
		return markBoth
	}
	for _, c := range w.closures[furnace] {
		add(markClosed, c.GetStartTime().AsTime(), c.GetEndTime().AsTime())
	}
	best, most := rune(markFree), time.Duration(0)
	for _, mark := range []rune{markClosed, markHeat, markPeople, markCool, markWait} {
		for _, mark := range []rune{mark, plannedMarks[mark]} {
			if filled[mark] > most {
				best, most = mark, filled[mark]
			}
		}
	}
	return best
}

func phaseMark(kind saggarv1.PhaseKind) rune {
	switch kind {
	case saggarv1.PhaseKind_PHASE_KIND_WARM, saggarv1.PhaseKind_PHASE_KIND_FIRE, saggarv1.PhaseKind_PHASE_KIND_CLEAR:
		return markHeat
	case saggarv1.PhaseKind_PHASE_KIND_COOL:
		return markCool
	case saggarv1.PhaseKind_PHASE_KIND_WAIT:
		return markWait
	default:
		return markPeople
	}
}

func minTime(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func maxTime(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func (w *week) list() render.Grid {
	grid := render.Grid{Columns: []string{"starts", "free again", "furnace", "what", "stage", "department", "top C", "state"}}
	for _, f := range w.firings.GetFirings() {
		grid.Rows = append(grid.Rows, []string{
			local(f.GetStartTime(), w.zone), local(f.GetEndTime(), w.zone), f.GetFurnace(), f.GetTitle(), f.GetStage(),
			f.GetDepartment(), orDash(f.GetTopCelsius()), render.Enum(f.GetState()),
		})
	}
	return grid
}
