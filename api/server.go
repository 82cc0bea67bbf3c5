package api

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"runtime"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// Limits are the bounds that protect the machine. A zero field takes its
// default.
type Limits struct {
	// UploadBytes is the largest photo. Default 40 MiB. Larger lets one upload
	// hold more memory; smaller refuses photos of good phones.
	UploadBytes int64
	// Pixels is width times height of the largest photo. Default 64 million,
	// so that 48 megapixels fit. Larger lets a small file claim gigabytes.
	Pixels int
	// Workers measure photos at the same time. Default one less than there are
	// processors, at least one. More is faster until memory is short: a
	// measurement holds about 40 bytes a pixel.
	Workers int
	// Queue is how many photos may wait to be measured. Default 500. Beyond
	// it an upload is told to come back later; its photo isn't kept.
	Queue int
	// Receiving is how many uploads may be on their way at the same time; they
	// lie on the disk until they are whole. Default 200. Beyond it a phone is told
	// to come back later.
	Receiving int
	// UploadTime ends an upload that takes longer. Default 15 minutes: 40 MB
	// over 0.4 Mbit/s. Longer serves worse connections; shorter frees places.
	UploadTime time.Duration
	// BodyTime ends a request, other than an upload, whose body takes longer to
	// arrive. Default one minute.
	BodyTime time.Duration
	// ComeBack is after how long a phone is told to try again when there is no
	// room. Default 20 seconds: about one measurement on a small machine.
	ComeBack time.Duration
	// Decoders decode photos for checking and for smaller copies at the same
	// time. Default 2; each holds about 8 bytes a pixel.
	Decoders int
}

func (l Limits) withDefaults() Limits {
	set := func(v *int, d int) {
		if *v <= 0 {
			*v = d
		}
	}
	if l.UploadBytes <= 0 {
		l.UploadBytes = 40 << 20
	}
	set(&l.Pixels, 64_000_000)
	set(&l.Workers, max(1, runtime.NumCPU()-1))
	set(&l.Queue, 500)
	set(&l.Receiving, 200)
	if l.BodyTime <= 0 {
		l.BodyTime = time.Minute
	}
	if l.ComeBack <= 0 {
		l.ComeBack = 20 * time.Second
	}
	if l.UploadTime <= 0 {
		l.UploadTime = 15 * time.Minute
	}
	set(&l.Decoders, 2)
	return l
}

// Config is what a Server is made of. Store and Measurer are needed, the rest
// has defaults.
type Config struct {
	Store    *store.Store
	Measurer assess.Measurer
	// Program names the version that measures, for the record.
	Program string
	// ProgramID tells one build from another, so that a job is measured anew by
	// another one: best a hash of the program. Default Program.
	ProgramID string
	// Card writes the printable reference: kind "checker" or "bar", paper "a4"
	// or "letter", format "pdf" or "svg". Without it the page says that it
	// can't be had here.
	Card func(w io.Writer, kind, paper, format string) error
	// Notice stands on every page, as DemonstrationNotice does.
	Notice string
	Limits Limits
	Access Access
	// DropNotes drops what a camera wrote beside the pixels, place and serial
	// numbers among it, before a photo is kept. Otherwise the file is kept as it
	// came; what pages show is bare either way.
	DropNotes bool
	// Decoder decodes photos for checking and for smaller copies. Without one
	// that happens within the service.
	Decoder Decoder
	// Looker looks at photos before they are sent. Without one phones judge
	// them by what they see themselves.
	Looker assess.Looker
	Log    *slog.Logger
}

// Server is the service. Make it with New, serve its Handler, and Close it.
type Server struct {
	store     *store.Store
	measurer  assess.Measurer
	program   string
	card      func(w io.Writer, kind, paper, format string) error
	notice    string
	limits    Limits
	access    Access
	log       *slog.Logger
	counts    *counts
	hashers   chan struct{}
	decoder   Decoder
	looker    assess.Looker
	dropNotes bool
	pages     *web.Pages
	echo      *echo.Echo
	queue     *queue
	jobs      *jobs
	// programID tells this build from any other, for what a job has measured.
	programID string
	decoders  chan struct{}
	incoming  chan struct{} // uploads on their way
	held      chan struct{} // uploads whose bytes are in memory
	readiness struct {
		mu  sync.Mutex
		at  time.Time
		err error
	}
	previews sync.Map // of *sync.Mutex by name: one maker for each copy
}

// New makes the service and starts measuring what waits, which also is what
// was kept but not measured when the program last ended. ctx ends the
// measuring; Close waits for it.
func New(ctx context.Context, c Config) (*Server, error) {
	pages, err := web.Load()
	if err != nil {
		return nil, err
	}
	s := &Server{
		store: c.Store, measurer: c.Measurer, program: c.Program, card: c.Card,
		looker: c.Looker, notice: c.Notice, limits: c.Limits.withDefaults(), access: c.Access, dropNotes: c.DropNotes, log: c.Log, pages: pages,
		hashers: make(chan struct{}, accountRules.Hashers),
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if parts, aside, err := s.store.Sweep(ctx); err != nil {
		return nil, err
	} else if parts+aside > 0 {
		s.log.Warn("cleared up what an earlier stop left behind in the middle of an upload", "removed", parts, "set_aside", aside)
	}
	if s.decoder = c.Decoder; s.decoder == nil {
		s.decoder = within{}
	}
	s.decoders = make(chan struct{}, s.limits.Decoders)
	s.incoming = make(chan struct{}, s.limits.Receiving)
	s.held = make(chan struct{}, s.limits.Decoders+1)
	s.queue = newQueue(s)
	s.counts = newCounts(s)
	if err := s.queue.start(ctx, s.limits.Workers); err != nil {
		return nil, err
	}
	if s.programID = c.ProgramID; s.programID == "" {
		s.programID = c.Program
	}
	s.jobs = newJobs(s)
	s.jobs.start(ctx)
	s.echo = s.routes()
	return s, nil
}

// Handler serves pages and API.
func (s *Server) Handler() http.Handler { return s.echo }

// Close waits until no measurement runs any more; end New's context first. A
// measurement that was cut off is made anew at the next start.
func (s *Server) Close() {
	s.queue.wait()
	s.jobs.close()
}

func (s *Server) routes() *echo.Echo {
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = s.writeError
	e.IPExtractor = s.access.ipOf()
	e.Use(s.observe)
	e.Use(middleware.RecoverWithConfig(middleware.RecoverConfig{
		LogErrorFunc: func(c echo.Context, err error, stack []byte) error {
			s.log.Error("a handler panicked", "path", c.Path(), "request", requestID(c), "error", err, "stack", string(stack))
			return err
		},
	}))
	e.Use(squeeze(), s.protect, s.guard)

	e.GET("/", s.homePage)
	e.GET("/go", s.goToVine)
	e.GET("/blocks/new", s.newBlockPage)
	e.GET("/blocks/:block", s.blockPage)
	e.GET("/blocks/:block/:row/:vine", s.vinePage)
	e.GET("/blocks/:block/:row/:vine/photo", s.addPhotoPage)
	e.GET("/photos/:photo", s.photoPage)
	e.GET("/photos/:photo/choice", s.choicePage)
	e.GET("/photos/:photo/picture/:size", s.picture)
	e.GET("/card", s.cardPage)
	e.GET("/card/:name", s.cardFile)
	e.GET("/about", s.aboutPage)
	e.GET("/healthz", s.health)
	e.GET("/readyz", s.ready)
	e.GET("/metrics", s.metrics)
	e.GET("/sign-in", s.signInPage)
	e.GET("/join/:secret", s.joinPage)
	e.GET("/account", s.accountPage)
	e.GET("/people", s.peoplePage)
	e.GET("/deleted", s.deletedPage)
	e.GET("/text/:language", s.text)
	e.GET("/language", s.chooseLanguage)
	e.GET("/static/*", s.static())
	e.GET("/worker.js", s.worker)
	e.GET("/manifest.webmanifest", s.manifest)
	e.GET("/waiting", s.waitingPage)
	e.GET("/offline/photo", s.anyPhotoPage)

	a := e.Group("/api")
	a.GET("", s.describe)
	a.GET("/blocks", s.listBlocks)
	a.POST("/blocks", s.addBlock)
	a.GET("/blocks/:block", s.getBlock)
	a.GET("/blocks/:block/rows/:row/vines/:vine", s.getVine)
	a.POST("/blocks/:block/rows/:row/vines/:vine/photos", s.upload)
	a.POST("/look", s.look)
	a.GET("/photos/:photo", s.getPhoto)
	a.GET("/photos/:photo/events", s.photoEvents)
	a.POST("/photos/:photo/marks", s.addMarks)
	a.POST("/photos/:photo/second", s.uploadSecond)
	a.DELETE("/photos/:photo", s.deletePhoto)
	a.POST("/deleted/:deleted/undelete", s.undeletePhoto)
	a.GET("/measurements/:measurement", s.getMeasurement)
	a.POST("/measurements/:measurement/preview", s.previewRuling)
	a.POST("/measurements/:measurement/rulings", s.addRulings)
	a.POST("/measurements/:measurement/guide", s.guide)
	a.GET("/measurements/:measurement/choice", s.suggestChoice)
	a.POST("/measurements/:measurement/choice/preview", s.previewChoice)
	a.POST("/measurements/:measurement/choice", s.addChoice)
	a.POST("/session", s.signIn)
	a.DELETE("/session", s.signOut)
	a.POST("/join", s.join)
	a.POST("/join/member", s.joinAsMember)
	a.POST("/account/password", s.setPassword)
	a.POST("/account/estate", s.lookAt)
	a.DELETE("/sessions/:session", s.endSession)
	a.POST("/tokens", s.addToken)
	a.DELETE("/tokens/:token", s.revokeToken)
	a.POST("/invitations", s.invite)
	a.DELETE("/invitations/:link", s.withdrawLink)
	a.POST("/members/:member", s.setRole)
	a.POST("/members/:member/link", s.passwordLink)
	a.POST("/estate", s.renameEstate)
	a.POST("/estates", s.addEstate)
	s.routesOfExercises(e, a)
	s.routesOfRules(e, a)
	s.routesOfJobs(e, a)
	s.routesOfPlans(e, a)
	s.routesOfLabels(e)
	return e
}

// readUntil bounds the reading of a request's body, also of what the server
// reads and drops after an error. Past that time the request's context ends.
func readUntil(c echo.Context, t time.Time) {
	_ = http.NewResponseController(c.Response()).SetReadDeadline(t)
}
