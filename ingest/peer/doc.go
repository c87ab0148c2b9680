// Package peer holds Yardheat's reading of long exports against DuckDB's, in
// one run on one machine: a benchmark and nothing else. It is a module of its
// own, as the database needs cgo; nothing that users run imports it.
package peer
