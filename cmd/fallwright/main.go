// Command fallwright plans residential yard drainage over parcel data: trench
// zones, route checks, plans that a second piece of code has checked, audits,
// and the service that answers the same over HTTP.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"github.com/alecthomas/kong"

	"fallwright/parcels"
)

// Exit codes (the contract, section 5).
const (
	exitDone   = 0 // done
	exitStop   = 1 // done, with a stop finding or a plan that is not feasible
	exitInput  = 2 // bad usage or bad input
	exitFailed = 3 // service, store, disk or verification failed
)

// env is what a verb works with; tests hand in their own.
type env struct {
	ctx            context.Context
	stdin          io.Reader
	stdout, stderr io.Writer
}

// errStop says that the work is done and a stop finding stands.
var errStop = errors.New("a stop finding stands")

type cli struct {
	Plan    planCmd    `cmd:"" help:"Plan the drains of lots: route, falls, flows, sizes, checked by a second piece of code."`
	Check   checkCmd   `cmd:"" help:"Check drawn and existing drains: where they leave the lot or come too close, and what mends it."`
	Zone    zoneCmd    `cmd:"" help:"Work out the trench zone of lots: where a trench, edge to edge, may lie."`
	Ground  groundCmd  `cmd:"" help:"Draw the ground: contours, hollows that hold water, the ways on which it runs together."`
	Audit   auditCmd   `cmd:"" help:"Audit every lot: room for a drain, an inlet in reach, drains that stray, footprints in easements."`
	Review  reviewCmd  `cmd:"" help:"Write the reviewer's letter of an audit: numbered comments with the rule cited, the applicant's replies, round by round."`
	Compare compareCmd `cmd:"" help:"Compare two audits: which lots changed, and why."`
	Asbuilt asbuiltCmd `cmd:"" help:"Hold shots on the laid pipe against the plan: bellies, back-falls, cover, offset."`
	Stake   stakeCmd   `cmd:"" help:"Stake out a plan: stations, offsets, cuts, as a table or as points (.csv .xlsx .geojson .gpx .dxf)."`
	Import  importCmd  `cmd:"" help:"Bring a layer of a GIS export, or a site document, into a store; a report tells what was taken, mended and refused."`
	Export  exportCmd  `cmd:"" help:"Write a layer, a plan's network or an audit's lots for other programs (.geojson .gpkg .zip .csv .dxf)."`
	Store   storeCmd   `cmd:"" help:"What a store holds: sites, history, rasters, results; write a result, delete a site."`
	Sheet   sheetCmd   `cmd:"" help:"Draw and write the sheets of a plan: plan and profile, calculation, proposal, permit, visit, crew, takeoff (.pdf .svg .xlsx .csv .ics)."`
	Serve   serveCmd   `cmd:"" help:"Serve the same over HTTP, with the map page."`
	Worker  workerCmd  `cmd:"" help:"Work on audits in the queue of a PostGIS store; start as many as you like."`
	Version versionCmd `cmd:"" help:"Print the version."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(&env{ctx: ctx, stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr}, os.Args[1:]))
}

// run is the whole command but for the process: arguments in, exit code out.
func run(e *env, args []string) (code int) {
	var c cli
	exited := -1
	parser, err := kong.New(&c, kong.Name("fallwright"), kong.Writers(e.stdout, e.stderr),
		kong.Description("Residential yard drainage over parcel data. Every answer is a planning estimate: local code and licensed practice stand above it."),
		kong.Exit(func(n int) { exited = n }), kong.UsageOnError(), kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
	if err != nil {
		fmt.Fprintln(e.stderr, "fallwright:", err)
		return exitFailed
	}
	k, err := parser.Parse(args)
	if exited >= 0 {
		return exited
	}
	if err != nil {
		fmt.Fprintln(e.stderr, "fallwright:", err)
		return exitInput
	}
	return e.finish(k.Run(e))
}

// finish turns an error into lines and an exit code; it is the one place that
// does.
func (e *env) finish(err error) int {
	var in *parcels.InputError
	var other *parcels.Error
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errStop):
		return exitStop
	case errors.As(err, &in):
		const most = 50 // more scroll the first, which often is the cause of the rest, away
		for i, f := range in.Faults {
			if i == most {
				fmt.Fprintf(e.stderr, "... and %d more faults: mend these first, most are often of one cause.\n", len(in.Faults)-most)
				break
			}
			line := f.Detail
			if in.File != "" {
				line = in.File + ": " + line
			}
			fmt.Fprintln(e.stderr, line)
		}
		if in.Kind == parcels.Failed {
			return exitFailed
		}
		return exitInput
	case errors.As(err, &other):
		fmt.Fprintln(e.stderr, "fallwright:", err)
		switch other.Kind {
		case parcels.Unreadable, parcels.Invalid, parcels.TooLarge, parcels.NotFound, parcels.Unsupported, parcels.Conflict:
			return exitInput
		}
		return exitFailed
	}
	fmt.Fprintln(e.stderr, "fallwright:", err)
	return exitFailed
}

// version of the program, as the build knows it.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "development"
	}
	v := info.Main.Version
	if v == "" || v == "(devel)" {
		v = "development"
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" && len(s.Value) >= 12 {
				v += " " + s.Value[:12]
			}
		}
	}
	return v
}

type versionCmd struct{}

func (versionCmd) Run(e *env) error {
	_, err := fmt.Fprintln(e.stdout, "fallwright", version())
	return err
}
