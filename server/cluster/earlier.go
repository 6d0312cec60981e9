package cluster

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const (
	// An earlier run's PostgreSQL may take this long to end in order, before it is told to drop everything.
	earlierRunPatience = 20 * time.Second
	// Processes without a postmaster end by themselves at once, or never: then they are killed.
	orphanPatience  = 2 * time.Second
	earlierRunLimit = 60 * time.Second
)

// lockRun waits until no process of an earlier run is left. PostgreSQL inherits the lock and so do its children, so a
// killed server's PostgreSQL, or a killed PostgreSQL's sessions, keep the next run away from their shared memory.
func (f folder) lockRun(quit <-chan struct{}) (*os.File, error) {
	lock, err := os.OpenFile(f.runLock(), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	begin := time.Now()
	nextPush := begin.Add(orphanPatience)
	for {
		err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		switch {
		case err == nil:
			return lock, nil
		case !errors.Is(err, syscall.EWOULDBLOCK):
			return nil, errors.Join(fmt.Errorf("lock %s: %w", f.runLock(), err), lock.Close())
		case time.Since(begin) > earlierRunLimit:
			return nil, errors.Join(fmt.Errorf("%w: PostgreSQL of an earlier run (processes %v) does not end; stop it",
				ErrFolderInUse, f.processes()), lock.Close())
		case time.Now().After(nextPush):
			f.push(time.Since(begin))
			nextPush = nextPush.Add(orphanPatience)
		}
		select {
		case <-quit:
			return nil, errors.Join(errStopped, lock.Close())
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// push hurries an earlier run that has been waited for: a postmaster by an immediate shutdown, and at once what has lost
// its postmaster, since it can do nothing useful any more. A process that is gone by now needs no push.
func (f folder) push(waited time.Duration) {
	if pid := f.postmaster(); pid != 0 {
		if waited > earlierRunPatience {
			_ = syscall.Kill(pid, syscall.SIGQUIT)
		}
		return
	}
	for _, pid := range f.processes() {
		_ = syscall.Kill(pid, syscall.SIGKILL)
	}
}

// clearPIDFile removes what a killed PostgreSQL left behind: its process id may be another program's by now, which
// PostgreSQL would take for itself. Under the run lock the only one that can be alive was started by hand.
func (f folder) clearPIDFile() error {
	if pid := f.postmaster(); pid != 0 {
		return fmt.Errorf("%w: PostgreSQL (process %d) that this server did not start runs on %s; stop it",
			ErrFolderInUse, pid, f.data())
	}
	if err := os.Remove(f.pidFile()); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// socketLock is the file beside the socket that names the process which listens there.
func socketLock(socketFolder string) string {
	return filepath.Join(socketFolder, ".s.PGSQL."+port+".lock")
}

// clearSocketLock removes what a killed PostgreSQL left beside its socket, for the same reason as its process id: once it was
// made sure that none of ours is alive.
func clearSocketLock(socketFolder string) error {
	if err := os.Remove(socketLock(socketFolder)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// postmaster is the process id of a PostgreSQL that lives on the data folder, 0 when there is none.
func (f folder) postmaster() int {
	lines := f.pidFileLines()
	if len(lines) == 0 {
		return 0
	}
	pid, err := strconv.Atoi(lines[0])
	if err != nil || !f.worksHere(pid) {
		return 0
	}
	return pid
}

// processes lists the processes of PostgreSQL that live on the data folder.
func (f folder) processes() (pids []int) {
	entries, err := os.ReadDir("/proc")
	if err != nil {
		return nil
	}
	for _, entry := range entries {
		if pid, err := strconv.Atoi(entry.Name()); err == nil && f.worksHere(pid) {
			pids = append(pids, pid)
		}
	}
	return pids
}

// worksHere reports whether the process is PostgreSQL and works in the data folder, as all its processes do. A stranger
// with the same number does not, nor does a shell that stands in the folder.
func (f folder) worksHere(pid int) bool {
	process := filepath.Join("/proc", strconv.Itoa(pid))
	where, err := os.Readlink(filepath.Join(process, "cwd"))
	if err != nil || where != f.data() {
		return false
	}
	program, err := os.Readlink(filepath.Join(process, "exe"))
	// An upgrade of the package marks the running program as deleted.
	return err == nil && filepath.Base(strings.TrimSuffix(program, " (deleted)")) == "postgres"
}
