package app_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"saggar/server/app"
)

// BenchmarkPlanMany plans runs of four stages and of one on a studio of four furnaces until five seconds are over. It reports
// when the first plan that can be booked was there, how far the last may be from the best, and how often the air sent the
// search back.
func BenchmarkPlanMany(b *testing.B) {
	for _, count := range []int{6, 12, 24} {
		b.Run(fmt.Sprint(count), func(b *testing.B) {
			bench := newBench(b)
			for b.Loop() {
				var runs []app.RunRequest
				for i := range count {
					runs = append(runs, request([]string{"blue", "red"}[i%2], 1))
				}
				in := many(runs...)
				in.Window.End = monday.AddDate(0, 0, 56)
				var first time.Duration
				var last app.PlanAnswer
				started := time.Now()
				require.NoError(b, bench.PlanRuns(bench.ctx, in, func(a app.PlanAnswer) error {
					if first == 0 && len(a.Runs) > 0 {
						first = time.Since(started)
					}
					last = a
					return nil
				}))
				require.NotEmpty(b, last.Progress.Objectives, "%s %v", last.Status, last.Blames)
				b.ReportMetric(float64(first.Milliseconds()), "first-ms")
				b.ReportMetric(100*last.Progress.Objectives[0].Gap, "gap-%")
				b.ReportMetric(float64(last.Progress.AirRounds), "air-rounds")
			}
		})
	}
}
