package scheduler_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"saggar/scheduler"
	"saggar/scheduler/studio"
)

// processorTime is what this process has used: on a busy machine it says more than the clock.
func processorTime() time.Duration {
	var usage syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &usage); err != nil {
		return 0
	}
	return time.Duration(usage.Utime.Nano() + usage.Stime.Nano())
}

// processorLimit is a context that ends when the process has used so much processor time.
type processorLimit struct {
	context.Context
	until time.Duration
}

func (p processorLimit) Err() error {
	if processorTime() >= p.until {
		return context.DeadlineExceeded
	}
	return p.Context.Err()
}

// separate adds so many separations of a few hours between tasks and modes drawn at random.
func separate(p *scheduler.Problem, count int) {
	random := rand.New(rand.NewPCG(1, 5))
	mode := func(task int) int { return random.IntN(len(p.Tasks[task].Modes)+1) - 1 }
	for range count {
		first := random.IntN(len(p.Tasks))
		second := (first + 1 + random.IntN(len(p.Tasks)-1)) % len(p.Tasks)
		p.Separations = append(p.Separations, scheduler.Separation{
			First: first, FirstMode: mode(first), Second: second, SecondMode: mode(second),
			FromMinutes: -60 - random.IntN(400), ToMinutes: 60 + random.IntN(400),
		})
	}
}

// BenchmarkStudio plans 60 runs of 3 stages on 12 furnaces over 8 weeks, each within six seconds of processor time.
func BenchmarkStudio(b *testing.B) {
	for _, separations := range []int{0, 3000} {
		b.Run(fmt.Sprintf("%d separations", separations), func(b *testing.B) {
			p := studio.Draw(1, studio.Size{Runs: 60, Stages: 3, Furnaces: 12, Weeks: 8, Firings: 60})
			separate(&p, separations)
			planned(b, p)
		})
	}
}

func planned(b *testing.B, p scheduler.Problem) {
	var result scheduler.Result
	var first time.Duration
	for b.Loop() {
		begun := processorTime()
		first = 0
		var err error
		result, err = scheduler.Solve(processorLimit{context.Background(), begun + 6*time.Second}, p, scheduler.Options{
			SkipWhy: true, OnImprove: func(scheduler.Progress) {
				if first == 0 {
					first = processorTime() - begun
				}
			},
		})
		require.NoError(b, err)
		require.NotEmpty(b, result.Solution.Tasks)
	}
	b.ReportMetric(first.Seconds(), "s-to-first")
	for _, o := range result.Objectives {
		b.ReportMetric(float64(o.Value), string(o.Objective))
	}
	b.ReportMetric(float64(result.Conflicts), "conflicts/op")
}
