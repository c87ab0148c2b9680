package record

import (
	"encoding/json"
	"math"
	"time"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/series"
)

// sources is sources.json. It alone in a report says when and by which version
// the report was made; every other file is the same whenever it is made.
type sources struct {
	Schema  string   `json:"schema"`
	MadeAt  string   `json:"made_at"`
	Version string   `json:"version"`
	Files   []source `json:"files"`
	// Own are farm.toml and the milkings list.
	Own []own `json:"own"`
}

type own struct {
	Name   string `json:"name"`
	SizeB  int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

// source is one original and every correction made to it.
type source struct {
	Name   string `json:"name"`
	Sheet  string `json:"sheet"`
	SizeB  int64  `json:"size"`
	SHA256 string `json:"sha256"`
	Rows   int    `json:"rows"`
	Kept   int    `json:"kept"`
	// Flagged counts readings by test.
	Flagged     map[string]int `json:"flagged"`
	First       string         `json:"first"`
	Last        string         `json:"last"`
	Zone        string         `json:"zone"`
	Encoding    string         `json:"encoding"`
	Separator   string         `json:"separator"`
	Decimal     string         `json:"decimal"`
	HeaderLine  int            `json:"header_line"`
	Clock       clock          `json:"clock"`
	Corrections []string       `json:"corrections"`
	Ignored     []string       `json:"ignored"`
}

type clock struct {
	AheadS       *float64 `json:"ahead_s"` // stamp minus true time at mid-file
	DriftSPerDay *float64 `json:"drift_s_per_day"`
	Jumps        []jump   `json:"jumps"`
	Low          *float64 `json:"low"`
	High         *float64 `json:"high"`
	From         string   `json:"from"`
}

type jump struct {
	At  string  `json:"at"`
	ByS float64 `json:"by_s"`
}

// Sources is sources.json, made at a time by a version.
func Sources(s *season.Season, madeAt time.Time, version string) ([]byte, error) {
	out := sources{Schema: "yardheat-sources/1", MadeAt: madeAt.UTC().Format(time.RFC3339), Version: version, Files: []source{}, Own: []own{}}
	for _, f := range s.Files {
		out.Files = append(out.Files, sourceOf(f))
	}
	for _, f := range s.Own {
		out.Own = append(out.Own, own{f.Name, f.SizeB, f.SHA256})
	}
	b, err := json.MarshalIndent(out, "", "  ")
	return append(b, '\n'), err
}

func sourceOf(f ingest.File) source {
	return source{
		Name: f.Name, Sheet: f.Sheet, SizeB: f.SizeB, SHA256: f.SHA256, Rows: f.Rows, Kept: f.Kept, Flagged: flagged(f.Flags),
		First: rfc3339(f.First), Last: rfc3339(f.Last), Zone: f.Zone, Encoding: f.Encoding, Separator: f.Separator,
		Decimal: f.Decimal, HeaderLine: f.HeaderLine, Clock: clockOf(f.Clock),
		Corrections: append([]string{}, f.Corrections...), Ignored: append([]string{}, f.Ignored...),
	}
}

// flagged names counts by their flags.
func flagged(counts [len(series.FlagNames)]int) map[string]int {
	out := map[string]int{}
	for i, n := range counts {
		out[series.FlagNames[i]] = n
	}
	return out
}

func clockOf(c ingest.Clock) clock {
	out := clock{AheadS: known(c.AheadS), DriftSPerDay: known(c.DriftSPerDay), Low: known(c.Low), High: known(c.High),
		From: c.From, Jumps: []jump{}}
	for _, j := range c.Jumps {
		out.Jumps = append(out.Jumps, jump{At: rfc3339(j.At), ByS: j.ByS})
	}
	return out
}

// known is nil, and so null, for what is not known.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func rfc3339(ms int64) string {
	return time.UnixMilli(ms).UTC().Format("2006-01-02T15:04:05.999Z07:00")
}
