package cluster

import (
	"bufio"
	"context"
	"log/slog"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"
)

// tailLines is how much of PostgreSQL's log an error quotes.
const tailLines = 8

// output passes PostgreSQL's log on.
type output struct{ log *slog.Logger }

func newOutput(log *slog.Logger) *output { return &output{log: log} }

// stream is the log of one run.
type stream struct {
	log           *slog.Logger
	reader, write *os.File
	drained       chan struct{}
	mu            sync.Mutex
	last          []string
}

// attach lets the command write into a new stream. The command gets the pipe itself and not a copying goroutine:
// PostgreSQL's children hold it too, and waiting for the command must not mean waiting for them.
func (o *output) attach(cmd *exec.Cmd) (*stream, error) {
	reader, writer, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	cmd.Stdout, cmd.Stderr = writer, writer
	return &stream{log: o.log, reader: reader, write: writer, drained: make(chan struct{})}, nil
}

// abandon closes a stream whose command did not start.
func (s *stream) abandon() {
	s.write.Close()
	s.reader.Close()
}

// follow reads until the last process of the run has ended.
func (s *stream) follow() {
	s.write.Close()
	go func() {
		defer close(s.drained)
		defer s.reader.Close()
		lines := bufio.NewReader(s.reader)
		for {
			line, err := lines.ReadString('\n')
			if line = strings.TrimRight(line, "\n"); line != "" {
				s.keep(line)
				s.log.Log(context.Background(), level(line), "PostgreSQL", "line", line)
			}
			if err != nil {
				return
			}
		}
	}()
}

func (s *stream) keep(line string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last = append(s.last, line)
	if len(s.last) > tailLines {
		s.last = s.last[1:]
	}
}

// tail is the end of the log, for an error's text.
func (s *stream) tail() string {
	select {
	case <-s.drained:
	case <-time.After(200 * time.Millisecond):
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Join(s.last, "; ")
}

// level sorts PostgreSQL's lines: what ends the server is an error, what ends a session or a statement a warning.
func level(line string) slog.Level {
	word, _, _ := strings.Cut(line, ":")
	switch word {
	case "PANIC":
		return slog.LevelError
	case "FATAL", "ERROR", "WARNING":
		return slog.LevelWarn
	default:
		return slog.LevelDebug
	}
}
