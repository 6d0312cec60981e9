package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"saggar/client/api"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// bookGrids show what was booked. What the figures assume was shown when it was planned.
func bookGrids(answer *saggarv1.BookRunResponse, zone *time.Location) []render.Grid {
	grids := bookedGrids(answer, zone)
	if len(answer.GetAssumptions()) > 0 {
		grids = append(grids, render.Grid{Rows: [][]string{
			{"assumptions: as in 'run plan' and 'run check' (--output json lists them)"},
		}})
	}
	return append(grids, notes(nil, answer.GetCaution())...)
}

// checkGrids show what would be booked.
func checkGrids(answer *saggarv1.BookRunResponse, zone *time.Location) []render.Grid {
	grids := bookedGrids(answer, zone)
	state := "would be booked"
	if blocks(answer.GetFindings()) {
		state = "would be refused"
	}
	for _, row := range grids[0].Rows {
		row[0], row[len(row)-1] = cmp.Or(row[0], "(new)"), cmp.Or(row[len(row)-1], state)
	}
	for i, assessment := range answer.GetAssessments() {
		title := answer.GetRuns()[i].GetTitle()
		grids = append(grids, newRecipeCheck(assessment, source{}).figureGrids(title+": stages",
			title+": air with everything that is booked, cautious case: the nearest limits")...)
	}
	grids = append(grids, personDayGrids(answer.GetPersonDays(), zone)...)
	return append(grids, notes(answer.GetAssumptions(), answer.GetCaution())...)
}

// mostExposures is how many limits of a day are shown, nearest first; --output json lists all.
const mostExposures = 3

// personDayGrids show what people breathe over their days at firings.
func personDayGrids(days []*saggarv1.PersonDay, zone *time.Location) []render.Grid {
	if len(days) == 0 {
		return nil
	}
	grid := render.Grid{
		Title:   "Each person's day at firings, cautious case: the nearest limits",
		Columns: []string{"person", "day", "where", "gas", "limit", "over", "mean ppm", "limit ppm", "% of it"},
	}
	for _, d := range days {
		for i, e := range d.GetExposures() {
			if i == mostExposures {
				break
			}
			grid.Rows = append(grid.Rows, []string{
				d.GetPerson(), d.GetDate(), stayWords(d.GetStays(), zone), e.GetSpecies(), e.GetAuthority() + " " + e.GetKind(),
				averagingWords(e.GetAveragingMinutes()), render.Number(e.GetMeanPpm()), render.Number(e.GetLimitPpm()), percent(&e.Ratio),
			})
		}
		if len(d.GetExposures()) == 0 {
			grid.Rows = append(grid.Rows, []string{d.GetPerson(), d.GetDate(), stayWords(d.GetStays(), zone), "none", "", "", "", "", ""})
		}
	}
	return []render.Grid{grid}
}

// stayWords say where somebody is and when.
func stayWords(stays []*saggarv1.PersonStay, zone *time.Location) string {
	var words []string
	for _, s := range stays {
		words = append(words, fmt.Sprintf("%s %s-%s", s.GetRoom(), s.GetStartTime().AsTime().In(zone).Format("15:04"),
			s.GetEndTime().AsTime().In(zone).Format("15:04")))
	}
	return strings.Join(words, ", ")
}

func averagingWords(minutes float64) string {
	if minutes == 0 {
		return "moment"
	}
	return render.Number(minutes) + " min"
}

func bookedGrids(answer *saggarv1.BookRunResponse, zone *time.Location) []render.Grid {
	grids := []render.Grid{runGrid(answer.GetRuns()...), windowsGrid(answer.GetRuns(), zone)}
	for _, run := range answer.GetRuns() {
		grids = append(append(grids, drawGrids(run)...), clearanceGrids(run, zone)...)
	}
	return append(append(grids, heldGrids(answer.GetRuns())...), findingGrids(answer.GetFindings())...)
}

// drawGrids show what a run takes of lots.
func drawGrids(run *saggarv1.Run) []render.Grid {
	if len(run.GetLotDraws()) == 0 {
		return nil
	}
	grid := render.Grid{Columns: []string{"lot", "for", "at stage", "g", "state"}}
	for _, d := range run.GetLotDraws() {
		grid.Rows = append(grid.Rows, []string{
			shortName(d.GetLot()), cmp.Or(d.GetMaterial(), "what it starts from"), d.GetStage(), render.Number(d.GetMassGrams()),
			render.Enum(d.GetState()),
		})
	}
	return []render.Grid{grid}
}

func runGrid(runs ...*saggarv1.Run) render.Grid {
	grid := render.Grid{Columns: []string{"run", "title", "recipe", "department", "maker", "state"}}
	for _, run := range runs {
		grid.Rows = append(grid.Rows, []string{
			shortName(run.GetName()), run.GetTitle(), recipeVersion(run.GetRecipe()), run.GetDepartment(), run.GetMaker(),
			render.Enum(run.GetState()),
		})
	}
	return grid
}

// recipeVersion shortens studios/s/recipes/r/versions/2 to r/2.
func recipeVersion(name string) string {
	_, short, _ := strings.Cut(name, "/recipes/")
	return strings.Replace(short, "/versions/", "/", 1)
}

// windowsGrid shows where and when each stage is done: the charge, the draw, and of a single run also what is in between.
func windowsGrid(runs []*saggarv1.Run, zone *time.Location) render.Grid {
	if len(runs) == 1 {
		return windowGrid(runs[0], zone)
	}
	grid := render.Grid{Columns: []string{"run", "stage", "on", "starts", "drawn by", "free again"}}
	for i, run := range runs {
		for _, row := range windowGrid(run, zone).Rows {
			grid.Rows = append(grid.Rows, append([]string{runLabel(runs, i)}, row[:len(row)-1]...))
		}
	}
	return grid
}

// runLabel is what a table of several runs calls one of them.
func runLabel(runs []*saggarv1.Run, i int) string {
	if i >= len(runs) {
		return ""
	}
	run := runs[i]
	if run.GetName() != "" {
		return shortName(run.GetName())
	}
	return fmt.Sprintf("%d. %s", i+1, cmp.Or(run.GetTitle(), recipeVersion(run.GetRecipe())))
}

// windowGrid shows where and when each stage is done: the charge, the draw, and what is in between.
func windowGrid(run *saggarv1.Run, zone *time.Location) render.Grid {
	grid := render.Grid{Columns: []string{"stage", "on", "starts", "drawn by", "free again", "phases in minutes"}}
	for _, w := range run.GetStageWindows() {
		phases := w.GetPhases()
		if len(phases) == 0 {
			continue
		}
		if isUnplaced(run, w.GetStage()) {
			grid.Rows = append(grid.Rows, []string{w.GetStage(), "none yet: " + cmp.Or(shortName(w.GetJoinFiring()), "its firing") + " was called off", "-", "-", "-", "-"})
			continue
		}
		drawn := phases[len(phases)-1]
		var parts []string
		for _, p := range phases {
			minutes := int(p.GetEndTime().AsTime().Sub(p.GetStartTime().AsTime()).Minutes())
			if minutes > 0 {
				parts = append(parts, render.Enum(p.GetKind())+" "+render.Number(float64(minutes)))
			}
			if p.GetKind() == saggarv1.PhaseKind_PHASE_KIND_DRAW {
				drawn = p
			}
		}
		grid.Rows = append(grid.Rows, []string{
			w.GetStage(), placeOf(w), local(phases[0].GetStartTime(), zone), local(drawn.GetEndTime(), zone),
			local(phases[len(phases)-1].GetEndTime(), zone), strings.Join(parts, ", "),
		})
	}
	return grid
}

// isUnplaced reports whether a stage's shared firing was called off and it has no other yet.
func isUnplaced(run *saggarv1.Run, stage string) bool {
	return slices.ContainsFunc(run.GetLoads(), func(l *saggarv1.Load) bool {
		return shortName(l.GetName()) == stage && l.GetState() == saggarv1.LoadState_LOAD_STATE_UNPLACED
	})
}

// placeOf says on what a stage is done, and in whose firing where it rides in a shared one.
func placeOf(w *saggarv1.StageWindow) string {
	if w.GetJoinFiring() == "" {
		return w.GetFurnace()
	}
	return fmt.Sprintf("%s, in %s of %s", w.GetFurnace(), shortName(w.GetJoinFiring()), w.GetAttendedBy())
}

// findingGrids show findings one under the other, since their sentences are long; repeats are shown once.
func findingGrids(findings []*saggarv1.Finding) []render.Grid {
	if len(findings) == 0 {
		return nil
	}
	grid := render.Grid{Title: "Findings"}
	for _, f := range api.Digest(findings) {
		grid.Rows = append(grid.Rows, findingRows(f)...)
	}
	return []render.Grid{grid}
}

func findingRows(f *saggarv1.Finding) [][]string {
	rows := paragraph("", render.Enum(f.GetSeverity())+" "+f.GetCode()+": "+f.GetMessage())
	if f.GetCure() != "" {
		rows = append(rows, paragraph("    ", "cure: "+f.GetCure())...)
	}
	if f.GetSource() != "" {
		rows = append(rows, paragraph("    ", "source: "+f.GetSource())...)
	}
	return rows
}

// paragraph is a text over as many rows as it needs, the later ones further in.
func paragraph(indent, text string) [][]string {
	var rows [][]string
	for _, line := range wrap(text, tableWidth-len(indent)-2) {
		rows = append(rows, []string{indent + line})
		if len(rows) == 1 {
			indent += "  "
		}
	}
	return rows
}
