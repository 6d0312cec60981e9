package main

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"saggar/scheduler"
	"saggar/scheduler/studio"
)

// planStudio plans a drawn studio with so many runs and prints a row at the first plan, at each second in which a better one
// or a better bound came, and at the end. Lateness and completion stand as value and bound.
func (s settings) planStudio(w io.Writer) error {
	p := studio.Draw(s.seed, studio.Size{Runs: s.studio, Stages: 3, Furnaces: 12, Weeks: 8, Firings: s.studio})
	out := csv.NewWriter(w)
	if err := out.Write([]string{"cpu_seconds", "status", "objectives"}); err != nil {
		return err
	}
	begun := processorTime()
	told := -1
	row := func(status string, values []scheduler.ObjectiveValue) {
		var words []string
		for _, v := range values {
			words = append(words, fmt.Sprintf("%s %d of at least %d", v.Objective, v.Value, v.Bound))
		}
		seconds := (processorTime() - begun).Seconds()
		_ = out.Write([]string{strconv.FormatFloat(seconds, 'f', 2, 64), status, strings.Join(words, "; ")})
		out.Flush()
	}
	result, err := scheduler.Solve(
		processorLimit{context.Background(), begun + s.limit*time.Duration(s.threads)}, p, scheduler.Options{
			Seed: s.seed, Threads: s.threads, SkipWhy: true, OnImprove: func(now scheduler.Progress) {
				if second := int((processorTime() - begun).Seconds()); second > told && len(now.Solution.Tasks) > 0 {
					told = second
					row("feasible", now.Objectives)
				}
			},
		})
	if err != nil {
		return err
	}
	row(string(result.Status), result.Objectives)
	return out.Error()
}
