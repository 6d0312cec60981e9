package main

import (
	"fmt"
	"strconv"
	"strings"

	"saggar/scheduler"
)

// lagged is a file of activities with least and most minutes between their starts.
type lagged struct {
	count, resources int // count has source and sink
	arcs             [][3]int
	minutes          []int
	demands          [][]int
}

// readLags reads .sch files. Source and sink are tasks of a minute: the source starts at 0, and the sink's start is the
// makespan. So is any activity of no minutes, which then takes nothing.
func readLags(r *reader) (instance, error) {
	var p lagged
	if err := p.read(r); err != nil {
		return instance{}, err
	}
	capacities, err := r.numbers(p.resources)
	if err != nil {
		return instance{}, err
	}
	in := instance{before: 1}
	problem := &in.problem
	problem.Objectives = []scheduler.Objective{scheduler.MakespanObjective}
	for i, capacity := range capacities[:p.resources] {
		if err := within("a capacity", capacity, 0, mostNumber); err != nil {
			return in, err
		}
		problem.Cumulatives = append(problem.Cumulatives, scheduler.Cumulative{Name: fmt.Sprintf("R%d", i+1), Capacity: capacity})
	}
	longest := make([]int, p.count)
	for i := range p.count {
		in.tasks = append(in.tasks, i)
		demands := demandsOf(p.demands[i])
		if p.minutes[i] == 0 {
			demands = nil
		}
		problem.Tasks = append(problem.Tasks, scheduler.Task{
			Name: strconv.Itoa(i), Modes: []scheduler.Mode{rigidMode(-1, max(p.minutes[i], 1), demands)},
		})
		longest[i] = p.minutes[i]
	}
	problem.Tasks[0].DeadlineMinute = 1
	for _, arc := range p.arcs {
		longest[arc[0]] = max(longest[arc[0]], arc[2])
		problem.Lags = append(problem.Lags, startToStart(arc[0], arc[1], arc[2]))
	}
	for i := 1; i < p.count-1; i++ {
		problem.Lags = append(problem.Lags, startToStart(0, i, 0), startToStart(i, p.count-1, p.minutes[i]))
	}
	problem.HorizonMinutes = 1
	for _, minutes := range longest {
		problem.HorizonMinutes += minutes
	}
	return in, nil
}

func startToStart(from, to, minutes int) scheduler.Lag {
	return scheduler.Lag{From: from, To: to, MinMinutes: minutes, MaxMinutes: -1, FromStart: true}
}

func (p *lagged) read(r *reader) error {
	first, err := r.numbers(2)
	if err != nil {
		return err
	}
	if err := within("activities", first[0], 1, mostCount); err != nil {
		return err
	}
	if err := within("resources", first[1], 0, mostCount); err != nil {
		return err
	}
	p.count, p.resources = first[0]+2, first[1]
	for i := range p.count {
		if err := p.arcsOf(r, i); err != nil {
			return err
		}
	}
	for i := range p.count {
		row, err := r.numbers(3 + p.resources)
		if err != nil {
			return err
		}
		if row[0] != i {
			return fmt.Errorf("activity %d is due", i)
		}
		for _, n := range row[2:] {
			if err := within("a duration or demand", n, 0, mostNumber); err != nil {
				return err
			}
		}
		p.minutes = append(p.minutes, row[2])
		p.demands = append(p.demands, row[3:3+p.resources])
	}
	return nil
}

// arcsOf reads a line: activity, modes, successors, and a lag in brackets for each.
func (p *lagged) arcsOf(r *reader, i int) error {
	if !r.next() {
		return fmt.Errorf("the file ends where activity %d is due", i)
	}
	r.text = strings.NewReplacer("[", " ", "]", " ").Replace(r.text)
	row, err := r.parse(3)
	if err != nil {
		return err
	}
	count := row[2]
	if row[0] != i || count < 0 || len(row) != 3+2*count {
		return fmt.Errorf("activity %d with a lag for each successor is due", i)
	}
	for k := range count {
		to := row[3+k]
		if err := within("successor", to, 0, p.count-1); err != nil {
			return err
		}
		if to == i {
			return fmt.Errorf("activity %d is its own successor", i)
		}
		p.arcs = append(p.arcs, [3]int{i, to, row[3+count+k]})
	}
	return nil
}
