// Package api is the service that a browser talks to: pages rendered on the
// server, JSON under /api, uploads, the queue that measures them, and the
// smaller copies of photos that the pages show.
//
// It turns requests into calls of package assess and of the record in
// assess/store, and results into JSON or pages from package web. It knows a
// photo's measurement only through assess.Measurer, so its tests need no
// OpenCV.
//
// The way of a photo through it:
//
//	POST /api/look                             what to change in it    look.go
//	POST /api/blocks/1/rows/4/vines/7/photos   kept, then queued       upload.go
//	GET  /api/photos/12/events                 progress                queue.go, photos.go
//	GET  /photos/12                            the page to rule on     pages.go
//	POST /api/measurements/9/preview           what a correction does  rulings.go
//	POST /api/measurements/9/rulings           kept, who and when      rulings.go
//	POST /api/measurements/9/choice            kept likewise           choice.go
//	GET  /blocks/1/4/7                         the vine's record       vinepage.go, vineyears.go
//	GET  /blocks/1/4/7/plan                    what is to be done      plan.go, sheet/
//	GET  /blocks/1                             the block's winters     pages.go, blockyears.go
//	POST /api/blocks/1/rules                   what it is judged by    rules.go
//
// Errors are {"code": ..., "message": ...} with a sentence that says what was
// wrong and what to do. Before a handler runs, origin.go refuses a write that
// doesn't come from the service's own pages, and guard.go one by somebody who
// may not: access.go has the one table of who may do what.
package api
