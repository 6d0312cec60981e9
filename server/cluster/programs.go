package cluster

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// oldestMajor is the oldest PostgreSQL that the migrations and tests are run on.
const oldestMajor = 15

// programs is one installation of PostgreSQL.
type programs struct {
	dir   string // holds initdb and postgres
	major int
}

func (p programs) path(name string) string { return filepath.Join(p.dir, name) }

// programFolders lists where PostgreSQL may be: what PATH leads to, then Debian's and Ubuntu's versioned folders.
func programFolders() []string {
	var folders []string
	if path, err := exec.LookPath("postgres"); err == nil {
		if real, err := filepath.EvalSymlinks(path); err == nil {
			path = real
		}
		folders = append(folders, filepath.Dir(path))
	}
	versioned, err := filepath.Glob("/usr/lib/postgresql/*/bin")
	if err != nil {
		return folders
	}
	return append(folders, versioned...)
}

// findPrograms returns the newest installation in the folders that runs and is recent enough, or the one of the wanted
// major version when that is not 0.
func findPrograms(ctx context.Context, folders []string, wanted int) (programs, error) {
	var found []programs
	for _, dir := range folders {
		if major, err := majorOf(ctx, dir); err == nil {
			found = append(found, programs{dir: dir, major: major})
		}
	}
	slices.SortStableFunc(found, func(a, b programs) int { return cmp.Compare(b.major, a.major) })
	for _, p := range found {
		if p.major == wanted || wanted == 0 && p.major >= oldestMajor {
			return p, nil
		}
	}
	switch {
	case wanted != 0 && len(found) > 0:
		return programs{}, fmt.Errorf("%w: it was made by version %d, installed is %s; install postgresql-%d, "+
			"or dump the data with it and load them into a new folder", ErrOtherMajor, wanted, list(found), wanted)
	case len(found) > 0:
		return programs{}, fmt.Errorf("%w: found only version %s, needed is %d or newer; install a newer one "+
			"(Debian, Ubuntu: apt-get install postgresql) or give --database", ErrNoPostgres, list(found), oldestMajor)
	default:
		return programs{}, fmt.Errorf("%w: neither PATH nor /usr/lib/postgresql/*/bin has initdb and postgres; "+
			"install version %d or newer (Debian, Ubuntu: apt-get install postgresql) or give --database",
			ErrNoPostgres, oldestMajor)
	}
}

func list(found []programs) string {
	var majors []string
	for _, p := range found {
		majors = append(majors, strconv.Itoa(p.major))
	}
	return strings.Join(slices.Compact(majors), ", ")
}

var versionPattern = regexp.MustCompile(`\(PostgreSQL\) (\d+)`)

func majorOf(ctx context.Context, dir string) (int, error) {
	if _, err := os.Stat(filepath.Join(dir, "initdb")); err != nil {
		return 0, err
	}
	out, err := exec.CommandContext(ctx, filepath.Join(dir, "postgres"), "--version").Output()
	if err != nil {
		return 0, err
	}
	match := versionPattern.FindSubmatch(out)
	if match == nil {
		return 0, fmt.Errorf("no version in %q", out)
	}
	return strconv.Atoi(string(match[1]))
}
