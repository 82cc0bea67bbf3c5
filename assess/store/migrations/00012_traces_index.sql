-- +goose Up
-- A measurement's traces are looked for whenever its rulings are counted.
CREATE INDEX traces_measurement ON traces (measurement_id);

-- +goose Down
DROP INDEX traces_measurement;
