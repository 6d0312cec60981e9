package engine

import "slices"

// Post is a place in which somebody must be from one moment to another, while it is present.
type Post struct {
	From, To Term
	Present  Lit
	Place    int
}

// FixedPost is a post that stands, [From, To).
type FixedPost struct{ From, To, Place int }

// places keeps the number of different places in which somebody must be at one minute within the number of people.
type places struct {
	worded
	people int
	posts  []Post
	fixed  []FixedPost
	words  []Lit
	seen   []int
}

// AddPlaces states that at no minute posts are in more places than there are people, wherever a post of the variables is.
func (s *Solver) AddPlaces(people int, fixed []FixedPost, posts []Post) {
	p := &places{people: people, posts: posts, fixed: fixed}
	var views []View
	for _, t := range posts {
		views = append(views, t.From.View, t.To.View, t.Present.View())
	}
	slices.Sort(views)
	s.add(p, 0, slices.Compact(views))
}

// propagate looks at each minute at which a post that must be has its sure stretch begin: between such minutes the number
// of places only falls.
func (p *places) propagate(s *Solver) bool {
	for i := range p.posts {
		if s.look() {
			return true
		}
		at := &p.posts[i]
		if begin := s.MaxOf(at.From); s.Holds(at.Present) && begin < s.MinOf(at.To) && !p.minute(s, begin) {
			return false
		}
	}
	for _, at := range p.fixed {
		if s.look() {
			return true
		}
		if !p.minute(s, at.From) || !p.minute(s, at.To-1) {
			return false
		}
	}
	return p.ends(s)
}

// ends looks at the last minutes of sure stretches too, from which posts are moved to earlier times.
func (p *places) ends(s *Solver) bool {
	for i := range p.posts {
		at := &p.posts[i]
		if end := s.MinOf(at.To); s.Holds(at.Present) && s.MaxOf(at.From) < end && !p.minute(s, end-1) {
			return false
		}
	}
	return true
}

// minute counts the places at a minute and keeps others away when all people are needed.
func (p *places) minute(s *Solver, minute int) bool {
	s.work += len(p.fixed)/4 + len(p.posts)
	own := p.count(s, minute)
	if own && len(p.seen) > p.people {
		return s.fail(p.words)
	}
	if len(p.seen) < p.people {
		return true
	}
	for i := range p.posts {
		t := &p.posts[i]
		welcome := len(p.seen) == p.people && slices.Contains(p.seen, t.Place)
		if !welcome && !s.Fails(t.Present) && !p.away(s, t, minute) {
			return false
		}
	}
	return true
}

// count notes the places in which somebody must be at a minute, and why; it says whether any is the variables' own.
func (p *places) count(s *Solver, minute int) bool {
	p.seen, p.words = p.seen[:0], p.words[:0]
	for _, f := range p.fixed {
		if f.From <= minute && minute < f.To && !slices.Contains(p.seen, f.Place) {
			p.seen = append(p.seen, f.Place)
		}
	}
	own := false
	for i := range p.posts {
		t := &p.posts[i]
		known := slices.Contains(p.seen, t.Place)
		if known && own || !p.sure(s, t, minute) {
			continue
		}
		own = true
		p.words = append(p.words, t.From.AtMost(minute), t.To.AtLeast(minute+1), t.Present)
		if !known {
			p.seen = append(p.seen, t.Place)
		}
	}
	return own
}

func (p *places) sure(s *Solver, t *Post, minute int) bool {
	return s.Holds(t.Present) && s.MaxOf(t.From) <= minute && minute < s.MinOf(t.To)
}

// away keeps a post off a minute.
func (p *places) away(s *Solver, t *Post, minute int) bool {
	begins, lasts := t.From.AtMost(minute), t.To.AtLeast(minute+1)
	switch {
	case s.Holds(begins) && s.Holds(lasts):
		return s.setWords(t.Present.Not(), append(p.words[:len(p.words):len(p.words)], begins, lasts))
	case !s.Holds(t.Present):
		return true
	case s.Holds(lasts):
		return s.setWords(begins.Not(), append(p.words[:len(p.words):len(p.words)], t.Present, lasts))
	case s.Holds(begins):
		return s.setWords(lasts.Not(), append(p.words[:len(p.words):len(p.words)], t.Present, begins))
	}
	return true
}
