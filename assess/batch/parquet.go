package batch

import (
	"io"

	"github.com/parquet-go/parquet-go"
)

// rowGroup is how many rows a row group holds; they are in memory until it is
// written.
const rowGroup = 20000

// parquetTable writes one table as Apache Parquet, compressed with Zstandard.
type parquetTable[T any] struct {
	w    *parquet.GenericWriter[T]
	rows []T
}

func newParquet[T any](out io.Writer) *parquetTable[T] {
	return &parquetTable[T]{w: parquet.NewGenericWriter[T](out, parquet.Compression(&parquet.Zstd), parquet.MaxRowsPerRowGroup(rowGroup),
		// The library's default names its build; that isn't a property of the data.
		parquet.CreatedBy("nodespan", "1", "0"))}
}

func (t *parquetTable[T]) add(row T) error {
	t.rows = append(t.rows, row)
	if len(t.rows) < 500 {
		return nil
	}
	return t.flush()
}

func (t *parquetTable[T]) flush() error {
	_, err := t.w.Write(t.rows)
	t.rows = t.rows[:0]
	return err
}

func (t *parquetTable[T]) close() error {
	if err := t.flush(); err != nil {
		return err
	}
	return t.w.Close()
}
