// Command saggar is the command line for a studio that shares kilns and furnaces: it checks recipes, finds and books the
// windows of all stages of a run, and shows the week. Bench verbs (formula, air, heat, recipe check --offline) need no
// server. Answers go to standard output, everything else to standard error; exit codes are those of client/api.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // local times must not depend on what the machine has installed
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	s := &shell{in: os.Stdin, out: os.Stdout, errOut: os.Stderr, lookupEnv: os.LookupEnv}
	os.Exit(s.run(ctx, os.Args[1:]))
}
