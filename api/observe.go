package api

import (
	"context"
	"log/slog"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"nodespan/assess/store"
)

// counts are the figures that /metrics shows.
type counts struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	took     *prometheus.HistogramVec
	measured *prometheus.CounterVec
	lasted   prometheus.Histogram
	signIns  *prometheus.CounterVec
}

func newCounts(s *Server) *counts {
	k := &counts{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "nodespan_requests_total", Help: "Requests by route and status."}, []string{"method", "route", "status"}),
		took:     prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "nodespan_request_seconds", Help: "Time to answer, without streams of progress.", Buckets: prometheus.ExponentialBuckets(0.001, 3, 10)}, []string{"method"}),
		measured: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "nodespan_photos_total", Help: "Photos by how their measuring ended."}, []string{"outcome"}),
		lasted:   prometheus.NewHistogram(prometheus.HistogramOpts{Name: "nodespan_measuring_seconds", Help: "Time to measure one photo.", Buckets: prometheus.ExponentialBuckets(0.25, 2, 10)}),
		signIns:  prometheus.NewCounterVec(prometheus.CounterOpts{Name: "nodespan_sign_ins_total", Help: "Sign-ins by password and how they ended."}, []string{"outcome"}),
	}
	waiting := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "nodespan_photos_waiting", Help: "Photos that wait to be measured."}, func() float64 {
		s.queue.mu.Lock()
		defer s.queue.mu.Unlock()
		return float64(len(s.queue.waiting))
	})
	k.registry.MustRegister(k.requests, k.took, k.measured, k.lasted, k.signIns, waiting,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return k
}

const requestKey = "request"

// requestID names one request in the log and in its answer.
func requestID(c echo.Context) string {
	id, _ := c.Get(requestKey).(string)
	return id
}

// observe names, counts, times and logs each request. The log has the route,
// not the address, no names and no network addresses: nothing of a person.
func (s *Server) observe(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		_, hash := store.NewSecret()
		id := hash[:16]
		c.Set(requestKey, id)
		c.Response().Header().Set("X-Request-Id", id)
		began := time.Now()
		err := next(c)
		if err != nil {
			c.Error(err) // answered here, so that the status is known
		}
		r, status, route := c.Request(), c.Response().Status, c.Path()
		method := r.Method
		if _, known := routeRules[method+" "+route]; !known {
			method, route = "any", "none" // what strangers make up isn't kept
		}
		took := time.Since(began)
		s.counts.requests.WithLabelValues(method, route, strconv.Itoa(status)).Inc()
		if route != "/api/photos/:photo/events" {
			s.counts.took.WithLabelValues(method).Observe(took.Seconds())
		}
		level := slog.LevelDebug
		if changes(r.Method) || status >= 400 {
			level = slog.LevelInfo
		}
		s.log.Log(r.Context(), level, "request", "request", id, "method", method, "route", route, "status", status, "ms", took.Milliseconds(), "bytes", c.Response().Size)
		return nil
	}
}

// countMeasured notes how the measuring of one photo ended.
func (s *Server) countMeasured(ctx context.Context, err error, took time.Duration) {
	switch {
	case ctx.Err() != nil:
		s.counts.measured.WithLabelValues("parked").Inc()
	case err != nil:
		s.counts.measured.WithLabelValues("failed").Inc()
	default:
		s.counts.measured.WithLabelValues("done").Inc()
		s.counts.lasted.Observe(took.Seconds())
	}
}

// health tells that the program runs.
func (s *Server) health(c echo.Context) error { return c.String(http.StatusOK, "ok\n") }

// ready tells whether the record can be read and written now: 503 otherwise.
func (s *Server) ready(c echo.Context) error {
	if err := s.lastReady(c.Request().Context()); err != nil {
		return c.String(http.StatusServiceUnavailable, "the record can't be written\n")
	}
	return c.String(http.StatusOK, "ready\n")
}

// lastReady looks at most once a second, since anybody may ask.
func (s *Server) lastReady(ctx context.Context) error {
	s.readiness.mu.Lock()
	defer s.readiness.mu.Unlock()
	if r := &s.readiness; time.Since(r.at) > time.Second {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
		defer cancel()
		if r.err = s.store.Ready(ctx); r.err != nil {
			s.log.Error("not ready", "error", r.err)
		}
		r.at = time.Now()
	}
	return s.readiness.err
}

func (s *Server) metrics(c echo.Context) error {
	promhttp.HandlerFor(s.counts.registry, promhttp.HandlerOpts{}).ServeHTTP(c.Response(), c.Request())
	return nil
}
