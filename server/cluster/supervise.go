package cluster

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// patience is how supervision bears with a PostgreSQL that does not run.
type patience struct {
	firstDelay, longDelay time.Duration // between a death and the next start, doubling from one to the other
	// mostFailures bounds the starts in a row that never got ready.
	mostFailures int
}

// usualPatience gives up after about five minutes: a full disk may have been emptied by then.
var usualPatience = patience{firstDelay: 100 * time.Millisecond, longDelay: 5 * time.Second, mostFailures: 60}

// steadyAfter is how long PostgreSQL must have run for its next death to count as the first one.
const steadyAfter = 10 * time.Second

var errStopped = errors.New("stopped")

// supervise keeps PostgreSQL running until Stop. It stays on one thread for life because PostgreSQL gets its
// parent-death signal when the thread that forked it ends.
func (c *Cluster) supervise() {
	runtime.LockOSThread()
	defer close(c.done)
	defer close(c.exited)
	defer c.folder.unlock()
	defer os.RemoveAll(c.socket)
	started, failures, delay := false, 0, c.patience.firstDelay
	for {
		begin := time.Now()
		ready, err := c.run(func() {
			if !started {
				c.first <- nil
			}
			started = true
		})
		switch {
		case errors.Is(err, errStopped):
			return
		case !started:
			c.first <- err
			return
		case ready:
			failures = 0
		default:
			failures++
		}
		if failures >= c.patience.mostFailures {
			c.exited <- fmt.Errorf("private PostgreSQL in %s failed to start %d times in a row: %w", c.folder.dir, failures, err)
			return
		}
		if ready && time.Since(begin) > steadyAfter {
			delay = c.patience.firstDelay
		}
		c.log.Error("PostgreSQL is down, starting it again", "error", err, "delay", delay)
		select {
		case <-c.quit:
			return
		case <-time.After(delay):
		}
		delay = min(2*delay, c.patience.longDelay)
	}
}

// run starts PostgreSQL once and returns when it has ended: whether it ever got ready, and why it ended.
func (c *Cluster) run(onReady func()) (bool, error) {
	lock, err := c.folder.lockRun(c.quit)
	if err != nil {
		return false, err
	}
	defer lock.Close() // PostgreSQL's processes hold it on
	if err := c.clearTraces(); err != nil {
		return false, err
	}
	cmd := exec.Command(c.programs.path("postgres"), c.arguments()...)
	c.folder.dress(cmd, c.deathSignal())
	cmd.ExtraFiles = []*os.File{lock}
	log, err := c.output.attach(cmd)
	if err != nil {
		return false, err
	}
	if err := c.launch(cmd); err != nil {
		log.abandon()
		return false, err
	}
	log.follow()
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	ready := c.awaitReady(cmd.Process.Pid, ended, onReady)
	err = <-ended
	c.mu.Lock()
	c.process = nil
	stopped := c.stopped
	c.mu.Unlock()
	if stopped {
		return ready, errStopped
	}
	return ready, fmt.Errorf("PostgreSQL ended (%s): %s", ending(err), log.tail())
}

// clearTraces removes what a killed PostgreSQL left in the data folder and beside its socket.
func (c *Cluster) clearTraces() error {
	if err := errors.Join(c.folder.clearPIDFile(), makeSocketFolder(c.socket, c.folder.owner)); err != nil {
		return err
	}
	return clearSocketLock(c.socket)
}

func ending(err error) string {
	if err == nil {
		return "exit status 0"
	}
	return err.Error()
}

// launch starts the command unless Stop was called; after Stop nothing starts any more.
func (c *Cluster) launch(cmd *exec.Cmd) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.stopped {
		return errStopped
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	c.process = cmd.Process
	return nil
}

// awaitReady returns when PostgreSQL accepts connections or has ended; it leaves the reason in the channel.
func (c *Cluster) awaitReady(pid int, ended chan error, onReady func()) bool {
	ticker := time.NewTicker(5 * time.Millisecond)
	defer ticker.Stop()
	for {
		select {
		case err := <-ended:
			ended <- err
			return false
		case <-ticker.C:
			if c.folder.isReady(pid) {
				onReady()
				return true
			}
		}
	}
}

// arguments are PostgreSQL's settings; none lives in a file, so that an upgrade of the server can change them.
func (c *Cluster) arguments() []string {
	return append([]string{
		"-D", c.folder.data(), "-k", c.socket,
		"-c", "listen_addresses=", "-c", "port=" + port, "-c", "unix_socket_permissions=0700",
		"-c", "max_connections=200", "-c", "timezone=UTC", "-c", "log_timezone=UTC",
		"-c", "logging_collector=off", "-c", "log_destination=stderr", "-c", "log_line_prefix=",
	}, c.durability()...)
}

func (c *Cluster) durability() []string {
	if !c.options.FastAndUnsafe {
		return nil
	}
	return []string{
		"-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off",
		"-c", "wal_level=minimal", "-c", "max_wal_senders=0",
	}
}

// deathSignal is what PostgreSQL gets when this process dies: a shutdown in order, or at once where nobody will miss
// the data.
func (c *Cluster) deathSignal() syscall.Signal {
	if c.options.FastAndUnsafe {
		return syscall.SIGQUIT
	}
	return syscall.SIGINT
}

// isReady reads the eighth line of postmaster.pid, where PostgreSQL says how far it is.
func (f folder) isReady(pid int) bool {
	lines := f.pidFileLines()
	return len(lines) >= 8 && lines[0] == strconv.Itoa(pid) && lines[7] == "ready"
}

func (f folder) pidFileLines() []string {
	text, err := os.ReadFile(f.pidFile())
	if err != nil {
		return nil
	}
	lines := strings.Split(string(text), "\n")
	for i := range lines {
		lines[i] = strings.TrimSpace(lines[i])
	}
	return lines
}
