package file

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"

	saggarv1 "saggar/proto/saggar/v1"
)

// RunList is what a file says of runs that are planned together.
type RunList struct {
	// Runs have full names and recipes, and no windows unless the file gives some.
	Runs []*saggarv1.Run
	// Limits are each run's own, in the order of the runs; one that has none has an empty message.
	Limits []*saggarv1.PlanLimits
	// Lines are by paths such as "runs[1].recipe" and "runs[1].limits.avoid_furnaces[0]".
	Lines Lines
}

// DecodeRuns reads the bytes of a file called name: a list `runs:`, each with its recipe, department and the other fields
// of a run, and with its own `limits:`. Names, recipes and lots may be short ids. Errors: [Errors].
func DecodeRuns(name string, data []byte, o Options) (RunList, error) {
	root, fault := parse(name, data)
	if fault != nil {
		return RunList{}, Errors{fault}
	}
	d := newDecoder(name, o)
	list := RunList{Lines: d.lines}
	for i, node := range d.runNodes(root) {
		if d.full() {
			break
		}
		run, limits := d.runWithLimits(node, elementPath("runs", i))
		list.Runs, list.Limits = append(list.Runs, run), append(list.Limits, limits)
	}
	d.namedOnce(list.Runs)
	if len(d.faults) > 0 {
		return list, d.faults
	}
	return list, nil
}

// runNodes are the elements under the key runs, which stands alone.
func (d *decoder) runNodes(root *yaml.Node) []*yaml.Node {
	const cure = "write runs: and below it a list, one - to each run"
	if root.Kind != yaml.MappingNode {
		d.fault(root.Line, "", "needs the field runs, not "+describe(root), cure)
		return nil
	}
	for i := 0; i+1 < len(root.Content); i += 2 {
		if key := root.Content[i]; key.Value != "runs" {
			d.fault(key.Line, cut(key.Value), "is no field here", cure)
		}
	}
	runs := valueOf(root, "runs")
	switch {
	case runs == nil:
		d.fault(root.Line, "runs", "is empty", cure)
		return nil
	case runs.Kind != yaml.SequenceNode:
		d.fault(runs.Line, "runs", "needs a list, not "+describe(runs), cure)
		return nil
	case len(runs.Content) == 0:
		d.fault(runs.Line, "runs", "is empty", cure)
	}
	d.lines["runs"] = runs.Line
	return runs.Content
}

// runWithLimits reads one run and, from its key limits, what its maker can and will not do.
func (d *decoder) runWithLimits(node *yaml.Node, path string) (*saggarv1.Run, *saggarv1.PlanLimits) {
	run, limits := &saggarv1.Run{}, &saggarv1.PlanLimits{}
	d.lines[path] = node.Line
	limitsNode, rest := apart(node, "limits")
	before := len(d.faults)
	d.message(run.ProtoReflect(), rest, path)
	if limitsNode != nil {
		d.lines[path+".limits"] = limitsNode.Line
		d.message(limits.ProtoReflect(), limitsNode, path+".limits")
	}
	if len(d.faults) > before {
		return run, limits // what is missing may stand under a name that is not known
	}
	d.expand(run.ProtoReflect(), path+".name")
	d.expandRecipe(run, path)
	d.expandLots(run)
	if run.GetDepartment() == "" {
		d.fault(node.Line, path, "has no department", "add department: and the id of the one that it is for")
	}
	return run, limits
}

// apart takes the value of a key out of a mapping; nil when it has none.
func apart(node *yaml.Node, key string) (value, rest *yaml.Node) {
	others := *node
	if node.Kind != yaml.MappingNode {
		return nil, node
	}
	others.Content = nil
	for i := 0; i+1 < len(node.Content); i += 2 {
		if value == nil && node.Content[i].Value == key && !isNull(node.Content[i+1]) {
			value = node.Content[i+1]
			continue
		}
		others.Content = append(others.Content, node.Content[i], node.Content[i+1])
	}
	return value, &others
}

// expandRecipe makes the name of a run's recipe full; it may say a version.
func (d *decoder) expandRecipe(run *saggarv1.Run, path string) {
	const cure = "give the recipe's id, such as bisque, or bisque/versions/2"
	at := path + ".recipe"
	if run.GetRecipe() == "" {
		d.fault(d.lines.Of(at), path, "has no recipe", "add recipe: and the recipe's id")
		return
	}
	prefix := studioPrefix + d.o.Studio + "/recipes/"
	short := strings.TrimPrefix(run.GetRecipe(), prefix)
	if id, _, _ := strings.Cut(short, "/versions/"); !validID.MatchString(id) {
		d.fault(d.lines.Of(at), at, shown(run.GetRecipe())+" is no recipe of this studio", cure)
		return
	}
	run.Recipe = prefix + short
}

// expandLots makes the names of the lots full that a run takes from; what they are the server says.
func (d *decoder) expandLots(run *saggarv1.Run) {
	full := func(lot string) string {
		if !validID.MatchString(lot) {
			return lot
		}
		return studioPrefix + d.o.Studio + "/lots/" + lot
	}
	run.FromLot = full(run.GetFromLot())
	for _, draw := range run.GetLotDraws() {
		draw.Lot = full(draw.GetLot())
	}
}

// namedOnce refuses two runs of one name.
func (d *decoder) namedOnce(runs []*saggarv1.Run) {
	first := map[string]string{}
	for i, run := range runs {
		at := elementPath("runs", i) + ".name"
		if run.GetName() == "" {
			continue
		}
		if before, twice := first[run.GetName()]; twice {
			d.fault(d.lines.Of(at), at, fmt.Sprintf("%s stands twice, first on line %d", shown(run.GetName()), d.lines.Of(before)), "give each run an id of its own")
			continue
		}
		first[run.GetName()] = at
	}
}
