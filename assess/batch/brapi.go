package batch

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"nodespan/assess"
)

// BrAPIVersion is the version of the Breeding API whose form of an observation
// the export follows: the answer of GET /observations of the phenotyping module
// (https://brapi.org, specification at
// https://github.com/plantbreeding/BrAPI, Specification/BrAPI-Schema/
// BrAPI-Phenotyping/Observation.json). The unit of observation is one cane.
const BrAPIVersion = "2.1"

// observation is one value of one cane. Values are strings there, and so are
// those of additionalInfo.
type observation struct {
	AdditionalInfo          map[string]string   `json:"additionalInfo"`
	Collector               *string             `json:"collector"`
	ExternalReferences      []externalReference `json:"externalReferences"`
	GermplasmDbID           *string             `json:"germplasmDbId"`
	GermplasmName           *string             `json:"germplasmName"`
	ObservationDbID         string              `json:"observationDbId"`
	ObservationTimeStamp    *string             `json:"observationTimeStamp"`
	ObservationUnitDbID     string              `json:"observationUnitDbId"`
	ObservationUnitName     string              `json:"observationUnitName"`
	ObservationVariableDbID string              `json:"observationVariableDbId"`
	ObservationVariableName string              `json:"observationVariableName"`
	Season                  *season             `json:"season"`
	StudyDbID               *string             `json:"studyDbId"`
	UploadedBy              *string             `json:"uploadedBy"`
	Value                   string              `json:"value"`
}

type externalReference struct {
	ReferenceID     string `json:"referenceId"`
	ReferenceSource string `json:"referenceSource"`
}

type season struct {
	SeasonDbID string `json:"seasonDbId"`
	SeasonName string `json:"seasonName"`
	Year       int    `json:"year"`
}

// brapi writes the observations as one page of a GET /observations answer.
type brapi struct {
	w *bufio.Writer
	n int
}

func newBrAPI(out io.Writer) (*brapi, error) {
	b := &brapi{w: bufio.NewWriter(out)}
	_, err := b.w.WriteString(`{"@context":["https://brapi.org/jsonld/context/metadata.jsonld"],"result":{"data":[`)
	return b, err
}

// add writes what is known of one cane; a value that isn't known has no row.
func (b *brapi) add(s *sighting, c *assess.Cane) error {
	unit := fmt.Sprintf("%s-%d", s.rec.sha[:16], c.ID)
	name := fmt.Sprintf("%s cane %d", s.rec.path, c.ID)
	if s.at.Known() {
		name = fmt.Sprintf("%s row %d vine %d cane %d", s.at.Block, s.at.Row, s.at.Vine, c.ID)
		if s.at.Stance != "" {
			name += " stance " + s.at.Stance
		}
	}
	for _, v := range []struct {
		id, name string
		q        assess.Interval
		decimals int
	}{
		{"nodespan:cane_diameter_mm", "Cane diameter, median of internodes 1 to 8, mm", c.Diameter, 3},
		{"nodespan:cane_internode_mm", "Internode length, median of internodes 1 to 8, mm", c.Internode, 2},
		{"nodespan:cane_length_mm", "Cane length, traced part, mm", c.Length, 1},
	} {
		value, low, high := bounds(v.q, v.decimals)
		if value == nil {
			continue
		}
		o := observation{
			ObservationDbID: unit + "-" + strings.TrimPrefix(v.id, "nodespan:"), ObservationUnitDbID: unit, ObservationUnitName: name,
			ObservationVariableDbID: v.id, ObservationVariableName: v.name, Value: cell(*value),
			GermplasmName:      text(s.at.Cultivar),
			ExternalReferences: []externalReference{{"sha256:" + s.rec.sha, "photo"}},
			AdditionalInfo: map[string]string{
				"photo": s.rec.path, "low95": cell(*low), "high95": cell(*high), "unit": "mm", "finding": string(c.Finding), "ruleSet": s.rules,
			},
		}
		set := func(key, value string) {
			if value != "" {
				o.AdditionalInfo[key] = value
			}
		}
		set("block", s.at.Block)
		set("counted", strings.ToLower(cell(s.counted)))
		if d := c.Depth; d != nil {
			set("depthMM", cell(rounded(d.Value, 1)))
			set("depthLow95MM", cell(rounded(d.Low, 1)))
			set("depthHigh95MM", cell(rounded(d.High, 1)))
		}
		set("treatment", s.at.Treatment)
		// The camera's time has no zone, which observationTimeStamp needs.
		set("takenAtLocalTime", s.rec.taken)
		if w := s.at.Winter; len(w) >= 4 {
			if year, err := strconv.Atoi(w[:4]); err == nil {
				o.Season = &season{SeasonDbID: w, SeasonName: "winter " + w, Year: year}
			}
		}
		line, err := json.Marshal(o)
		if err != nil {
			return err
		}
		if b.n > 0 {
			if err := b.w.WriteByte(','); err != nil {
				return err
			}
		}
		b.n++
		if _, err := b.w.WriteString("\n" + string(line)); err != nil {
			return err
		}
	}
	return nil
}

func (b *brapi) close() error {
	_, err := fmt.Fprintf(b.w, "\n]},\"metadata\":{\"datafiles\":[],\"pagination\":{\"currentPage\":0,\"pageSize\":%d,\"totalCount\":%d,\"totalPages\":1},\"status\":[]}}\n", max(1, b.n), b.n)
	if err != nil {
		return err
	}
	return b.w.Flush()
}
