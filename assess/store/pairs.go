package store

import (
	"context"
	"database/sql"

	"nodespan/assess"
)

// Pairs counts, for a block, what the program had said of each cane that a
// person ruled on, beside what the person made of it. winter "" counts all
// winters. Nothing of deleted photos is in it.
func (s *Store) Pairs(ctx context.Context, blockID int64, winter string) ([]assess.PairCount, error) {
	scan := func(row scanner) (p assess.PairCount, err error) {
		return p, row.Scan(&p.Seen, &p.Said, &p.Kind, &p.Stood, &p.Missed, &p.Nodes, &p.Hand, &p.N, &p.NodesBy)
	}
	return list(ctx, s.db, scan, `SELECT seen, said, kind, stood, missed, nodes, hand, sum(n), sum(nodes_by) FROM pair_counts
WHERE block_id = ?1 AND (?2 = '' OR winter = ?2) AND n > 0 GROUP BY seen, said, kind, stood, missed, nodes, hand ORDER BY 1, 2, 3, 4, 5, 6, 7`, blockID, winter)
}

// keepPairs keeps the pairs of a photo, in the transaction that changed it.
func keepPairs(ctx context.Context, tx *sql.Tx, photoID, block int64, winter string, pairs map[int]assess.Pair) error {
	for cane, p := range pairs {
		if _, err := tx.ExecContext(ctx, `INSERT INTO pair_facts (photo_id, cane, block_id, winter, seen, said, kind, stood, missed, nodes, nodes_by, hand) VALUES (?,?,?,?,?,?,?,?,?,?,?,?)`,
			photoID, cane, block, winter, string(p.Seen), string(p.Said), string(p.Kind), string(p.Stood), p.Missed, string(p.Nodes), p.NodesBy, string(p.Hand)); err != nil {
			return err
		}
	}
	return nil
}
