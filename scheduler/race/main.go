// Command race solves published scheduling instances within a limit each and prints how it went: a row an instance as CSV or
// JSON, and a summary of each family. It reads files and the clock; what it races knows neither.
package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"saggar/scheduler"
)

// row is how one instance went.
type row struct {
	Family      string   `json:"family"`
	Instance    string   `json:"instance"`
	Status      string   `json:"status"`
	Makespan    *int     `json:"makespan"`
	LowerBound  *int     `json:"lower_bound"`
	BestKnown   *int     `json:"best_known"`
	Gap         *float64 `json:"gap"`
	Proven      bool     `json:"proven"`
	CPUSeconds  float64  `json:"cpu_seconds"`
	WallSeconds float64  `json:"wall_seconds"`
}

type settings struct {
	limit     time.Duration
	threads   int
	seed      uint64
	solutions string
	output    string
	studio    int
}

func main() {
	var s settings
	flag.DurationVar(&s.limit, "limit", 10*time.Second, "processor time for each instance and thread")
	flag.IntVar(&s.threads, "threads", 1, "threads; 1 also keeps the Go runtime to one processor")
	flag.Uint64Var(&s.seed, "seed", 1, "seed for what the search leaves to chance")
	flag.StringVar(&s.solutions, "solutions", "", "folder for a file with starts and modes of each solution")
	flag.StringVar(&s.output, "output", "csv", "csv or json")
	flag.IntVar(&s.studio, "studio", 0, "instead of files, plan a drawn studio with so many runs of three stages")
	flag.Parse()
	if err := s.run(flag.Args()); err != nil {
		fmt.Fprintln(os.Stderr, "race:", err)
		os.Exit(1)
	}
}

func (s settings) run(paths []string) error {
	if (len(paths) == 0) == (s.studio <= 0) || s.threads < 1 || s.limit <= 0 || (s.output != "csv" && s.output != "json") {
		return fmt.Errorf("needs folders or files, or --studio; --threads of at least 1, a --limit above 0 and --output csv or json")
	}
	if s.threads == 1 {
		runtime.GOMAXPROCS(1)
	}
	if s.studio > 0 {
		return s.planStudio(os.Stdout)
	}
	return s.race(paths)
}

// race solves all instances under the paths and prints their rows, then a summary of each family.
func (s settings) race(paths []string) error {
	print := newPrinter(os.Stdout, s.output)
	sums := map[string]*summary{}
	for _, root := range paths {
		files, err := instanceFiles(root)
		if err != nil {
			return err
		}
		for _, path := range files {
			r, err := s.one(root, path)
			if err != nil {
				return err
			}
			if err := print(r); err != nil {
				return err
			}
			if sums[r.Family] == nil {
				sums[r.Family] = &summary{}
			}
			sums[r.Family].add(r)
		}
	}
	names := []string{}
	for name := range sums {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		fmt.Fprintf(os.Stderr, "%s: %s\n", name, sums[name])
	}
	return nil
}

// instanceFiles are the files of known endings under a folder, or the file itself.
func instanceFiles(root string) ([]string, error) {
	var files []string
	err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if _, known := families[strings.ToLower(filepath.Ext(path))]; known && !entry.IsDir() {
			files = append(files, path)
		}
		return nil
	})
	return files, err
}

// processorTime is what this process has used.
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

// Err ends the context at its processor time.
func (p processorLimit) Err() error {
	if processorTime() >= p.until {
		return context.DeadlineExceeded
	}
	return p.Context.Err()
}

func (s settings) one(root, path string) (row, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return row{}, err
	}
	in, family, err := parse(path, text)
	if err != nil {
		return row{}, err
	}
	name, err := filepath.Rel(root, path)
	if err != nil || name == "." {
		name = filepath.Base(path)
	}
	r := row{Family: family, Instance: filepath.ToSlash(name), BestKnown: bestKnown(root, path)}
	begun, used := time.Now(), processorTime()
	ctx := processorLimit{context.Background(), used + s.limit*time.Duration(s.threads)}
	result, err := scheduler.Solve(ctx, in.problem, scheduler.Options{Seed: s.seed, SkipWhy: true, Threads: s.threads})
	if err != nil {
		return row{}, fmt.Errorf("%s: %w", path, err)
	}
	r.WallSeconds, r.CPUSeconds = time.Since(begun).Seconds(), (processorTime() - used).Seconds()
	r.fill(in, result)
	if s.solutions != "" && r.Makespan != nil {
		return r, in.save(s.solutions, r, result.Solution)
	}
	return r, nil
}

func (r *row) fill(in instance, result scheduler.Result) {
	r.Status = string(result.Status)
	r.Proven = result.Status == scheduler.Optimal || result.Status == scheduler.Infeasible
	if result.Status != scheduler.Infeasible {
		bound := max(result.BoundMinute-in.before, 0)
		r.LowerBound = &bound
	}
	if len(result.Solution.Tasks) == 0 {
		return
	}
	makespan := result.MakespanMinute - in.before
	r.Makespan = &makespan
	if r.BestKnown != nil {
		gap := float64(makespan)/float64(*r.BestKnown) - 1
		r.Gap = &gap
	}
}

// save writes starts and modes, from 1 on, in the order of the file's activities.
func (in instance) save(folder string, r row, solution scheduler.Solution) error {
	answer := struct {
		Instance string `json:"instance"`
		Starts   []int  `json:"starts"`
		Modes    []int  `json:"modes"`
	}{Instance: r.Instance}
	for _, task := range in.tasks {
		start, mode := 0, 1
		switch {
		case task == atEnd:
			start = *r.Makespan
		case task >= 0:
			start, mode = solution.Tasks[task].StartMinute, solution.Tasks[task].Mode+1
		}
		answer.Starts, answer.Modes = append(answer.Starts, start), append(answer.Modes, mode)
	}
	text, err := json.Marshal(answer)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	name := strings.NewReplacer("/", "_").Replace(r.Family+"_"+r.Instance) + ".json"
	return os.WriteFile(filepath.Join(folder, name), append(text, '\n'), 0o644)
}

// bestKnown is what an index beside the instance, or in a folder above it up to the root, says of it; nil where none does.
func bestKnown(root, path string) *int {
	for folder := filepath.Dir(path); ; folder = filepath.Dir(folder) {
		name, err := filepath.Rel(folder, path)
		if err == nil {
			if best := lookUp(filepath.Join(folder, filepath.Base(folder)+".csv"), filepath.ToSlash(name)); best != nil {
				return best
			}
		}
		if len(folder) < len(filepath.Clean(root)) || folder == filepath.Dir(folder) {
			return nil
		}
	}
}

func lookUp(index, name string) *int {
	file, err := os.Open(index)
	if err != nil {
		return nil
	}
	defer func() { _ = file.Close() }()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		return nil
	}
	for _, r := range rows {
		if len(r) > 1 && r[0] == name {
			if best, err := strconv.Atoi(r[1]); err == nil {
				return &best
			}
		}
	}
	return nil
}

func newPrinter(w io.Writer, output string) func(row) error {
	if output == "json" {
		encoder := json.NewEncoder(w)
		return func(r row) error { return encoder.Encode(r) }
	}
	out := csv.NewWriter(w)
	header := []string{"family", "instance", "status", "makespan", "lower_bound", "best_known", "gap", "proven", "cpu_seconds", "wall_seconds"}
	begun := false
	return func(r row) error {
		if !begun {
			begun = true
			if err := out.Write(header); err != nil {
				return err
			}
		}
		gap := ""
		if r.Gap != nil {
			gap = strconv.FormatFloat(*r.Gap, 'f', 4, 64)
		}
		err := out.Write([]string{
			r.Family, r.Instance, r.Status, number(r.Makespan), number(r.LowerBound), number(r.BestKnown), gap,
			strconv.FormatBool(r.Proven), fmt.Sprintf("%.2f", r.CPUSeconds), fmt.Sprintf("%.2f", r.WallSeconds),
		})
		out.Flush()
		return err
	}
}

func number(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}

// summary counts a family.
type summary struct {
	instances, proven, unsolved, gaps int
	gap                               float64
	cpu                               float64
}

func (s *summary) add(r row) {
	s.instances++
	s.cpu += r.CPUSeconds
	if r.Proven {
		s.proven++
	}
	if r.Makespan == nil && r.Status != string(scheduler.Infeasible) {
		s.unsolved++
	}
	if r.Gap != nil {
		s.gaps++
		s.gap += *r.Gap
	}
}

// String says the counts in one line.
func (s *summary) String() string {
	mean := 0.0
	if s.gaps > 0 {
		mean = 100 * s.gap / float64(s.gaps)
	}
	return fmt.Sprintf("%d instances, %d proven, %d unsolved, mean gap %.3f %% over %d, %.0f s of processor time",
		s.instances, s.proven, s.unsolved, mean, s.gaps, s.cpu)
}
