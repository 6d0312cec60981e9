package scheduler

import "context"

// workPerLook is how many spans may be handled between two looks at the context: well below a millisecond's work.
const workPerLook = 20_000

// meter ends the work when the context or the node limit says so. Once stopped it stays so; whoever sees that gives up
// what is unfinished and claims nothing from it.
type meter struct {
	ctx     context.Context
	work    int
	nodes   int
	limit   int // 0: none
	stopped bool
}

func newMeter(ctx context.Context, limit int) *meter {
	return &meter{ctx: ctx, limit: limit, stopped: ctx.Err() != nil}
}

// spend counts work and says whether to go on.
func (m *meter) spend(work int) bool {
	m.work += work + 1
	if m.work >= workPerLook {
		m.work = 0
		m.stopped = m.stopped || m.ctx.Err() != nil
	}
	return !m.stopped
}

// open counts a node of the search and says whether it may be opened.
func (m *meter) open() bool {
	if m.limit > 0 && m.nodes >= m.limit {
		m.stopped = true
	}
	if !m.spend(100) {
		return false
	}
	m.nodes++
	return true
}
