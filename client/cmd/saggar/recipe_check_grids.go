package main

import (
	"cmp"
	"fmt"
	"slices"

	"saggar/chem"
	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/client/api"
	"saggar/client/render"
	"saggar/proto/convert"
	saggarv1 "saggar/proto/saggar/v1"
)

// grids are the tables of a check, what matters most first.
func (a recipeCheck) grids(format render.Format) []render.Grid {
	if format == render.CSV {
		return []render.Grid{a.findingRows()}
	}
	return slices.Concat([]render.Grid{a.findingGrid()}, a.figureGrids(
		"Stages, each on the first furnace that can do it", "Air, each stage alone in its room, cautious case: the nearest limits",
	), notes(a.Assumptions, a.Caution))
}

// figureGrids are the tables of what was worked out, under titles for the stages and the air that say on which furnaces and
// with whom.
func (a recipeCheck) figureGrids(stages, air string) []render.Grid {
	grids := []render.Grid{
		a.weighOutGrid(), a.massGrid(), a.productGrid(), a.balanceGrid(), a.ratioGrid(), a.offGasGrid(), a.starvedGrid(),
		a.stageGrid(stages),
		a.heatGrid(), a.conversionGrid(), a.atmosphereGrid(),
	}
	return slices.Concat(grids, a.airGrids(air), []render.Grid{a.nearGrid(), a.fanGrid()})
}

// findingGrid shows each finding over as many rows as its sentences need.
func (a recipeCheck) findingGrid() render.Grid {
	grid := render.Grid{Title: "Findings", Columns: []string{"severity", "code", "line", "what is wrong, and what would cure it"}}
	const besides, least = len("severity") + len("line") + 6, 40
	widest := 0
	for _, f := range a.Findings {
		widest = max(widest, len(f.Code))
	}
	width := max(tableWidth-besides-widest, least)
	for _, f := range a.told() {
		lines := wrap(f.Message, width)
		if f.Cure != "" {
			lines = append(lines, wrap("cure: "+f.Cure, width)...)
		}
		if f.Source != "" {
			lines = append(lines, wrap("source: "+f.Source, width)...)
		}
		for i, line := range lines {
			if i == 0 {
				grid.Rows = append(grid.Rows, []string{string(f.Severity), f.Code, lineText(f.Line), line})
			} else {
				grid.Rows = append(grid.Rows, []string{"", "", "", line})
			}
		}
	}
	if len(a.Findings) == 0 {
		return render.Grid{Title: "Findings: none"}
	}
	return grid
}

// told are the findings as a table tells them.
func (a recipeCheck) told() []recipeFinding {
	var messages []*saggarv1.Finding
	lines := map[string]int{} // by field
	for _, f := range a.Findings {
		messages = append(messages, convert.FindingToProto(finding.Finding{
			Severity: f.Severity, Code: f.Code, Field: f.Field, About: f.About, Message: f.Message, Cure: f.Cure, Source: f.Source,
		}))
		lines[f.Field] = f.Line
	}
	return each(api.Digest(messages), func(m *saggarv1.Finding) recipeFinding {
		told := source{}.finding(m)
		told.Line = lines[told.Field]
		return told
	})
}

// findingRows holds one finding a row, for programs.
func (a recipeCheck) findingRows() render.Grid {
	grid := render.Grid{Columns: []string{"severity", "code", "field", "line", "about", "message", "cure", "source"}}
	for _, f := range a.Findings {
		grid.Rows = append(grid.Rows, []string{
			string(f.Severity), f.Code, f.Field, lineText(f.Line), f.About, f.Message, f.Cure, f.Source,
		})
	}
	return grid
}

func lineText(line int) string {
	if line == 0 {
		return ""
	}
	return fmt.Sprint(line)
}

func (a recipeCheck) weighOutGrid() render.Grid {
	grid := render.Grid{Title: "Weigh out", Columns: []string{"stage", "material", "g"}}
	for _, w := range a.WeighOut {
		grid.Rows = append(grid.Rows, []string{w.Stage, w.Material, render.Number(w.MassGrams)})
	}
	return grid
}

// massGrid is what to expect on the balance before and after each stage; ware is not counted.
func (a recipeCheck) massGrid() render.Grid {
	grid := render.Grid{Title: "On the balance, likely case", Columns: []string{"stage", "g in", "g out"}}
	for _, stage := range a.Stages {
		if stage.MassInGrams > 0 {
			grid.Rows = append(grid.Rows, []string{
				stage.Stage, render.Number(stage.MassInGrams), render.Number(stage.MassOutGrams),
			})
		}
	}
	if len(grid.Rows) == 0 {
		return render.Grid{}
	}
	return grid
}

func (a recipeCheck) productGrid() render.Grid {
	if a.LimitingElement == "" {
		return render.Grid{} // no stage names a product
	}
	return render.Grid{
		Title: "Ideal product", Columns: []string{"g", "limited by"},
		Rows: [][]string{{render.Number(a.IdealProductGrams), a.LimitingElement}},
	}
}

func (a recipeCheck) balanceGrid() render.Grid {
	grid := render.Grid{
		Title:   "Balance in mol, likely case",
		Columns: []string{"stage", "element", "in", "product", "off-gas", "left over"},
	}
	for _, b := range a.Balance {
		grid.Rows = append(grid.Rows, []string{
			b.Stage, b.Element, render.Number(b.InMoles), render.Number(b.ProductMoles), render.Number(b.OffGasMoles),
			render.Number(b.LeftOverMoles),
		})
	}
	return grid
}

// offGasGrid shows both cases of a stage's gas side by side.
func (a recipeCheck) offGasGrid() render.Grid {
	grid := render.Grid{
		Title:   "Off-gas: the cautious case decides",
		Columns: []string{"stage", "species", "cautious g", "likely g", "cautious mol", "likely mol"},
	}
	type key struct{ stage, species string }
	var order []key
	cases := map[key]map[chem.Case]offGas{}
	for _, gas := range a.OffGas {
		at := key{gas.Stage, gas.Species}
		if cases[at] == nil {
			cases[at] = map[chem.Case]offGas{}
			order = append(order, at)
		}
		cases[at][gas.Case] = gas
	}
	for _, at := range order {
		cautious, likely := cases[at][chem.Cautious], cases[at][chem.Likely]
		grid.Rows = append(grid.Rows, []string{
			at.stage, at.species, render.Number(cautious.MassGrams), render.Number(likely.MassGrams),
			render.Number(cautious.Moles), render.Number(likely.Moles),
		})
	}
	return grid
}

// watchWords are what a phase needs of a person, for tables.
var watchWords = map[heat.Watch]string{heat.InRoom: "in the room", heat.InReach: "in reach", heat.WatchNone: "nobody"}

// stageGrid shows the phases of each stage, one a row, and their sum.
func (a recipeCheck) stageGrid(title string) render.Grid {
	grid := render.Grid{
		Title:   title,
		Columns: []string{"stage", "furnace", "phase", "min", "length", "needs"},
	}
	for _, stage := range a.Stages {
		if len(stage.Phases) == 0 {
			grid.Rows = append(grid.Rows, []string{stage.Stage, cmp.Or(stage.Furnace, "-"), "none: see the findings"})
			continue
		}
		total := 0
		first := []string{stage.Stage, cmp.Or(stage.Furnace, "-")}
		for _, phase := range stage.Phases {
			minutes := int(phase.DurationMinutes)
			if minutes == 0 {
				continue // a wait that nobody needs yet
			}
			total += minutes
			grid.Rows = append(grid.Rows, append(first,
				string(phase.Phase), fmt.Sprint(minutes), render.Minutes(minutes), watchWords[phase.Watch]))
			first = []string{"", ""}
		}
		grid.Rows = append(grid.Rows, append(first,
			"in all", fmt.Sprint(total), render.Minutes(total)))
	}
	return grid
}

// airGrids show, for each gas in each room, the limit that comes nearest among those that refuse and among those that warn.
func (a recipeCheck) airGrids(title string) []render.Grid {
	var sources sourceList
	grid := render.Grid{
		Title:   title,
		Columns: append([]string{"stage", "room", "species", "peak"}, limitColumns...),
	}
	for _, room := range a.Air {
		for _, species := range room.Species {
			first := []string{room.Stage, room.Room, species.Species, concentration(species.Species, species.PeakPPM)}
			for _, l := range nearest(species.Limits) {
				grid.Rows = append(grid.Rows, append(first, l.cells(concentration(species.Species, l.LimitPPM), &sources)...))
				first = []string{"", "", "", ""}
			}
			if len(species.Limits) == 0 && species.Species != "H2O" { // steam harms nobody in the room
				grid.Rows = append(grid.Rows, append(first, "no limit is published"))
			}
		}
	}
	return []render.Grid{grid, sources.grid()}
}

// nearest are the limits with the highest ratio, one of each severity, refusing ones first.
func nearest(limits []limitRatio) []limitRatio {
	var chosen []limitRatio
	for _, severity := range []finding.Severity{finding.Block, finding.Warn} {
		of := slices.DeleteFunc(slices.Clone(limits), func(l limitRatio) bool { return l.Severity != severity })
		if len(of) > 0 {
			chosen = append(chosen, slices.MaxFunc(of, func(x, y limitRatio) int { return cmp.Compare(x.Ratio, y.Ratio) }))
		}
	}
	return chosen
}
