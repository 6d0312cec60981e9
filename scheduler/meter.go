package scheduler

import "context"

// workPerLook is how many spans may be handled between two looks at the context: well below a millisecond's work.
const workPerLook = 20_000

// workPerStatement is about what stating one condition to the engine comes to.
const workPerStatement = 400

// meter ends the work when the context says so. Once stopped it stays so; whoever sees that gives up what is unfinished and
// claims nothing from it.
type meter struct {
	ctx     context.Context
	work    int
	stopped bool
}

func newMeter(ctx context.Context) *meter {
	return &meter{ctx: ctx, stopped: ctx.Err() != nil}
}

// spend counts work and says whether to go on.
func (m *meter) spend(work int) bool {
	m.work += work + 1
	if m.work >= workPerLook {
		m.work = 0
		m.look()
	}
	return !m.stopped
}

// look asks the context and says whether to stop.
func (m *meter) look() bool {
	m.stopped = m.stopped || m.ctx.Err() != nil
	return m.stopped
}
