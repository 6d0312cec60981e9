package cluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
)

// initialise makes the data folder and the database in it. It works beside the final place and renames at the end, so
// that a server killed half way through leaves nothing that looks like data.
func (c *Cluster) initialise(ctx context.Context) error {
	fresh := c.folder.unfinished()
	if err := os.RemoveAll(fresh); err != nil {
		return err
	}
	// Locale C sorts by code point, the same on every machine and after every upgrade of the C library.
	args := []string{
		"-D", fresh, "--username", superuser, "--pwfile", c.folder.passwordFile(), "--auth", "scram-sha-256",
		"--encoding", "UTF8", "--locale", "C", "--data-checksums", "--no-instructions",
	}
	if c.options.FastAndUnsafe {
		args = append(args, "--no-sync")
	}
	if err := c.folder.tool(ctx, tool{path: c.programs.path("initdb"), args: args}); err != nil {
		return fmt.Errorf("make the data folder: %w", err)
	}
	single := append([]string{"--single", "-D", fresh, "-c", "exit_on_error=on"}, c.durability()...)
	if err := c.folder.tool(ctx, tool{
		path: c.programs.path("postgres"), args: append(single, "postgres"), input: "CREATE DATABASE " + databaseName + "\n",
	}); err != nil {
		return fmt.Errorf("make the database: %w", err)
	}
	if err := os.Rename(fresh, c.folder.data()); err != nil {
		return err
	}
	return syncDir(c.folder.dir)
}

func syncDir(path string) error {
	dir, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// tool is one of PostgreSQL's programs, run to its end.
type tool struct {
	path  string
	args  []string
	input string
}

// tool runs the program as the owner; it dies with this process. Its output becomes the error's text.
func (f folder) tool(ctx context.Context, t tool) error {
	// The parent-death signal follows the thread that forked, not the process.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	cmd := exec.CommandContext(ctx, t.path, t.args...)
	f.dress(cmd, syscall.SIGKILL)
	cmd.Stdin = strings.NewReader(t.input)
	out, err := cmd.CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w: %s", t.path, err, strings.TrimSpace(string(out)))
	}
	return nil
}

// dress gives a command the owner's account, a bare environment (no PGDATA, PGPORT or locale from outside), a process
// group of its own (so that Ctrl-C reaches the server alone, which then stops PostgreSQL in order) and the signal that
// it gets when the forking thread ends.
func (f folder) dress(cmd *exec.Cmd, deathSignal syscall.Signal) {
	cmd.Dir = f.dir
	cmd.Env = []string{"PATH=/usr/bin:/bin", "LC_ALL=C"}
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: f.owner.credential, Setpgid: true, Pdeathsig: deathSignal}
}
