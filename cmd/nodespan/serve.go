package main

import (
	"context"
	"crypto/tls"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/peterbourgon/ff/v3"

	"nodespan/api"
	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/vision"
	"nodespan/vision/card"
)

// Defaults of serve.
const (
	defaultAddress = "127.0.0.1:8417"
	defaultData    = "nodespan-data"
	defaultDemo    = "nodespan-demo"
	// readHeader and idle close connections of clients that say nothing.
	readHeader = 10 * time.Second
	idle       = 2 * time.Minute
	// lastWords is how long open requests may take to end at a stop.
	lastWords = 5 * time.Second
)

// serveFlags are what serve is told, by flags, environment and file.
type serveFlags struct {
	address, data, cert, key, origin, proxies, logAs string
	demo, within, dropNotes                          bool
	workers, queue                                   int
	uploadMB                                         int64
}

// parse reads the options. A flag stands above an environment variable, that
// above a line in the file that --config names, that above the default.
func (f *serveFlags) parse(fs *flag.FlagSet, args []string) error {
	fs.StringVar(&f.address, "listen", defaultAddress, "host:port; beyond the own machine only with --cert and --key, or with --origin and --proxy")
	fs.StringVar(&f.data, "data", "", "folder of the record (default ./"+defaultData+", with --demo ./"+defaultDemo+")")
	fs.BoolVar(&f.demo, "demo", false, "fill a new folder with an invented estate, and let everybody on this machine in")
	fs.StringVar(&f.cert, "cert", "", "file with the TLS certificate and its chain, PEM")
	fs.StringVar(&f.key, "key", "", "file with the certificate's key, PEM")
	fs.StringVar(&f.origin, "origin", "", "address that people type, https://NAME, when a proxy stands before the service")
	fs.StringVar(&f.proxies, "proxy", "", "addresses from which that proxy connects, with commas between: 127.0.0.1 or 10.1.0.0/24")
	fs.IntVar(&f.workers, "workers", 0, "photos measured at the same time (default: one less than processors)")
	fs.IntVar(&f.queue, "queue", 0, "photos that may wait to be measured (default 500)")
	fs.Int64Var(&f.uploadMB, "upload-mb", 0, "largest photo, MB (default 40)")
	fs.BoolVar(&f.within, "within", false, "measure within the service instead of in a process for each photo: a little quicker, and a fault in a codec ends the service")
	fs.BoolVar(&f.dropNotes, "drop-notes", false, "before a photo is kept, take out what the camera wrote beside the pixels: place, serial numbers, names")
	fs.StringVar(&f.logAs, "log", "text", "form of the log: text or json")
	fs.String("config", "", "file with a line for each option: NAME VALUE")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), "nodespan serve [options]\n\nServes the record to a browser: photos in, findings to rule on, choices, vines.\n"+
			"Each option can also be given as an environment variable (NODESPAN_LISTEN for --listen)\n"+
			"or in the file that --config names. A flag stands above a variable, that above the file.")
		fs.PrintDefaults()
	}
	return ff.Parse(fs, args, ff.WithEnvVarPrefix("NODESPAN"), ff.WithConfigFileFlag("config"), ff.WithConfigFileParser(ff.PlainParser))
}

// runServe opens the record and serves pages and API until it is stopped.
func runServe(ctx context.Context, args []string) int {
	fs := flag.NewFlagSet("nodespan serve", flag.ContinueOnError)
	var f serveFlags
	if err := f.parse(fs, args); err != nil {
		if !errors.Is(err, flag.ErrHelp) {
			fmt.Fprintln(os.Stderr, "nodespan serve:", err)
		}
		return afterParse(err)
	}
	if fs.NArg() > 0 {
		fmt.Fprintf(os.Stderr, "nodespan serve: %q isn't an option; name the folder with --data FOLDER\n", fs.Arg(0))
		return exitUsage
	}
	access, err := f.access()
	if err == nil {
		err = access.Check(f.address)
	}
	if err == nil && f.logAs != "text" && f.logAs != "json" {
		err = assess.Errorf(assess.EInvalid, "A log can be text or json, not %q.", f.logAs)
	}
	if err != nil {
		fail(err)
		return exitUsage
	}
	if f.data == "" {
		f.data = defaultData
		if f.demo {
			f.data = defaultDemo
		}
	}
	if err := serve(ctx, f, access); err != nil {
		return fail(err)
	}
	return exitOK
}

// access says from where the service may be reached.
func (f serveFlags) access() (api.Access, error) {
	a := api.Access{Demo: f.demo, DemoName: demoGuest, Origin: strings.TrimSuffix(f.origin, "/"), TLS: f.cert != "" || f.key != ""}
	if a.TLS && (f.cert == "" || f.key == "") {
		return a, assess.Errorf(assess.EInvalid, "For TLS both are needed: --cert with the certificate, and --key with its key.")
	}
	for _, text := range strings.Split(f.proxies, ",") {
		text = strings.TrimSpace(text)
		if text == "" {
			continue
		}
		p, err := netip.ParsePrefix(text)
		if err != nil {
			ip, err := netip.ParseAddr(text)
			if err != nil {
				return a, assess.Errorf(assess.EInvalid, "%q is no address of a proxy. Write it like 127.0.0.1 or 10.1.0.0/24.", text)
			}
			p = netip.PrefixFrom(ip, ip.BitLen())
		}
		a.Proxies = append(a.Proxies, p)
	}
	return a, nil
}

func serve(ctx context.Context, f serveFlags, access api.Access) error {
	address, folder, demo := f.address, f.data, f.demo
	state, err := demoIn(folder)
	if err != nil {
		return err
	}
	if demo {
		if err := state.mayFill(folder); err != nil {
			return err
		}
	}
	// The address first: a second start on the same port changes nothing.
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("%s can't be listened on; perhaps nodespan runs already, or choose another with --listen: %w", address, err)
	}
	defer listener.Close()
	record, err := store.Open(ctx, folder)
	if err != nil {
		return err
	}
	defer record.Close()

	log := slog.New(slog.NewTextHandler(os.Stderr, nil))
	if f.logAs == "json" {
		log = slog.New(slog.NewJSONHandler(os.Stderr, nil))
	}
	eyes := vision.New(version)
	conf := api.Config{
		Store: record, Measurer: eyes, Looker: eyes, Program: version, ProgramID: programID(), Log: log, Access: access, DropNotes: f.dropNotes,
		Limits: api.Limits{Workers: f.workers, Queue: f.queue, UploadBytes: f.uploadMB << 20},
		Card: func(w io.Writer, kind, paper, format string) error {
			return card.Write(w, card.Options{Kind: card.Kind(kind), Paper: card.Paper(paper), Format: card.Format(format)})
		},
	}
	if demo || state.is() {
		conf.Notice = api.DemonstrationNotice
	}
	if demo {
		if err := peopleOfDemo(ctx, record); err != nil {
			return err
		}
	}
	if !f.within {
		each, err := measuringApart()
		if err != nil {
			return err
		}
		defer each.Close()
		conf.Measurer, conf.Decoder, conf.Looker = each, each, each
	}
	// Measuring ends before the record is closed.
	working, endWork := context.WithCancel(ctx)
	defer endWork()
	server, err := api.New(working, conf)
	if err != nil {
		return err
	}
	web := &http.Server{Handler: server.Handler(), ReadHeaderTimeout: readHeader, IdleTimeout: idle, TLSConfig: &tls.Config{MinVersion: tls.VersionTLS12},
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}
	served := make(chan error, 1)
	own := "http://" + openable(listener.Addr())
	go func() {
		if access.TLS {
			served <- web.ServeTLS(listener, f.cert, f.key)
			return
		}
		served <- web.Serve(listener)
	}()
	if access.TLS {
		own = "https://" + openable(listener.Addr())
	}
	if access.Origin != "" {
		own = access.Origin
	}
	fmt.Printf("nodespan serves %s at %s  (stop with Ctrl-C)\n", folder, own)
	if demo {
		fmt.Println("A demonstration: whoever opens it on this machine acts as the invented estate's manager, without signing in.")
	} else if err := firstLink(ctx, record, own); err != nil {
		return err
	}

	filled := make(chan error, 1)
	if demo && !state.Filled {
		go func() { filled <- fillDemo(working, server, record, folder) }()
	} else {
		filled <- nil
	}
	for waiting := true; waiting; {
		select {
		case err := <-filled:
			filled = nil
			if err != nil && ctx.Err() == nil {
				log.Error("the demonstration could not be filled; what is there is served", "error", err)
			}
		case err = <-served:
			waiting = false
		case <-ctx.Done():
			err = nil
			waiting = false
		}
	}
	closing, cancel := context.WithTimeout(context.Background(), lastWords)
	defer cancel()
	endWork()
	if stopped := web.Shutdown(closing); stopped != nil {
		web.Close() // watchers of progress don't end by themselves
	}
	server.Close()
	if filled != nil {
		<-filled
	}
	if err != nil && !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// openable is an address that a browser on this machine opens: one that stands
// for all of the machine's own, as [::], is none.
func openable(a net.Addr) string {
	if t, ok := a.(*net.TCPAddr); ok && t.IP.IsUnspecified() {
		return net.JoinHostPort("localhost", strconv.Itoa(t.Port))
	}
	return a.String()
}
