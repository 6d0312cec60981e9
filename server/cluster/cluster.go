// Package cluster runs the private PostgreSQL that serves when no database is given: it finds the programs, makes the
// data folder, starts the server on a Unix socket that only its owner can open, starts it again when it dies, and takes
// it down with this process. It knows nothing of what is stored. Linux only: it relies on the parent-death signal, on
// flock and on /proc.
//
// The folder given as Options.DataDir holds:
//
//	data/           PostgreSQL's own data folder
//	password        the superuser's generated password, mode 0600
//	server.lock     locked by the one server that may use the folder
//	postgres.lock   locked by PostgreSQL's processes for as long as any of them lives
package cluster

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"sync"
	"syscall"
	"time"
)

const (
	superuser    = "saggar"
	databaseName = "saggar"
	port         = "5432" // names the socket file only; nothing listens on TCP
)

// Errors by which a caller can tell the refusals of Start apart.
var (
	// ErrNoPostgres says that no usable PostgreSQL is installed.
	ErrNoPostgres = errors.New("PostgreSQL is not installed")
	// ErrFolderInUse says that another process uses the data folder.
	ErrFolderInUse = errors.New("data folder is in use")
	// ErrOtherMajor says that the data folder was made by another major version of PostgreSQL than any installed one.
	ErrOtherMajor = errors.New("data folder belongs to another major version of PostgreSQL")
)

// Options says where the cluster lives and how careful it is.
type Options struct {
	// DataDir is the cluster's own folder; it is made when it is missing. As root its parents must let user postgres pass.
	DataDir string
	// Logger gets PostgreSQL's log and the supervisor's remarks; nil discards them.
	Logger *slog.Logger
	// FastAndUnsafe gives up durability for speed. For tests whose data nobody will miss.
	FastAndUnsafe bool
}

// Cluster is a running private PostgreSQL. Its methods may be called from several goroutines.
type Cluster struct {
	options  Options
	log      *slog.Logger
	folder   folder
	programs programs
	socket   string
	password string
	output   *output
	patience patience

	first  chan error    // how the first start went
	exited chan error    // why supervision ended, if it was not by Stop
	quit   chan struct{} // closed when Stop is called
	done   chan struct{} // closed when supervision has ended

	mu      sync.Mutex
	stopped bool
	process *os.Process // nil while PostgreSQL is down
}

// Start makes the data folder if need be, starts PostgreSQL and returns once it accepts connections. The database named
// in ConnString exists and is empty at first. Errors: ErrNoPostgres, ErrFolderInUse, ErrOtherMajor, or what the file
// system or PostgreSQL itself said.
func Start(ctx context.Context, options Options) (*Cluster, error) {
	return start(ctx, options, usualPatience)
}

func start(ctx context.Context, options Options, patience patience) (*Cluster, error) {
	logger := options.Logger
	if logger == nil {
		logger = slog.New(slog.DiscardHandler)
	}
	place, err := openFolder(options.DataDir)
	if err != nil {
		return nil, fmt.Errorf("private PostgreSQL: %w", err)
	}
	c := &Cluster{
		options: options, log: logger, folder: place, output: newOutput(logger), patience: patience,
		first: make(chan error, 1), exited: make(chan error, 1), quit: make(chan struct{}), done: make(chan struct{}),
	}
	if err := c.prepare(ctx); err != nil {
		place.unlock()
		return nil, fmt.Errorf("private PostgreSQL: %w", err)
	}
	go c.supervise()
	select {
	case err = <-c.first:
	case <-ctx.Done():
		err = ctx.Err()
	}
	if err != nil {
		hurry, cancel := context.WithCancel(ctx)
		cancel()
		return nil, errors.Join(fmt.Errorf("private PostgreSQL in %s did not start: %w", place.dir, err), c.Stop(hurry))
	}
	return c, nil
}

// prepare finds the programs and fills an empty folder.
func (c *Cluster) prepare(ctx context.Context) error {
	major, err := c.folder.major()
	if err != nil {
		return err
	}
	if c.programs, err = findPrograms(ctx, programFolders(), major); err != nil {
		return err
	}
	if err := c.folder.checkReach(ctx, c.programs); err != nil {
		return err
	}
	if c.password, err = c.folder.readOrMakePassword(major != 0); err != nil {
		return err
	}
	if major == 0 {
		if err := c.initialise(ctx); err != nil {
			return err
		}
	}
	c.socket = socketFolder(c.folder.dir)
	return nil
}

// ConnString is a URL that opens the cluster's database as its superuser through the Unix socket. It holds the
// password, so it belongs in no log. It stays the same for the life of the data folder.
func (c *Cluster) ConnString() string {
	u := url.URL{
		Scheme: "postgres", User: url.UserPassword(superuser, c.password), Path: "/" + databaseName,
		RawQuery: url.Values{"host": {c.socket}, "port": {port}}.Encode(),
	}
	return u.String()
}

// PID is the process id of PostgreSQL's postmaster, 0 while it is down.
func (c *Cluster) PID() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.process == nil {
		return 0
	}
	return c.process.Pid
}

// Exited is closed when PostgreSQL is down for good and the data folder free. It yields the reason first if that was not
// Stop: PostgreSQL could not be started again for minutes on end.
func (c *Cluster) Exited() <-chan error { return c.exited }

// Stop shuts PostgreSQL down, rolling back what is open, and frees the data folder. When the context ends first it
// becomes rude: no checkpoint, then SIGKILL; committed data survive that too. Calling it again is harmless.
func (c *Cluster) Stop(ctx context.Context) error {
	c.mu.Lock()
	if !c.stopped {
		c.stopped = true
		close(c.quit)
	}
	c.mu.Unlock()
	for _, step := range []struct {
		signal syscall.Signal
		limit  <-chan struct{}
	}{
		{syscall.SIGINT, ctx.Done()},
		{syscall.SIGQUIT, after(5 * time.Second)},
	} {
		c.signal(step.signal)
		select {
		case <-c.done:
			return nil
		case <-step.limit:
		}
	}
	c.signal(syscall.SIGKILL)
	select {
	case <-c.done:
		return nil
	case <-time.After(5 * time.Second):
		return fmt.Errorf("private PostgreSQL in %s does not stop, not even on SIGKILL", c.folder.dir)
	}
}

func (c *Cluster) signal(s syscall.Signal) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.process != nil {
		if err := c.process.Signal(s); err != nil && !errors.Is(err, os.ErrProcessDone) {
			c.log.Warn("cannot signal PostgreSQL", "signal", s.String(), "error", err)
		}
	}
}

// after is closed once the time has passed.
func after(d time.Duration) <-chan struct{} {
	ch := make(chan struct{})
	time.AfterFunc(d, func() { close(ch) })
	return ch
}
