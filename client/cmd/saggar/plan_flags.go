package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/pflag"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"saggar/client/file"
	saggarv1 "saggar/proto/saggar/v1"
)

// mostSearched is how long a server searches at most.
const mostSearched = 10 * time.Minute

// planFlags say what a plan makes least, what its maker can and will not do, and how long is searched.
type planFlags struct {
	wish                 wishFlag
	attend               attendFlag
	heatOnlyWhileStaffed bool
	avoid                []string
	searchTime           time.Duration
	progress             bool
}

func (p *planFlags) flags(flags *pflag.FlagSet) {
	flags.Var(&p.wish, "wish", "what is made least first: earliest (the ends), fewest-visits (days to come),\n"+
		"least-energy or least-change (default earliest)")
	flags.Var(&p.attend, "attend", "hours in which you can be there, such as 'mon,wed 08:00-12:00' or 'mon-fri 13:00-17:00';\n"+
		"may be given several times (default: whenever the room is staffed)")
	flags.BoolVar(&p.heatOnlyWhileStaffed, "heat-only-while-staffed", false, "heat nothing unless somebody is in reach")
	flags.StringSliceVar(&p.avoid, "avoid", nil, "furnaces and stations not to use")
	p.search(flags)
}

// search are the flags of everything that is searched for.
func (p *planFlags) search(flags *pflag.FlagSet) {
	flags.DurationVar(&p.searchTime, "search-time", 0, "how long to search while something may be better, at most 10m (default: the server's 10s)")
	flags.BoolVar(&p.progress, "progress", false, "tell on standard error how far the search is, also where that is no terminal")
}

func (p *planFlags) fits() error {
	if p.searchTime < 0 || p.searchTime > mostSearched {
		return fmt.Errorf("--search-time: %v is no time to search: give one above zero, at most 10m", p.searchTime)
	}
	return nil
}

// duration is nil when it is left to the server.
func (p *planFlags) duration() *durationpb.Duration {
	if p.searchTime == 0 {
		return nil
	}
	return durationpb.New(p.searchTime)
}

// fill puts wish, limits and search time into a request. A run's own limits go before those of the flags, which hold for all
// others too.
func (p *planFlags) fill(request *saggarv1.PlanRunsRequest, own []*saggarv1.PlanLimits) {
	request.Wish, request.SearchLimit = saggarv1.PlanWish(p.wish), p.duration()
	some := false
	for _, l := range own {
		some = some || proto.Size(l) > 0
	}
	if !some {
		own = []*saggarv1.PlanLimits{{}} // one for all
	}
	for _, l := range own {
		if len(l.GetAttendance()) == 0 {
			l.Attendance = p.attend
		}
		l.HeatOnlyWhileStaffed = l.GetHeatOnlyWhileStaffed() || p.heatOnlyWhileStaffed
		l.AvoidFurnaces = append(l.GetAvoidFurnaces(), p.avoid...)
	}
	if some || proto.Size(own[0]) > 0 {
		request.Limits = own
	}
}

// wishFlag is what a plan makes least.
type wishFlag saggarv1.PlanWish

// Set reads a wish by its name.
func (f *wishFlag) Set(text string) error {
	number, err := file.EnumNumber(saggarv1.PlanWish(0).Descriptor(), strings.ReplaceAll(text, "-", "_"))
	if err != nil || number == 0 {
		return errors.New("give earliest, fewest-visits, least-energy or least-change")
	}
	*f = wishFlag(number)
	return nil
}

// String is the name; empty when it is not set.
func (f *wishFlag) String() string {
	if *f == 0 {
		return ""
	}
	_, name, _ := strings.Cut(saggarv1.PlanWish(*f).String(), "WISH_")
	return strings.ToLower(strings.ReplaceAll(name, "_", "-"))
}

// Type is what help calls the value.
func (f *wishFlag) Type() string { return "wish" }
