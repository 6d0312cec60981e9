// Package engine is a learning solver over whole-number variables: constraint propagation in which every deduction can be
// explained, and conflict-driven clause learning over bounds that are named only where a deduction needs them (lazy clause
// generation: Ohrimenko, Stuckey and Codish 2009; Feydy and Stuckey 2009). It knows variables and constraints, but no
// problem, file, clock or random source of its own: the same model, seed and conflict limit give the same answer.
package engine

// View is a variable or its negative: 2k is variable k, 2k+1 is -k. So each bound is a least value of a view, and what is
// written once for least values holds for most values too.
type View int32

// Neg is the view of the opposite sign.
func (v View) Neg() View { return v ^ 1 }

// Lit is the statement that a view is at least a bound. The zero value is always true: variable 0 is the constant 0.
type Lit int64

// boundBits is how much of a Lit holds its bound; MaxBound is the greatest bound that any statement may have.
const (
	boundBits = 40
	MaxBound  = 1 << 37
)

// Literals that always and never hold.
const (
	True  Lit = 0
	False Lit = 1<<boundBits | 1
)

// AtLeast says that v is at least b.
func AtLeast(v View, b int) Lit { return Lit(int64(v)<<boundBits | int64(b)&(1<<boundBits-1)) }

// AtMost says that v is at most b.
func AtMost(v View, b int) Lit { return AtLeast(v^1, -b) }

// View is whose bound it is.
func (l Lit) View() View { return View(l >> boundBits) }

// Bound is the least value that is stated.
func (l Lit) Bound() int { return int(l << (64 - boundBits) >> (64 - boundBits)) }

// Not is the opposite statement.
func (l Lit) Not() Lit { return AtLeast(l.View()^1, 1-l.Bound()) }

// Term is a view and a constant added to it. Constant terms have view 0.
type Term struct {
	View View
	Off  int
}

// Constant is the term that is always n.
func Constant(n int) Term { return Term{Off: n} }

// Plus is the term so much greater.
func (t Term) Plus(n int) Term { return Term{t.View, t.Off + n} }

// AtLeast says that the term is at least b.
func (t Term) AtLeast(b int) Lit { return AtLeast(t.View, b-t.Off) }

// AtMost says that the term is at most b.
func (t Term) AtMost(b int) Lit { return AtMost(t.View, b-t.Off) }

// Value is the term's value where all variables have the values given.
func (t Term) Value(values []int) int {
	value := values[t.View/2]
	if t.View&1 == 1 {
		value = -value
	}
	return value + t.Off
}
