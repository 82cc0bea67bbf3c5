package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"time"

	"github.com/peterbourgon/ff/v3"

	"nodespan/assess/store"
)

// runBackup writes the record into one file, also while it is served.
func runBackup(ctx context.Context, args []string) int {
	fs, data := keepingFlags("backup", "FILE\n\nWrites the record into one file, also while it is served, and reads it back.")
	if code, done := parseKeeping(fs, args, 1); done {
		return code
	}
	file := fs.Arg(0)
	if _, err := os.Stat(file); err == nil {
		fmt.Fprintf(os.Stderr, "nodespan backup: %s is there already, and a backup overwrites nothing; name a new file\n", file)
		return exitUsage
	}
	record, err := openExisting(ctx, *data)
	if err != nil {
		return fail(err)
	}
	defer record.Close()
	r, err := record.Backup(ctx, file)
	if err != nil {
		return fail(err)
	}
	fmt.Printf("%s: %d photos and the database, %.1f MB, read back and verified\n", file, r.Photos, float64(r.Bytes)/1e6)
	return exitOK
}

// runRestore makes a data folder from a backup.
func runRestore(ctx context.Context, args []string) int {
	fs, data := keepingFlags("restore", "FILE\n\nMakes a new data folder from a backup. It overwrites nothing.")
	if code, done := parseKeeping(fs, args, 1); done {
		return code
	}
	r, err := store.Restore(ctx, fs.Arg(0), *data)
	if err != nil {
		return fail(err)
	}
	fmt.Printf("%s: %d photos and the database, verified\n", *data, r.Photos)
	return exitOK
}

// runCheck verifies the record: status 1 when something is wrong with it.
func runCheck(ctx context.Context, args []string) int {
	fs, data := keepingFlags("check", "\n\nVerifies the whole record: the database, every photo, no file without a record. Changes nothing.")
	if code, done := parseKeeping(fs, args, 0); done {
		return code
	}
	record, err := openExisting(ctx, *data)
	if err != nil {
		return fail(err)
	}
	defer record.Close()
	r, err := record.Check(ctx)
	if err != nil {
		return fail(err)
	}
	for _, f := range r.Faults {
		fmt.Println(f)
	}
	fmt.Printf("%s: %d photos, %d measurements, %d rulings; faults: %d\n", *data, r.Photos, r.Measurements, r.Rulings, len(r.Faults))
	if r.Unclaimed > 0 {
		fmt.Printf("Files set aside after a crash in the middle of an upload: %d. Nobody was told that they are kept; nodespan purge removes them.\n", r.Unclaimed)
	}
	if r.OnTheWay > 0 {
		fmt.Printf("Files of uploads on their way: %d.\n", r.OnTheWay)
	}
	if len(r.Faults) > 0 {
		return exitError
	}
	return exitOK
}

// runPurge removes for good what was marked as deleted long enough ago.
func runPurge(ctx context.Context, args []string) int {
	fs, data := keepingFlags("purge", "\n\nRemoves for good what was marked as deleted. Without --yes it only tells what that would be.")
	age := fs.Duration("older-than", 30*24*time.Hour, "only what was deleted at least so long ago")
	yes := fs.Bool("yes", false, "do it")
	if code, done := parseKeeping(fs, args, 0); done {
		return code
	}
	record, err := openExisting(ctx, *data)
	if err != nil {
		return fail(err)
	}
	defer record.Close()
	r, err := record.Purge(ctx, *age, !*yes)
	if err != nil {
		return fail(err)
	}
	did := "would be removed; do it with --yes"
	if *yes {
		did = "removed"
	}
	fmt.Printf("photos with all that was said of them: %d, files: %d (%.1f MB): %s\n", r.Photos, r.Files, float64(r.Bytes)/1e6, did)
	return exitOK
}

func keepingFlags(name, about string) (*flag.FlagSet, *string) {
	fs := flag.NewFlagSet("nodespan "+name, flag.ContinueOnError)
	data := fs.String("data", defaultData, "folder of the record")
	fs.Usage = func() {
		fmt.Fprintf(fs.Output(), "nodespan %s [options] %s\n", name, about)
		fs.PrintDefaults()
	}
	return fs, data
}

// parseKeeping reads flags and environment, and wants so many arguments; done
// when there is nothing more to do.
func parseKeeping(fs *flag.FlagSet, args []string, want int) (code int, done bool) {
	if err := ff.Parse(fs, args, ff.WithEnvVarPrefix("NODESPAN")); err != nil {
		return afterParse(err), true
	}
	if fs.NArg() != want {
		fs.Usage()
		return exitUsage, true
	}
	return exitOK, false
}
