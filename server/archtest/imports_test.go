package archtest

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Groups of packages from outside that rules name together.
var (
	grpcAndProto = []string{
		"google.golang.org/grpc/...", "google.golang.org/protobuf/...", "google.golang.org/genproto/...", "buf.build/...",
	}
	postgres = []string{"github.com/jackc/pgx/v5/...", "github.com/jackc/tern/v2/..."}
)

// rule says what the packages of one name may import besides the standard library.
type rule struct {
	name   string // a package, or all below it and itself with /...
	may    []string
	reason string
}

// rules are tried from the top; the first whose name fits holds. A package that none fits fails, so a new one is
// thought about before it is written.
var rules = []rule{
	{"chem/...", []string{"saggar/chem/...", "gonum.org/v1/gonum/..."},
		"what a charge is and does can be checked by anyone who knows chemistry, without the service"},
	{"scheduler/...", []string{"saggar/scheduler/..."},
		"the engine knows minutes and capacities; app translates chemistry into them"},
	{"proto/convert", join([]string{"saggar/proto/...", "saggar/chem/..."}, grpcAndProto),
		"messages and value types meet in one place, for server and client alike"},
	{"proto/...", join([]string{"saggar/proto/..."}, grpcAndProto),
		"the contract depends on nothing of ours"},
	{"migrations", nil,
		"the schema is text"},
	{"server/domain/...", []string{"saggar/server/domain/...", "saggar/chem/...", "saggar/scheduler/..."},
		"nouns and invariants outlive the wire format and the database"},
	{"server/watch", []string{"saggar/server/domain"},
		"followers share what one reader reads, wherever it comes from and whoever may see it"},
	{"server/app/...", []string{
		"saggar/server/app/...", "saggar/server/domain/...", "saggar/server/store/...", "saggar/server/watch", "saggar/chem/...",
		"saggar/scheduler/...", "github.com/google/uuid", "golang.org/x/sync/...",
	}, "an operation decides; it sees neither messages nor SQL"},
	{"server/store/...", join([]string{
		"saggar/server/store/...", "saggar/server/domain/...", "saggar/migrations", "github.com/google/uuid", "golang.org/x/sync/...",
		"saggar/chem", "saggar/chem/air", "saggar/chem/heat", // value types only, which it stores
	}, postgres), "the one place that speaks SQL decides nothing"},
	{"server/rpc/...", join([]string{
		"saggar/server/rpc/...", "saggar/server/app/...", "saggar/server/domain/...", "saggar/server/limit", "saggar/proto/...",
		"saggar/chem/finding", "github.com/google/uuid", "golang.org/x/sync/...", "golang.org/x/time/rate",
	}, grpcAndProto), "the edge converts and maps errors; rules of the trade and SQL live further in"},
	{"server/limit", []string{"golang.org/x/time/rate"},
		"callers of every kind are held to rates alike"},
	{"server/calendar", []string{"saggar/server/domain", "saggar/chem/heat", "github.com/arran4/golang-ical", "github.com/google/uuid"},
		"a calendar is written from what is booked, wherever it is sent"},
	{"server/feed", []string{
		"saggar/server/app", "saggar/server/calendar", "saggar/server/domain", "saggar/server/limit", "golang.org/x/net/netutil",
	}, "a second edge, for programs that read calendars, with as little as they need"},
	{"server/post", []string{"saggar/server/domain", "github.com/wneessen/go-mail"},
		"letters are put into form and handed over by a library that is looked after, whatever stands in them"},
	{"server/config", []string{"github.com/spf13/pflag"},
		"settings are read before anything else exists"},
	{"server/certificate", nil,
		"what is shown on a network rests on the standard library alone"},
	{"server/openid", []string{"saggar/server/domain", "github.com/coreos/go-oidc/v3/...", "golang.org/x/time/rate"},
		"tokens are verified by a library that is looked after, apart from what their bearers may do"},
	{"server/cluster", nil,
		"the private PostgreSQL knows nothing of what is stored in it"},
	{"server/pgtest", join([]string{"saggar/server/cluster", "saggar/server/store", "saggar/migrations"}, postgres),
		"tests get a database without knowing how"},
	{"server/invariant", []string{"saggar/server/domain", "saggar/chem/heat"},
		"what must never happen is recomputed without the code that decides"},
	{"server/archtest", nil,
		"the rules depend on nothing that they judge"},
	{"server/cmd/...", join([]string{"saggar/server/...", "saggar/proto/...", "github.com/spf13/..."}, grpcAndProto),
		"main puts the server's parts together and does nothing else"},
	{"client/cmd/...", join([]string{
		"saggar/client/...", "saggar/proto/...", "saggar/chem/...", "github.com/spf13/...", "go.yaml.in/yaml/v3", "github.com/google/uuid",
		"golang.org/x/term",             // a key is typed without being shown
		"github.com/arran4/golang-ical", // a calendar is read as other programs read it
	}, grpcAndProto), "a client reaches the service through its contract alone, and reckons offline with chem"},
	{"client/chart", []string{"gonum.org/v1/plot/...", "github.com/guptarohit/asciigraph"},
		"drawing knows lines and levels, not what they mean"},
	{"client/...", join([]string{
		"saggar/client/...", "saggar/proto/...", "saggar/chem/...", "go.yaml.in/yaml/v3", "github.com/google/uuid",
	}, grpcAndProto), "a client reaches the service through its contract alone"},
}

// never are the refusals that hold whatever a rule above comes to allow.
var never = []struct{ name, imports, reason string }{
	{"chem/...", "saggar/scheduler/...", "chemistry and planning meet in app"},
	{"scheduler/...", "saggar/chem/...", "chemistry and planning meet in app"},
	{"server/domain/...", "saggar/scheduler/check", "domain takes value types only"},
	{"server/app/...", "saggar/proto/...", "messages stop at rpc"},
	{"server/rpc/...", "saggar/server/store/...", "an operation that skips app skips its rights and rules"},
	{"server/rpc/...", "github.com/jackc/...", "only store speaks SQL"},
	{"server/cmd/...", "github.com/jackc/...", "only store speaks SQL"},
	{"server/cmd/...", "saggar/client/...", "a server is not a client"},
	{"server/cmd/...", "saggar/server/pgtest", "tests' tools stay out of the binary"},
	{"server/cmd/...", "saggar/server/invariant", "tests' tools stay out of the binary"},
	{"client/...", "saggar/server/...", "a client must work from another machine"},
	{"client/...", "saggar/scheduler/...", "plans come from the service, which sees all bookings"},
	{"client/...", "github.com/jackc/...", "only store speaks SQL"},
}

// house are the packages that the layout promises.
var house = []string{
	"chem", "chem/air", "chem/data", "chem/finding", "chem/gas", "chem/heat", "client/account",
	"client/api", "client/board", "client/cmd/saggar",
	"migrations", "proto/convert", "proto/saggar/v1", "scheduler", "scheduler/check", "scheduler/race", "server/app", "server/archtest",
	"server/certificate", "server/openid",
	"server/cluster", "server/cmd/saggard", "server/config", "server/domain", "server/pgtest", "server/rpc", "server/store",
	"server/watch", "server/limit", "server/calendar", "server/feed", "server/post",
}

// notYetWritten are promised packages that do not stand yet. The list only ever shrinks.
var notYetWritten = []string{
	"client/board",
}

func TestImports(t *testing.T) {
	for _, p := range modulePackages(t) {
		r, found := ruleFor(p.name())
		if !assert.True(t, found, "no rule in archtest fits package %s: add one, with its reason", p.name()) {
			continue
		}
		for _, path := range p.Imports {
			assert.True(t, isStandard(path) || fitsAny(path, r.may),
				"%s may not import %s: %s", p.name(), path, r.reason)
		}
	}
}

func TestForbiddenImports(t *testing.T) {
	for _, p := range modulePackages(t) {
		for _, n := range never {
			if !fits(p.name(), n.name) {
				continue
			}
			for _, path := range p.Imports {
				assert.False(t, fits(path, n.imports), "%s must never import %s: %s", p.name(), path, n.reason)
			}
		}
	}
}

func TestPureTestsNeedNoService(t *testing.T) {
	for _, p := range modulePackages(t) {
		if !fits(p.name(), "chem/...") && !fits(p.name(), "scheduler/...") {
			continue
		}
		for _, path := range slices.Concat(p.TestImports, p.XTestImports) {
			for _, banned := range []string{"saggar/server/...", "saggar/client/...", "saggar/proto/...", "github.com/jackc/..."} {
				assert.False(t, fits(path, banned), "tests of %s import %s; pure packages are tested without the service", p.name(), path)
			}
		}
	}
}

func TestThePromisedPackagesStand(t *testing.T) {
	standing := map[string]bool{}
	for _, p := range modulePackages(t) {
		standing[p.name()] = true
	}
	for _, name := range house {
		owed := slices.Contains(notYetWritten, name)
		assert.True(t, standing[name] || owed, "package %s has vanished; rules that name it guard nothing", name)
		assert.False(t, standing[name] && owed, "package %s is written; take it off notYetWritten", name)
	}
	for _, name := range notYetWritten {
		assert.Contains(t, house, name)
	}
}

func ruleFor(name string) (rule, bool) {
	for _, r := range rules {
		if fits(name, r.name) {
			return r, true
		}
	}
	return rule{}, false
}

// fits reports whether the path is the pattern, or below it when the pattern ends in /...
func fits(path, pattern string) bool {
	base, below := strings.CutSuffix(pattern, "/...")
	return path == base || below && strings.HasPrefix(path, base+"/")
}

func fitsAny(path string, patterns []string) bool {
	return slices.ContainsFunc(patterns, func(pattern string) bool { return fits(path, pattern) })
}

// isStandard tells the standard library by its paths, whose first part has no dot, as this module's has none either.
func isStandard(path string) bool {
	first, _, _ := strings.Cut(path, "/")
	return !strings.Contains(first, ".") && first != module
}

func join(lists ...[]string) []string { return slices.Concat(lists...) }

func TestFits(t *testing.T) {
	assert.True(t, fits("chem", "chem/..."))
	assert.True(t, fits("chem/air", "chem/..."))
	assert.False(t, fits("chemistry", "chem/..."))
	assert.False(t, fits("chem/air", "chem"))
	assert.True(t, isStandard("encoding/json"))
	assert.False(t, isStandard("saggar/chem"))
	assert.False(t, isStandard("gonum.org/v1/gonum/mat"))
}
