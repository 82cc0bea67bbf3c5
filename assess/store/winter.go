package store

import (
	"fmt"
	"regexp"
	"strconv"
	"time"

	"nodespan/assess"
)

var (
	northernWinter = regexp.MustCompile(`^(\d{4})/(\d{2})$`)
	southernWinter = regexp.MustCompile(`^\d{4}$`)
)

// WinterOf names the dormant season that a photo taken at t belongs to. In the
// northern hemisphere the season runs over the turn of the year, so July to
// June is one: "2026/27". South of the equator it lies within one year: "2026".
func WinterOf(t time.Time, southern bool) string {
	if southern {
		return strconv.Itoa(t.Year())
	}
	y := t.Year()
	if t.Month() < time.July {
		y--
	}
	return fmt.Sprintf("%d/%02d", y, (y+1)%100)
}

// CheckWinter returns EInvalid unless name is a winter's name.
func CheckWinter(name string) error {
	if southernWinter.MatchString(name) {
		return nil
	}
	if m := northernWinter.FindStringSubmatch(name); m != nil {
		y, _ := strconv.Atoi(m[1])
		if n, _ := strconv.Atoi(m[2]); n == (y+1)%100 {
			return nil
		}
	}
	return assess.Errorf(assess.EInvalid, "%q is no winter. Write it like 2026/27, or like 2026 south of the equator.", name)
}
