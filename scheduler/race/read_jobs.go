package main

import (
	"fmt"
	"strings"

	"saggar/scheduler"
)

// readJobs reads job shops: pairs of machine, from 0, and duration.
func readJobs(r *reader) (instance, error) {
	first, err := r.numbers(2)
	if err != nil {
		return instance{}, err
	}
	jobs, machines := first[0], first[1]
	in, err := shop(jobs, machines)
	if err != nil {
		return in, err
	}
	for range jobs {
		row, err := r.numbers(2)
		if err != nil {
			return in, err
		}
		if len(row)%2 != 0 {
			return in, fmt.Errorf("has %d numbers, pairs of machine and duration are due", len(row))
		}
		for k := 0; k < len(row); k += 2 {
			if err := in.operation([][2]int{{row[k], row[k+1]}}, k > 0); err != nil {
				return in, err
			}
		}
	}
	return in, nil
}

// readFlexible reads flexible job shops: for each operation a choice of machines, from 1, and durations.
func readFlexible(r *reader) (instance, error) {
	if !r.next() {
		return instance{}, fmt.Errorf("the file is empty")
	}
	// The third number may be fractional and says nothing that is needed.
	r.text = strings.Join(strings.Fields(r.text)[:min(2, len(strings.Fields(r.text)))], " ")
	first, err := r.parse(2)
	if err != nil {
		return instance{}, err
	}
	jobs, machines := first[0], first[1]
	in, err := shop(jobs, machines)
	if err != nil {
		return in, err
	}
	for range jobs {
		row, err := r.numbers(1)
		if err != nil {
			return in, err
		}
		if err := in.flexibleJob(row); err != nil {
			return in, err
		}
	}
	return in, nil
}

func (in *instance) flexibleJob(row []int) error {
	operations, at := row[0], 1
	for op := range operations {
		if at >= len(row) || row[at] < 1 || at+2*row[at] >= len(row) {
			return fmt.Errorf("operation %d is cut short", op+1)
		}
		var choices [][2]int
		for k := range row[at] {
			choices = append(choices, [2]int{row[at+1+2*k] - 1, row[at+2+2*k]})
		}
		if err := in.operation(choices, op > 0); err != nil {
			return err
		}
		at += 1 + 2*row[at]
	}
	return nil
}

func shop(jobs, machines int) (instance, error) {
	var in instance
	if err := within("jobs", jobs, 1, mostCount); err != nil {
		return in, err
	}
	if err := within("machines", machines, 1, mostCount); err != nil {
		return in, err
	}
	for m := range machines {
		in.problem.Unaries = append(in.problem.Unaries, scheduler.Unary{Name: fmt.Sprintf("M%d", m)})
	}
	in.problem.Objectives = []scheduler.Objective{scheduler.MakespanObjective}
	return in, nil
}

// operation adds a task with a mode for each machine, after the last task where it is of the same job.
func (in *instance) operation(choices [][2]int, follows bool) error {
	p := &in.problem
	var task scheduler.Task
	longest := 0
	for _, c := range choices {
		if err := within("machine", c[0], 0, len(p.Unaries)-1); err != nil {
			return err
		}
		if err := within("duration", c[1], 1, mostNumber); err != nil {
			return err
		}
		longest = max(longest, c[1])
		task.Modes = append(task.Modes, rigidMode(c[0], c[1], nil))
	}
	index := len(p.Tasks)
	p.Tasks = append(p.Tasks, task)
	in.tasks = append(in.tasks, index)
	p.HorizonMinutes += longest
	if follows {
		p.Lags = append(p.Lags, scheduler.Lag{From: index - 1, To: index, MaxMinutes: -1})
	}
	return nil
}
