package engine

// atom is a statement that conflicts have named, and how much it took part in them lately.
type atom struct {
	lit      Lit // on a variable's own view, not its negative
	activity float64
	place    int32 // in the heap, or -1
}

// atoms are the statements that activity-based branching chooses from (Moskewicz and others 2001), in a heap.
type atoms struct {
	all    []atom
	of     map[Lit]int32
	heap   []int32
	step   float64
	popped []poppedAtom
}

// poppedAtom left the heap because it was settled, at the level given or below; it may be open again under it.
type poppedAtom struct{ atom, level int32 }

const (
	activityDecay  = 0.95
	activityLimit  = 1e100
	atomsKept      = 200_000
	initialAtomCap = 1024
)

func (a *atoms) init() {
	a.of = make(map[Lit]int32, initialAtomCap)
	a.step = 1
}

func plain(l Lit) Lit {
	if l.View()&1 == 1 {
		return l.Not()
	}
	return l
}

func (a *atoms) bump(l Lit) {
	l = plain(l)
	id, ok := a.of[l]
	if !ok {
		id = int32(len(a.all))
		a.all = append(a.all, atom{lit: l, place: -1})
		a.of[l] = id
		a.push(id)
	}
	at := &a.all[id]
	at.activity += a.step
	if at.activity > activityLimit {
		a.rescale()
	}
	if at.place >= 0 {
		a.up(int(at.place))
	}
}

func (a *atoms) rescale() {
	for i := range a.all {
		a.all[i].activity /= activityLimit
	}
	a.step /= activityLimit
}

func (a *atoms) decay() { a.step /= activityDecay }

func (a *atoms) push(id int32) {
	if a.all[id].place >= 0 {
		return
	}
	a.all[id].place = int32(len(a.heap))
	a.heap = append(a.heap, id)
	a.up(len(a.heap) - 1)
}

func (a *atoms) above(i, j int32) bool { return a.all[i].activity > a.all[j].activity }

func (a *atoms) up(i int) {
	id := a.heap[i]
	for i > 0 {
		parent := (i - 1) / 2
		if !a.above(id, a.heap[parent]) {
			break
		}
		a.heap[i] = a.heap[parent]
		a.all[a.heap[i]].place = int32(i)
		i = parent
	}
	a.heap[i] = id
	a.all[id].place = int32(i)
}

func (a *atoms) down(i int) {
	id := a.heap[i]
	for {
		child := 2*i + 1
		if child >= len(a.heap) {
			break
		}
		if child+1 < len(a.heap) && a.above(a.heap[child+1], a.heap[child]) {
			child++
		}
		if !a.above(a.heap[child], id) {
			break
		}
		a.heap[i] = a.heap[child]
		a.all[a.heap[i]].place = int32(i)
		i = child
	}
	a.heap[i] = id
	a.all[id].place = int32(i)
}

func (a *atoms) pop(level int32) (int32, bool) {
	if len(a.heap) == 0 {
		return 0, false
	}
	id := a.heap[0]
	end := len(a.heap) - 1
	a.heap[0] = a.heap[end]
	a.heap = a.heap[:end]
	a.all[id].place = -1
	if end > 0 {
		a.down(0)
	}
	a.popped = append(a.popped, poppedAtom{id, level + 1})
	return id, true
}

func (a *atoms) backTo(level int32) {
	n := len(a.popped)
	for n > 0 && a.popped[n-1].level > level {
		n--
		a.push(a.popped[n].atom)
	}
	a.popped = a.popped[:n]
}

// thin drops the least active statements when there are too many. At level 0 only.
func (a *atoms) thin() {
	if len(a.all) < atomsKept {
		return
	}
	least := a.step * 1e-30
	kept := a.all[:0]
	clear(a.of)
	a.heap, a.popped = a.heap[:0], a.popped[:0]
	for _, at := range a.all {
		if at.activity > least {
			at.place = -1
			a.of[at.lit] = int32(len(kept))
			kept = append(kept, at)
		}
	}
	a.all = kept
	for i := range a.all {
		a.push(int32(i))
	}
}
