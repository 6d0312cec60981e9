package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"saggar/scheduler"
	"saggar/scheduler/check"
)

// published are the rows of the index: instance, makespan, status and source.
func published(t *testing.T) [][]string {
	file, err := os.Open(filepath.Join("testdata", "testdata.csv"))
	require.NoError(t, err)
	defer func() { require.NoError(t, file.Close()) }()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

func load(t require.TestingT, name string) instance {
	text, err := os.ReadFile(filepath.Join("testdata", filepath.FromSlash(name)))
	require.NoError(t, err)
	in, _, err := parse(name, text)
	require.NoError(t, err)
	return in
}

// TestPublishedOptima proves each published optimum, or that there is no schedule, within so many conflicts. The source of
// each stands in its row.
func TestPublishedOptima(t *testing.T) {
	for _, row := range published(t) {
		t.Run(strings.ReplaceAll(row[0], "/", " ")+": "+row[3], func(t *testing.T) {
			in := load(t, row[0])
			result, err := scheduler.Solve(context.Background(), in.problem, scheduler.Options{SkipWhy: true, ConflictLimit: 100_000})
			require.NoError(t, err)
			require.Equal(t, row[2], string(result.Status))
			if result.Status == scheduler.Infeasible {
				return
			}
			best, err := strconv.Atoi(row[1])
			require.NoError(t, err)
			require.Equal(t, best, result.MakespanMinute-in.before)
			require.Equal(t, best, result.BoundMinute-in.before)
			require.Empty(t, check.Verify(in.problem, result.Solution))
		})
	}
}

// TestReaders holds a few figures of each format against what stands in the file.
func TestReaders(t *testing.T) {
	project := load(t, "rcpsp/j301_1.sm").problem
	require.Len(t, project.Tasks, 30)
	require.Equal(t, []int{12, 13, 4, 12}, []int{
		project.Cumulatives[0].Capacity, project.Cumulatives[1].Capacity, project.Cumulatives[2].Capacity, project.Cumulatives[3].Capacity,
	})
	require.Equal(t, 158, project.HorizonMinutes)

	modes := load(t, "mrcpsp/j1021_1.mm").problem
	require.Len(t, modes.Tasks, 10)
	require.Len(t, modes.Tasks[0].Modes, 3)
	require.Len(t, modes.Budgets, 2)

	lags := load(t, "rcpsp-max/PSP113.SCH")
	require.Len(t, lags.problem.Tasks, 12)
	require.Len(t, lags.problem.Cumulatives, 5)
	require.Equal(t, 1, lags.before)

	jobs := load(t, "jsp/ft06.txt").problem
	require.Len(t, jobs.Tasks, 36)
	require.Len(t, jobs.Lags, 30)
	require.Equal(t, 2, jobs.Tasks[0].Modes[0].Unary)
	require.Equal(t, 1, jobs.Tasks[0].Modes[0].Phases[0].Minutes)

	flexible := load(t, "fjsp/kacem1.fjs").problem
	require.Len(t, flexible.Unaries, 5)
	require.Len(t, flexible.Tasks[0].Modes, 5)
}

func TestMalformedFilesAreRefused(t *testing.T) {
	project, err := os.ReadFile(filepath.Join("testdata", "rcpsp", "j301_1.sm"))
	require.NoError(t, err)
	cases := map[string]struct{ name, text, want string }{
		"no such ending":      {"a.xyz", "", "no such format"},
		"empty project":       {"a.sm", "", `no line begins with "jobs"`},
		"cut short":           {"a.sm", string(project[:len(project)/2]), "line"},
		"successor of itself": {"a.sm", strings.Replace(string(project), "   2        1          3           6  11  15", "   2        1          3           6  11  2", 1), "its own successor"},
		"no machine":          {"a.txt", "1 1\n1 5\n", "line 2: machine is 1, must be from 0 to 0"},
		"odd":                 {"a.txt", "1 1\n0 5 0\n", "pairs"},
		"negative duration":   {"a.txt", "1 1\n0 -5\n", "duration is -5"},
		"not a number":        {"a.txt", "1 x\n", `line 1: "x" is no whole number`},
		"too many":            {"a.txt", "1000000 1\n", "jobs is 1000000"},
		"operation cut short": {"a.fjs", "1 1 1\n2 1 1 5 1 1\n", "operation 2 is cut short"},
		"machine from one":    {"a.fjs", "1 1\n1 1 0 5\n", "machine is -1"},
		"lag without arc":     {"a.sch", "1 1 0 0\n0 1 1 1\n", "line 2"},
		"wrong activity":      {"a.sch", "1 1 0 0\n1 1 0\n", "activity 0"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			_, _, err := parse(c.name, []byte(c.text))
			require.ErrorContains(t, err, c.want)
		})
	}
}

// TestRows: the rows, the index beside the files and the solutions written.
func TestRows(t *testing.T) {
	folder := t.TempDir()
	s := settings{limit: 1 << 40, threads: 1, seed: 1, solutions: folder, output: "csv"}
	feasible, err := s.one("testdata", filepath.Join("testdata", "rcpsp-max", "PSP113.SCH"))
	require.NoError(t, err)
	require.Equal(t, []any{"rcpsp-max", "rcpsp-max/PSP113.SCH", "optimal", 22, 22, 22, 0.0, true}, []any{
		feasible.Family, feasible.Instance, feasible.Status, *feasible.Makespan, *feasible.LowerBound, *feasible.BestKnown, *feasible.Gap, feasible.Proven,
	})
	text, err := os.ReadFile(filepath.Join(folder, "rcpsp-max_rcpsp-max_PSP113.SCH.json"))
	require.NoError(t, err)
	var answer struct {
		Instance      string
		Starts, Modes []int
	}
	require.NoError(t, json.Unmarshal(text, &answer))
	require.Len(t, answer.Starts, 12)
	require.Equal(t, 22, answer.Starts[11], "the sink starts at the makespan")
	require.Zero(t, answer.Starts[0])

	none, err := s.one("testdata", filepath.Join("testdata", "rcpsp-max", "PSP3.SCH"))
	require.NoError(t, err)
	require.Equal(t, "infeasible", none.Status)
	require.True(t, none.Proven)
	require.Nil(t, none.Makespan)

	var out bytes.Buffer
	print := newPrinter(&out, "csv")
	require.NoError(t, print(feasible))
	require.NoError(t, print(none))
	lines := strings.Split(out.String(), "\n")
	require.Equal(t, "family,instance,status,makespan,lower_bound,best_known,gap,proven,cpu_seconds,wall_seconds", lines[0])
	require.True(t, strings.HasPrefix(lines[1], "rcpsp-max,rcpsp-max/PSP113.SCH,optimal,22,22,22,0.0000,true,"))
	require.True(t, strings.HasPrefix(lines[2], "rcpsp-max,rcpsp-max/PSP3.SCH,infeasible,,,,,true,"))

	var total summary
	total.add(feasible)
	total.add(none)
	require.Contains(t, total.String(), "2 instances, 2 proven, 0 unsolved, mean gap 0.000 % over 1")
}

// FuzzParse: no file makes a reader fail otherwise than with an error, and what is read is a valid problem.
func FuzzParse(f *testing.F) {
	for _, name := range []string{"rcpsp/j301_1.sm", "mrcpsp/j1021_1.mm", "rcpsp-max/PSP113.SCH", "jsp/ft06.txt", "fjsp/kacem1.fjs"} {
		text, err := os.ReadFile(filepath.Join("testdata", filepath.FromSlash(name)))
		require.NoError(f, err)
		f.Add(filepath.Ext(name), text)
	}
	f.Fuzz(func(t *testing.T, ending string, text []byte) {
		in, _, err := parse("a"+ending, text)
		if err == nil {
			require.NoError(t, in.problem.Validate())
		}
	})
}
