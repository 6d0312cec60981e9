package main

import (
	"fmt"
	"regexp"
	"strings"

	"github.com/spf13/cobra"

	"saggar/client/file"
)

// plainArguments makes every command below say in plain words what to give when its arguments are not right.
func plainArguments(command *cobra.Command) {
	for _, c := range command.Commands() {
		plainArguments(c)
		check := c.Args
		if check == nil {
			continue
		}
		c.Args = func(c *cobra.Command, args []string) error {
			if err := check(c, args); err != nil {
				return badInput(argumentFault(c, args))
			}
			return badInput(idFault(c, args))
		}
	}
}

func argumentFault(c *cobra.Command, args []string) error {
	takes := argumentWords(c)
	switch {
	case c.HasSubCommands():
		var verbs []string
		for _, verb := range c.Commands() {
			verbs = append(verbs, verb.Name())
		}
		alone := ""
		if strings.HasPrefix(c.Short, "List ") { // the noun lists by itself
			alone = ", or nothing to list them"
		}
		return fmt.Errorf("unknown command %q for %q: give one of %s%s", args[0], c.CommandPath(), strings.Join(verbs, ", "), alone)
	case takes == "" && strings.Contains(c.Use, "("):
		return fmt.Errorf("%s is typed as: %s%s", verbPath(c), c.UseLine(), example(c))
	case takes == "":
		return fmt.Errorf("%s takes no arguments: leave out %s", verbPath(c), strings.Join(args, " "))
	case len(args) == 0:
		return fmt.Errorf("%s needs %s%s", verbPath(c), takes, example(c))
	}
	return fmt.Errorf("%s takes one %s, not %s%s", verbPath(c), takes, strings.Join(args, " "), example(c))
}

// idFault refuses an argument that stands for an id and is none; it may say a version.
func idFault(c *cobra.Command, args []string) error {
	takes := argumentWords(c)
	if len(args) == 0 || takes != "ID" && takes != "RECIPE" && takes != "CALLER" {
		return nil
	}
	return checkArgument(takes, args[0])
}

// checkArgument refuses what is no id; it may say a version.
func checkArgument(takes, text string) error {
	id, _, _ := strings.Cut(text, "/versions/")
	if err := file.CheckID(id); err != nil {
		return fmt.Errorf("%s: %w", takes, err)
	}
	return nil
}

// verbPath is a command as it is typed after the program's name.
func verbPath(c *cobra.Command) string {
	return strings.TrimPrefix(c.CommandPath(), c.Root().Name()+" ")
}

// argumentWords are the arguments in a command's usage, without its flags.
func argumentWords(c *cobra.Command) string {
	var words []string
	for _, word := range strings.Fields(c.Use)[1:] {
		if strings.HasPrefix(word, "-") || strings.HasPrefix(word, "(") {
			break
		}
		words = append(words, word)
	}
	return strings.Join(words, " ")
}

// example is how a command is typed, for the end of a sentence.
func example(c *cobra.Command) string {
	if c.Example == "" {
		return "; see " + c.CommandPath() + " --help"
	}
	return ", for example: " + strings.TrimSpace(c.Example)
}

// What the library says of flags, with the names of the flags in it.
var (
	excludedFlags = regexp.MustCompile(`^if any flags in the group \[(.*)\] are set none of the others can be; \[(.*)\] were all set$`)
	joinedFlags   = regexp.MustCompile(`^if any flags in the group \[(.*)\] are set they must all be set; missing \[(.*)\]$`)
	oneOfFlags    = regexp.MustCompile(`^at least one of the flags in the group \[(.*)\] is required$`)
	missingFlags  = regexp.MustCompile(`^required flag\(s\) (.*) not set$`)
)

// plainFlags says in plain words what the library says of flags that miss or contradict each other. Other errors stay.
func plainFlags(c *cobra.Command, err error) error {
	if err == nil {
		return nil
	}
	text := err.Error()
	if found := excludedFlags.FindStringSubmatch(text); found != nil {
		return badInput(fmt.Errorf("%s contradict each other: give only one of them", flagWords(found[2])))
	}
	if found := joinedFlags.FindStringSubmatch(text); found != nil {
		return badInput(fmt.Errorf("%s go together: give %s too", flagWords(found[1]), flagWords(found[2])))
	}
	if found := oneOfFlags.FindStringSubmatch(text); found != nil {
		return badInput(fmt.Errorf("%s needs one of %s%s", verbPath(c), flagWords(found[1]), example(c)))
	}
	if found := missingFlags.FindStringSubmatch(text); found != nil {
		return badInput(fmt.Errorf("%s needs %s%s", verbPath(c), flagWords(strings.NewReplacer(`"`, "", ",", "").Replace(found[1])), example(c)))
	}
	return err
}

func flagWords(names string) string {
	return "--" + strings.Join(strings.Fields(names), " and --")
}
