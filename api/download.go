package api

import (
	"net/url"
	"regexp"
	"strings"

	"github.com/labstack/echo/v4"
)

// unsafeInNames are signs that a file's name can't have everywhere, or that
// would end the header that carries it.
var unsafeInNames = regexp.MustCompile(`[^A-Za-z0-9._@-]+`)

// reservedNames can't be files on some systems, whatever ends them.
var reservedNames = regexp.MustCompile(`(?i)^(con|prn|aux|nul|com[0-9]|lpt[0-9])(\.|$)`)

// saveAs names what is sent, for whoever saves it: a plain name that is safe
// on every system, and beside it the name as it is (RFC 6266), without folders
// and signs that can't be seen. how is "attachment" or "inline".
func saveAs(c echo.Context, how, name string) {
	shown := plainName(name)
	plain := strings.Trim(unsafeInNames.ReplaceAllString(shown, "-"), ".-")
	if plain == "" || reservedNames.MatchString(plain) {
		plain = "nodespan-" + plain
	}
	value := how + `; filename="` + plain + `"`
	if shown = strings.TrimLeft(shown, "."); shown != plain && shown != "" {
		value += "; filename*=UTF-8''" + url.PathEscape(shown)
	}
	c.Response().Header().Set("Content-Disposition", value)
}
