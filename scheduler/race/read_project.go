package main

import (
	"fmt"
	"strconv"
	"strings"

	"saggar/scheduler"
)

// project is a file of the single-mode or multi-mode project format.
type project struct {
	jobs, renewable, budgets int
	successors               [][]int
	modes                    []int
	problem                  scheduler.Problem
}

// readProject reads .sm and .mm files. The first and the last job are of no minutes: they stand for start and end.
func readProject(r *reader) (instance, error) {
	var p project
	if err := p.header(r); err != nil {
		return instance{}, err
	}
	if err := p.precedences(r); err != nil {
		return instance{}, err
	}
	if err := p.requests(r); err != nil {
		return instance{}, err
	}
	if err := p.availabilities(r); err != nil {
		return instance{}, err
	}
	in := instance{problem: p.problem, tasks: make([]int, p.jobs)}
	in.problem.Objectives = []scheduler.Objective{scheduler.MakespanObjective}
	for job := range in.tasks {
		in.tasks[job] = job - 1
	}
	in.tasks[0], in.tasks[p.jobs-1] = atStart, atEnd
	for from, list := range p.successors {
		for _, to := range list {
			if from > 0 && to < p.jobs-1 && to > 0 {
				in.problem.Lags = append(in.problem.Lags, scheduler.Lag{From: from - 1, To: to - 1, MaxMinutes: -1})
			}
		}
	}
	return in, nil
}

func (p *project) header(r *reader) error {
	keys := []struct {
		word string
		into *int
	}{{"jobs", &p.jobs}, {"- renewable", &p.renewable}, {"- nonrenewable", &p.budgets}}
	for _, key := range keys {
		if err := r.until(key.word); err != nil {
			return err
		}
		_, value, _ := strings.Cut(r.text, ":")
		fields := strings.Fields(value)
		if len(fields) == 0 {
			return fmt.Errorf("%q has no number", key.word)
		}
		n, err := strconv.Atoi(fields[0])
		if err != nil {
			return fmt.Errorf("%q is no whole number", fields[0])
		}
		if err := within(key.word, n, 0, mostCount); err != nil {
			return err
		}
		*key.into = n
	}
	return within("jobs", p.jobs, 3, mostCount)
}

func (p *project) precedences(r *reader) error {
	if err := r.until("PRECEDENCE RELATIONS"); err != nil {
		return err
	}
	r.next() // the heading
	for job := range p.jobs {
		row, err := r.numbers(3)
		if err != nil {
			return err
		}
		if row[0] != job+1 || row[2] != len(row)-3 {
			return fmt.Errorf("job %d with %d successors is due", job+1, row[2])
		}
		if err := within("modes", row[1], 1, mostCount); err != nil {
			return err
		}
		p.modes = append(p.modes, row[1])
		var list []int
		for _, to := range row[3:] {
			if err := within("successor", to, 1, p.jobs); err != nil {
				return err
			}
			if to == job+1 {
				return fmt.Errorf("job %d is its own successor", to)
			}
			list = append(list, to-1)
		}
		p.successors = append(p.successors, list)
	}
	return nil
}

func (p *project) requests(r *reader) error {
	if err := r.until("REQUESTS/DURATIONS"); err != nil {
		return err
	}
	r.next() // the heading
	for job, count := range p.modes {
		var task scheduler.Task
		longest := 0
		for range count {
			mode, minutes, err := p.mode(r, job, len(task.Modes) == 0)
			if err != nil {
				return err
			}
			longest = max(longest, minutes)
			task.Modes = append(task.Modes, mode)
		}
		if dummy := job == 0 || job == p.jobs-1; !dummy {
			if longest == 0 {
				return fmt.Errorf("job %d takes no time", job+1)
			}
			p.problem.Tasks = append(p.problem.Tasks, task)
			p.problem.HorizonMinutes += longest
		}
	}
	return nil
}

// mode reads one line of requests: the first of a job has the job's number in front, and rulers may stand before it.
func (p *project) mode(r *reader, job int, first bool) (scheduler.Mode, int, error) {
	for r.next() && strings.HasPrefix(r.text, "-") {
	}
	width := 2 + p.renewable + p.budgets
	if first {
		width++
	}
	row, err := r.parse(width)
	if err != nil {
		return scheduler.Mode{}, 0, err
	}
	if first {
		if row[0] != job+1 {
			return scheduler.Mode{}, 0, fmt.Errorf("job %d is due", job+1)
		}
		row = row[1:]
	}
	for _, n := range row[1:] {
		if err := within("a duration or demand", n, 0, mostNumber); err != nil {
			return scheduler.Mode{}, 0, err
		}
	}
	mode := rigidMode(-1, row[1], demandsOf(row[2:2+p.renewable]))
	for b, amount := range row[2+p.renewable : 2+p.renewable+p.budgets] {
		if amount > 0 {
			mode.Uses = append(mode.Uses, scheduler.Use{Budget: b, Amount: amount})
		}
	}
	return mode, row[1], nil
}

func (p *project) availabilities(r *reader) error {
	if err := r.until("RESOURCEAVAILABILITIES"); err != nil {
		return err
	}
	r.next() // the heading
	row, err := r.numbers(p.renewable + p.budgets)
	if err != nil {
		return err
	}
	for i, n := range row[:p.renewable+p.budgets] {
		if err := within("an availability", n, 0, mostNumber); err != nil {
			return err
		}
		if i < p.renewable {
			p.problem.Cumulatives = append(p.problem.Cumulatives, scheduler.Cumulative{Name: fmt.Sprintf("R%d", i+1), Capacity: n})
		} else {
			p.problem.Budgets = append(p.problem.Budgets, scheduler.Budget{Name: fmt.Sprintf("N%d", i+1-p.renewable), Amount: n})
		}
	}
	return nil
}
