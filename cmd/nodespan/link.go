package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"

	"github.com/peterbourgon/ff/v3"

	"nodespan/api"
	"nodespan/assess"
	"nodespan/assess/store"
)

// byCommand is who made a link, when it was made on the machine itself.
const byCommand = "whoever runs the service"

// runLink makes a one-time link, for whoever has the machine.
func runLink(ctx context.Context, args []string) int {
	fs := flag.NewFlagSet("nodespan link", flag.ContinueOnError)
	data := fs.String("data", defaultData, "folder of the record")
	role := fs.String("role", string(api.Manager), "role of whoever uses the link")
	estate := fs.String("estate", "", "name of the estate (default: the only one)")
	account := fs.String("account", "", "let this account choose a new password, instead of making one")
	address := fs.String("address", "http://"+defaultAddress, "address of the service, to put before the link")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), "nodespan link [options]\n\nPrints a one-time link, also while the service runs. Give it to one person.")
		fs.PrintDefaults()
	}
	if err := ff.Parse(fs, args, ff.WithEnvVarPrefix("NODESPAN")); err != nil {
		return afterParse(err)
	}
	link, err := linkFor(ctx, *data, *estate, *account, api.Role(*role))
	if err != nil {
		return fail(err)
	}
	fmt.Println(*address + link)
	return exitOK
}

func linkFor(ctx context.Context, data, estate, account string, role api.Role) (string, error) {
	record, err := openExisting(ctx, data)
	if err != nil {
		return "", err
	}
	defer record.Close()
	if account != "" {
		a, err := record.AccountByName(ctx, account)
		if err != nil {
			return "", err
		}
		if a == nil {
			return "", assess.Errorf(assess.ENotFound, "Nobody has an account named %q.", account)
		}
		all, err := record.Memberships(ctx, a.ID)
		if err != nil {
			return "", err
		}
		if len(all) == 0 {
			return "", assess.Errorf(assess.EInvalid, "%s belongs to no estate any more. Make a link to join one instead.", a.Name)
		}
		return api.NewLink(ctx, record, all[0].Estate.ID, api.Role(all[0].Role), a.ID, byCommand)
	}
	all, err := record.Estates(ctx)
	if err != nil {
		return "", err
	}
	for _, e := range all {
		if e.Name == estate || estate == "" && len(all) == 1 {
			return api.NewLink(ctx, record, e.ID, role, 0, byCommand)
		}
	}
	return "", assess.Errorf(assess.EInvalid, "Name the estate with --estate. There are %d.", len(all))
}

// openExisting opens a record that is there, and makes none.
func openExisting(ctx context.Context, data string) (*store.Store, error) {
	if _, err := os.Stat(store.DatabasePath(data)); errors.Is(err, os.ErrNotExist) {
		return nil, assess.Errorf(assess.ENotFound, "There is no record in %s. Name its folder with --data.", data)
	}
	return store.Open(ctx, data)
}

// firstLink prints the link that makes the first account, as long as there is
// none. Each start makes a new one and withdraws the one before.
func firstLink(ctx context.Context, record *store.Store, address string) error {
	has, err := record.HasAccounts(ctx)
	if err != nil || has {
		return err
	}
	old, err := record.Invitations(ctx, store.FirstEstate)
	if err != nil {
		return err
	}
	for _, i := range old {
		if err := record.CloseInvitation(ctx, i.ID); err != nil {
			return err
		}
	}
	link, err := api.NewLink(ctx, record, store.FirstEstate, api.Manager, 0, byCommand)
	if err != nil {
		return err
	}
	fmt.Printf("\nNobody has an account yet. Open this link once to make the first one, as the estate's manager:\n\n  %s%s\n\n", address, link)
	return nil
}

// runClose ends an account, or opens it again.
func runClose(ctx context.Context, args []string) int {
	fs := flag.NewFlagSet("nodespan close", flag.ContinueOnError)
	data := fs.String("data", defaultData, "folder of the record")
	account := fs.String("account", "", "name of the account (needed)")
	open := fs.Bool("open", false, "open it again instead")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), "nodespan close --account NAME [options]\n\nEnds an account: signs it out everywhere and revokes its tokens. What it saved stays under its name.")
		fs.PrintDefaults()
	}
	if err := ff.Parse(fs, args, ff.WithEnvVarPrefix("NODESPAN")); err != nil {
		return afterParse(err)
	}
	if *account == "" || fs.NArg() > 0 {
		fs.Usage()
		return exitUsage
	}
	if err := closeAccount(ctx, *data, *account, *open); err != nil {
		return fail(err)
	}
	return exitOK
}

func closeAccount(ctx context.Context, data, name string, open bool) error {
	record, err := openExisting(ctx, data)
	if err != nil {
		return err
	}
	defer record.Close()
	a, err := record.AccountByName(ctx, name)
	if err != nil {
		return err
	}
	if a == nil {
		return assess.Errorf(assess.ENotFound, "Nobody has an account named %q.", name)
	}
	return record.CloseAccount(ctx, a.ID, open)
}
