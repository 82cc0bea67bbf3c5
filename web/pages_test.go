package web

import (
	"io/fs"
	"regexp"
	"strings"
	"testing"
)

// Every text that a template or a script asks for is in the catalogue, and
// every text of the catalogue is asked for somewhere.
func TestTexts(t *testing.T) {
	p, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	asked := map[string]bool{}
	literal := regexp.MustCompile(`\bt\(?\s*['"]([a-z][a-z0-9_.]*)['"]`)
	listed := regexp.MustCompile(`'([a-z]+\.[a-z0-9_.]+)'`)
	err = fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !(strings.HasSuffix(name, ".html") || strings.HasSuffix(name, ".js")) {
			return err
		}
		data, err := files.ReadFile(name)
		if err != nil {
			return err
		}
		for _, m := range literal.FindAllStringSubmatch(string(data), -1) {
			if p.texts[Default][m[1]] == "" {
				t.Errorf("%s asks for the text %q, which there isn't", name, m[1])
			}
			asked[m[1]] = true
		}
		if strings.HasSuffix(name, ".js") {
			for _, m := range listed.FindAllStringSubmatch(string(data), -1) {
				asked[m[1]] = true
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	exercises := regexp.MustCompile(`^exercise\.((title|one|new|choose|compare|results|again|buds|notopen|share)$|(fate|wire|way|head|reason|mark|mode|judging|kind|state|where|mistake|differs|heldback|figure|kappa|vine|sheet|photo)(\.|$)|group\.(title|few|kappa)$|done\.photo$)`)
	for key := range p.texts[Default] {
		asked[key] = asked[key] || exercises.MatchString(key)
	}
	// Asked for by package api, or with a key put together from parts.
	ofJobs := regexp.MustCompile(`^(home\.(block|row|vine)|jobs\.title|job\.(title|doing\..*|outcome\..*|by\..*|file\..*)|jobcanes\.(title|column\..*)|jobphoto\.title)$`)
	built := regexp.MustCompile(`^(pairs\..*|labels\..*|unit\..*|place\..*|where|home\.title|newblock\.title|block\.title|vine\.(title|short|state\..*)|addphoto\.title|photo\.(title|state\..*)|value\..*|finding\..*|mark\..*|kind\..*|said\..*|seen\..*|choice\.(title|(keep|spur|remove|ask)\.line)|card\..*|about\.title|(signin|account|people|deleted)\.title|join\.title|role\..*|scope\..*|error\.title|rule\.draft\..*)$`)
	winter := regexp.MustCompile(`^(rules\.(title|limit\..*|quantity\..*|class.*)|plan\.(title|drawing)|sheet\..*|renewal\..*|years\.class\.unsure|blockyears\.(mm|percent|share|made|undecided|findings|diameters|internodes|figure\..*))$`)
	outdoors := regexp.MustCompile(`^(second\.(title|short\..*|at\..*|step\..*)|app\.what|wait\.(title|kind\..*)|look\..*)$`)
	for key := range p.texts[Default] {
		if outdoors.MatchString(key) {
			continue
		}
		if !asked[key] && !built.MatchString(key) && !winter.MatchString(key) && !ofJobs.MatchString(key) {
			t.Errorf("nobody asks for the text %q", key)
		}
	}
}
