// Package readback reads the Parquet files of a report with two readers that
// know nothing of ours, DuckDB's and Apache Arrow's, and holds every value,
// type, time zone, null and unit against the CSV beside it. A module of its own,
// as the database needs cgo; nothing that users run imports it.
//
//	cd reports/record/readback && go test ./...
package readback
