package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"saggar/chem/finding"
	"saggar/chem/heat"
	"saggar/client/render"
)

func TestTheStagesOfACheckSayInWordsWhoIsNeeded(t *testing.T) {
	check := recipeCheck{Stages: []stageTimes{
		{Stage: "reduce", Furnace: "pot", EnergyKilowattHours: 2, Phases: []phaseTime{
			{Phase: heat.Charge, DurationMinutes: 20, Watch: heat.InRoom}, {Phase: heat.Fire, DurationMinutes: 60, Watch: heat.InReach},
			{Phase: heat.Cool, DurationMinutes: 30, Watch: heat.WatchNone},
		}},
		{Stage: "melt"},
	}}
	assert.Equal(t, [][]string{
		{"reduce", "pot", "charge", "20", "20 min", "in the room"}, {"", "", "fire", "60", "1 h", "in reach"},
		{"", "", "cool", "30", "30 min", "nobody"}, {"", "", "in all", "110", "1 h 50 min"},
		{"melt", "-", "none: see the findings"},
	}, check.stageGrid("Stages").Rows, "a stage that no furnace can do has no time")
}

func TestTheFindingsOfACheckAreToldOnceWithTheirLines(t *testing.T) {
	one := recipeFinding{Severity: finding.Warn, Code: "SLOW", Field: "stages[1]", Line: 7, About: "muffle", Message: "slower than asked", Cure: "ask less"}
	other := one
	other.Field, other.Line, other.About = "stages[2]", 9, "big-kiln"
	check := recipeCheck{Findings: []recipeFinding{one, one, other}}
	assert.Equal(t, [][]string{
		{"WARN", "SLOW", "7", "muffle: slower than asked"}, {"", "", "", "cure: ask less"},
		{"WARN", "SLOW", "9", "big-kiln: slower than asked"}, {"", "", "", "cure: as above"},
	}, check.findingGrid().Rows)
	assert.Len(t, check.findingRows().Rows, 3, "programs get all")
	assert.Equal(t, render.Grid{Title: "Findings: none"}, recipeCheck{}.findingGrid())
}
