package store

import (
	"context"

	"nodespan/assess"
)

// Pairs gives what the program had said of each cane of a block that a person
// ruled on, beside what the person said: the ruling that stands, on the
// measurement that counts. winter "" gives those of all winters. Nothing of
// deleted photos is in it.
func (s *Store) Pairs(ctx context.Context, blockID int64, winter string) ([]assess.Pair, error) {
	scan := func(row scanner) (p assess.Pair, err error) {
		return p, row.Scan(&p.Said, &p.Seen, &p.Kind, &p.Stood, &p.SeenNodes, &p.SaidNodes, &p.NodesCorrected, &p.Missed,
			&p.HandMM, &p.Diameter.Value, &p.Diameter.Low, &p.Diameter.High)
	}
	return list(ctx, s.db, scan, `
SELECT r.kind, coalesce(r.said ->> '$.finding', ''), coalesce(r.payload ->> '$.kind', ''), coalesce(f.finding, ''),
       coalesce(r.said ->> '$.nodes', 0), coalesce(json_array_length(r.payload, '$.nodes'), 0), coalesce(json_type(r.payload, '$.nodes') = 'array', 0),
       EXISTS (SELECT 1 FROM rulings x WHERE x.measurement_id = m.id AND x.cane = r.cane AND json_type(x.payload, '$.missed') = 'object'),
       coalesce(r.payload ->> '$.diameter_mm_by_hand', 0),
       coalesce(r.said ->> '$.diameter_mm.value', 0), coalesce(r.said ->> '$.diameter_mm.low', 0), coalesce(r.said ->> '$.diameter_mm.high', 0)
FROM vines v
JOIN photos p ON p.vine_id = v.id AND (?2 = '' OR p.winter = ?2) AND `+notDeleted+`
JOIN measurements m ON m.id = (SELECT max(id) FROM measurements WHERE photo_id = p.id)
JOIN rulings r ON r.measurement_id = m.id AND r.seq = (SELECT max(seq) FROM rulings x WHERE x.measurement_id = m.id AND x.cane = r.cane)
LEFT JOIN cane_facts f ON f.block_id = v.block_id AND f.winter = p.winter AND f.photo_id = p.id AND f.cane = r.cane AND f.confirmed
WHERE v.block_id = ?1 ORDER BY r.id`, blockID, winter)
}
