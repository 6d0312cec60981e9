package kinetics

import (
	"fmt"
	"math"
	"strings"
)

// Model is one form of f(alpha), alpha the converted fraction in [0, 1], named as in the recommendations of the ICTAC
// Kinetics Committee, Thermochim. Acta 520 (2011) 1-19, table of common kinetic models.
type Model struct {
	// Name is the short name, such as "F1".
	Name string
	// Title says what is pictured, Rate is f(alpha) and Integral g(alpha) in words of algebra; Integral is empty where there
	// is no closed form.
	Title, Rate, Integral string
	// f is the rate at a fraction in (0, 1).
	f func(alpha float64) float64
	// g is the kinetic time to a fraction below 1, and inverse the fraction at a kinetic time. Both are nil without a closed
	// form.
	g, inverse func(float64) float64
	// early is the power of alpha that grows evenly at first, alpha^early proportional to theta.
	early float64
}

// ModelSource is where the models are tabled.
const ModelSource = "ICTAC Kinetics Committee recommendations, Thermochim. Acta 520 (2011) 1-19"

// models have closed integral forms. order and Avrami forms by their exponent: f = (1-a)^n, f = n (1-a) (-ln(1-a))^(1-1/n),
// f = n (1-a)^(1-1/n).
var models = []Model{
	{
		Name: "F1", Title: "first order", Rate: "1-a", Integral: "-ln(1-a)", early: 1,
		f: func(a float64) float64 { return 1 - a },
		g: func(a float64) float64 { return -math.Log1p(-a) }, inverse: func(t float64) float64 { return -math.Expm1(-t) },
	},
	{
		Name: "F2", Title: "second order", Rate: "(1-a)^2", Integral: "1/(1-a)-1", early: 1,
		f: func(a float64) float64 { return (1 - a) * (1 - a) },
		g: func(a float64) float64 { return a / (1 - a) }, inverse: func(t float64) float64 { return t / (1 + t) },
	},
	{
		Name: "F3", Title: "third order", Rate: "(1-a)^3", Integral: "((1-a)^-2-1)/2", early: 1,
		f:       func(a float64) float64 { return (1 - a) * (1 - a) * (1 - a) },
		g:       func(a float64) float64 { return a * (2 - a) / (2 * (1 - a) * (1 - a)) },
		inverse: func(t float64) float64 { return 1 - 1/math.Sqrt(1+2*t) },
	},
	avrami("A2", 2), avrami("A3", 3),
	contracting("R2", "contracting cylinder", 2), contracting("R3", "contracting sphere", 3),
	{
		Name: "D1", Title: "one-dimensional diffusion", Rate: "1/(2a)", Integral: "a^2", early: 2,
		f: func(a float64) float64 { return 1 / (2 * a) },
		g: func(a float64) float64 { return a * a }, inverse: func(t float64) float64 { return math.Sqrt(min(t, 1)) },
	},
	{
		Name: "D3", Title: "three-dimensional diffusion (Jander)", early: 2,
		Rate: "3(1-a)^(2/3)/(2(1-(1-a)^(1/3)))", Integral: "(1-(1-a)^(1/3))^2",
		f: func(a float64) float64 { return 1.5 * math.Pow(1-a, 2.0/3) / shrunk(a, 3) },
		g: func(a float64) float64 { return shrunk(a, 3) * shrunk(a, 3) },
		inverse: func(t float64) float64 {
			return 1 - math.Pow(1-math.Sqrt(min(t, 1)), 3)
		},
	},
}

func avrami(name string, n float64) Model {
	return Model{
		Name: name, Title: fmt.Sprintf("Avrami-Erofeev, n = %g", n), early: 1 / n,
		Rate: fmt.Sprintf("%g(1-a)(-ln(1-a))^(1-1/%g)", n, n), Integral: fmt.Sprintf("(-ln(1-a))^(1/%g)", n),
		f:       func(a float64) float64 { return n * (1 - a) * math.Pow(-math.Log1p(-a), 1-1/n) },
		g:       func(a float64) float64 { return math.Pow(-math.Log1p(-a), 1/n) },
		inverse: func(t float64) float64 { return -math.Expm1(-math.Pow(t, n)) },
	}
}

func contracting(name, title string, n float64) Model {
	return Model{
		Name: name, Title: title, early: 1,
		Rate: fmt.Sprintf("%g(1-a)^(1-1/%g)", n, n), Integral: fmt.Sprintf("1-(1-a)^(1/%g)", n),
		f: func(a float64) float64 { return n * math.Pow(1-a, 1-1/n) },
		g: func(a float64) float64 { return shrunk(a, n) },
		inverse: func(t float64) float64 {
			return -math.Expm1(n * math.Log1p(-min(t, 1)))
		},
	}
}

// shrunk is 1-(1-a)^(1/n) without loss of figures at small a.
func shrunk(a, n float64) float64 { return -math.Expm1(math.Log1p(-a) / n) }

// truncatedSestakBerggren is f = a^m (1-a)^n with m in [0, 1), which has no closed integral in elementary functions.
func truncatedSestakBerggren(name string, m, n float64) Model {
	return Model{
		Name: name, Title: "truncated Sestak-Berggren", Rate: fmt.Sprintf("a^%g (1-a)^%g", m, n), early: 1 - m,
		f: func(a float64) float64 { return math.Pow(a, m) * math.Pow(1-a, n) },
	}
}

// Models returns the models with a closed form, in the order of ICTAC's families: order, nucleation, contraction, diffusion.
func Models() []Model { return append([]Model(nil), models...) }

// ModelNamed finds a model by its short name, "SB(m;n)" for the truncated Sestak-Berggren model with those exponents.
func ModelNamed(name string) (Model, bool) {
	for _, m := range models {
		if m.Name == name {
			return m, true
		}
	}
	var m, n float64
	if inner, ok := strings.CutPrefix(name, "SB("); ok {
		if read, err := fmt.Sscanf(inner, "%g;%g)", &m, &n); err == nil && read == 2 && m >= 0 && m < 1 && n > 0 && n < 10 {
			return truncatedSestakBerggren(name, m, n), true
		}
	}
	return Model{}, false
}

// Closed reports whether the model has a closed integral form.
func (m Model) Closed() bool { return m.g != nil }

// KineticTime is g(alpha), the kinetic time in which alpha is reached, for a fraction in [0, 1).
func (m Model) KineticTime(alpha float64) float64 {
	if m.Closed() {
		return m.g(alpha)
	}
	return m.path().timeTo(alpha)
}

// Fraction is the converted fraction at a kinetic time from 0.
func (m Model) Fraction(kineticTime float64) float64 {
	if kineticTime <= 0 {
		return 0
	}
	if m.Closed() {
		return min(1, m.inverse(kineticTime))
	}
	return m.path().at(kineticTime)
}
