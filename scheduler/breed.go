package scheduler

import "slices"

// Breeding: two kept plans are crossed as lists of tasks at two places (Hartmann 1998), the child is generated serially and
// moved right and left, and takes the place of the longest plan kept.

const (
	keptPlans    = 30
	bredInATurn  = 1500
	swapOneIn    = 20
	bredFromSize = 40 // tasks; fewer are soon searched through
)

// keep takes a plan among the kept ones if it is short enough and new, and says whether it is the shortest.
func (c *constructor) keep(p constructed) bool {
	at, _ := slices.BinarySearchFunc(c.kept, p.length, func(k constructed, length int) int { return k.length - length })
	for i := at; i < len(c.kept) && c.kept[i].length == p.length; i++ {
		if slices.Equal(c.kept[i].starts, p.starts) {
			return false
		}
	}
	if at >= keptPlans {
		return false
	}
	c.kept = slices.Insert(c.kept, at, p)
	if len(c.kept) > keptPlans {
		c.kept = c.kept[:keptPlans]
	}
	return at == 0 && (len(c.kept) == 1 || p.length < c.kept[1].length)
}

// breed makes some children and returns the shortest plan as starts if one of them is shorter than all before; else nil.
func (c *constructor) breed(children int) []int {
	better := false
	for range c.within(children) {
		if len(c.kept) < 3 || c.o.stop() {
			break
		}
		mother, father := c.parent(), c.parent()
		order := c.crossed(mother.order, father.order)
		if c.add(c.listed(order)) {
			better = true
		}
	}
	if !better {
		return nil
	}
	return c.kept[0].starts
}

// parent is the shorter of two.
func (c *constructor) parent() constructed {
	n := len(c.kept)
	return c.kept[min(c.o.random.IntN(n), c.o.random.IntN(n))]
}

// crossed begins and ends as the mother, with the father's order between; now and then two neighbours change places.
func (c *constructor) crossed(mother, father []int) []int {
	n := len(mother)
	from := c.o.random.IntN(n)
	to := from + c.o.random.IntN(n-from)
	taken := make([]bool, n)
	child := make([]int, 0, n)
	add := func(order []int, until int) {
		for _, i := range order {
			if len(child) < until && !taken[i] {
				taken[i] = true
				child = append(child, i)
			}
		}
	}
	add(mother, from)
	add(father, to)
	add(mother, n)
	for k := 1; k < n; k++ {
		if c.o.random.IntN(swapOneIn) == 0 && !c.follows(child[k-1], child[k]) {
			child[k-1], child[k] = child[k], child[k-1]
		}
	}
	return child
}

func (c *constructor) follows(first, then int) bool {
	return slices.ContainsFunc(c.after[first], func(a apart) bool { return a.task == then })
}

// listed places tasks in the order of a list, each as early as it can.
func (c *constructor) listed(order []int) []int {
	starts := make([]int, len(order))
	c.clear()
	for _, i := range order {
		if c.o.meter.stopped {
			break
		}
		starts[i] = c.earliest(i, starts)
		c.take(i, starts[i], 1)
	}
	return starts
}
