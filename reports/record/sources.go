package record

import (
	"encoding/json"
	"math"
	"time"

	"yardheat/analysis/season"
	"yardheat/ingest"
	"yardheat/ingest/series"
)

// SourcesSchema is the first thing in sources.json and tells one of ours.
const SourcesSchema = "yardheat-sources/1"

// Made is how a report was made: with the originals it is all that is needed
// to make it again.
type Made struct {
	At      time.Time
	Program Program
	Options Options
	// Farm is where the farm folder lies, seen from the report's: "..", with
	// slashes; "" where no relative path leads there. Never an absolute path.
	Farm string
	// Report are the other files of the report.
	Report []Hash
}

// Program is the program that made a report.
type Program struct {
	Version string `json:"version"`
	// Revision of the sources it was built from, "" where the build did not
	// note it; Modified: with changes that no revision holds.
	Revision string `json:"revision"`
	Modified bool   `json:"modified"`
	Go       string `json:"go"`
	OS       string `json:"os"`
	Arch     string `json:"arch"`
}

// Options are those of the command line; From and To as given, "" = none.
type Options struct {
	From string `json:"from"`
	To   string `json:"to"`
	PNG  bool   `json:"png"`
}

// Hash is one file by its bytes.
type Hash struct {
	Name   string `json:"name"`
	SizeB  int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

// SourcesFile is sources.json. It alone in a report says when, where and by
// what the report was made; every other file is the same whenever it is made.
type SourcesFile struct {
	Schema  string  `json:"schema"`
	MadeAt  string  `json:"made_at"`
	Version string  `json:"version"`
	Program Program `json:"program"`
	Options Options `json:"options"`
	// FarmFolder is seen from the report's folder.
	FarmFolder string `json:"farm_folder"`
	Seed       uint64 `json:"seed"`
	Trials     int    `json:"trials"`

	Files []Source `json:"files"`
	// Own are farm.toml and the milkings list.
	Own []Hash `json:"own"`
	// Exclusions: readings left out by a test, with the sums as reported and
	// with those readings put back.
	Exclusions []exclusion `json:"exclusions"`
	// OutsidePeriod: readings before and after the period reported on.
	OutsidePeriod []outside `json:"outside_period"`
	// OffsetsTakenOff were taken off the readings of probes that were compared.
	OffsetsTakenOff []offset `json:"offsets_taken_off"`
	// Findings that belong to no one file, and what bears them out.
	Findings []finding `json:"findings"`
	// Report are the other files of this report.
	Report []Hash `json:"report"`
}

// Source is one original and every correction made to it.
type Source struct {
	Name   string `json:"name"`
	Sheet  string `json:"sheet"`
	SizeB  int64  `json:"size"`
	SHA256 string `json:"sha256"`
	Rows   int    `json:"rows"`
	Kept   int    `json:"kept"`
	// Flagged counts readings by test.
	Flagged      map[string]int `json:"flagged"`
	First        string         `json:"first"`
	Last         string         `json:"last"`
	Zone         string         `json:"zone"`
	Encoding     string         `json:"encoding"`
	Separator    string         `json:"separator"`
	Decimal      string         `json:"decimal"`
	HeaderLine   int            `json:"header_line"`
	StampColumns []string       `json:"stamp_columns"`
	StampLayout  string         `json:"stamp_layout"`
	StampBecause string         `json:"stamp_because"`
	Clock        clock          `json:"clock"`
	Corrections  []string       `json:"corrections"`
	// Ignored: columns that farm.toml does not name; SetAside: that it says to
	// ignore.
	Ignored  []string  `json:"ignored"`
	SetAside []string  `json:"set_aside"`
	Channels []channel `json:"channels"`
	// Findings: what was noted or corrected in it, and what bears it out.
	Findings []finding `json:"findings"`
}

// channel is one column that was read: base = unit(written · scale + offset).
type channel struct {
	Column   string    `json:"column"`
	Quantity string    `json:"quantity"`
	Place    string    `json:"place"`
	Unit     string    `json:"unit"`
	KeptIn   string    `json:"kept_in"`
	Scale    float64   `json:"scale"`
	Offset   float64   `json:"offset"`
	Readings int       `json:"readings"`
	Kept     int       `json:"kept"`
	Flagged  []flagged `json:"flagged"`
}

type flagged struct {
	Test      string `json:"test"`
	Readings  int    `json:"readings"`
	Threshold string `json:"threshold"`
}

type exclusion struct {
	Quantity  string `json:"quantity"`
	Place     string `json:"place"`
	Column    string `json:"column"`
	Probe     string `json:"probe"`
	Test      string `json:"test"`
	Threshold string `json:"threshold"`
	Readings  int    `json:"readings"`
	InPeriod  int    `json:"in_period"`
	Moves     []move `json:"moves"`
	Why       string `json:"why,omitempty"`
}

type move struct {
	Figure      string   `json:"figure"`
	ReportedKWh *float64 `json:"reported_kwh"`
	PutBackKWh  *float64 `json:"put_back_kwh"`
}

type outside struct {
	Quantity string `json:"quantity"`
	Place    string `json:"place"`
	Column   string `json:"column"`
	Probe    string `json:"probe"`
	Before   int    `json:"before"`
	After    int    `json:"after"`
}

type offset struct {
	Probe string   `json:"probe"`
	K     *float64 `json:"k"`
}

type finding struct {
	Code     string `json:"code"`
	Severity string `json:"severity"`
	Where    string `json:"where"`
	Text     string `json:"text"`
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

// Sources is sources.json.
func Sources(s *season.Season, made Made) ([]byte, error) {
	out := SourcesFile{Schema: SourcesSchema, MadeAt: made.At.UTC().Format(time.RFC3339), Version: made.Program.Version, Program: made.Program,
		Options: made.Options, FarmFolder: made.Farm, Seed: s.Seed, Trials: s.Trials, Files: []Source{}, Own: []Hash{},
		Exclusions: exclusions(s), OutsidePeriod: outsides(s), OffsetsTakenOff: []offset{}, Findings: []finding{}, Report: append([]Hash{}, made.Report...)}
	for _, f := range s.Files {
		out.Files = append(out.Files, sourceOf(f, s))
	}
	for _, f := range s.Own {
		out.Own = append(out.Own, Hash(f))
	}
	for _, t := range s.Matched.Taken {
		out.OffsetsTakenOff = append(out.OffsetsTakenOff, offset{t.Probe, known(t.K)})
	}
	names := map[string]bool{}
	for _, f := range s.Files {
		names[f.Name] = true
	}
	for _, p := range s.Problems {
		if !names[p.File] {
			f := findingOf(p)
			if p.File != "" {
				f.Where = p.File + " " + p.Where
			}
			out.Findings = append(out.Findings, f)
		}
	}
	b, err := json.MarshalIndent(out, "", "  ")
	return append(b, '\n'), err
}

func exclusions(s *season.Season) []exclusion {
	out := []exclusion{}
	for _, e := range s.Exclusions.List {
		x := exclusion{e.Quantity, e.Place, e.Column, e.Probe, e.Test, e.Threshold, e.Readings, e.InPeriod, []move{}, e.Why}
		for _, m := range e.Moves {
			x.Moves = append(x.Moves, move{m.Key, known(m.ReportedKWh), known(m.PutBackKWh)})
		}
		out = append(out, x)
	}
	return out
}

func outsides(s *season.Season) []outside {
	out := []outside{}
	for _, o := range s.Exclusions.Outside {
		out = append(out, outside(o))
	}
	return out
}

func sourceOf(f ingest.File, s *season.Season) Source {
	out := Source{
		Name: f.Name, Sheet: f.Sheet, SizeB: f.SizeB, SHA256: f.SHA256, Rows: f.Rows, Kept: f.Kept, Flagged: flaggedBy(f.Flags),
		First: rfc3339(f.First), Last: rfc3339(f.Last), Zone: f.Zone, Encoding: f.Encoding, Separator: f.Separator,
		Decimal: f.Decimal, HeaderLine: f.HeaderLine, StampColumns: append([]string{}, f.StampColumns...), StampLayout: f.StampLayout, StampBecause: f.StampBecause,
		Clock: clockOf(f.Clock), Corrections: append([]string{}, f.Corrections...), Ignored: append([]string{}, f.Ignored...), SetAside: append([]string{}, f.SetAside...),
		Channels: []channel{}, Findings: []finding{},
	}
	for _, c := range s.Exclusions.Channels {
		if c.File == f.Name && c.Sheet == f.Sheet {
			out.Channels = append(out.Channels, channelOf(c))
		}
	}
	for _, p := range s.Problems {
		if p.File == f.Name {
			out.Findings = append(out.Findings, findingOf(p))
		}
	}
	return out
}

func findingOf(p series.Problem) finding {
	return finding{p.Code, string(p.Severity), p.Where, p.Text}
}

func channelOf(c season.FileChannel) channel {
	out := channel{Column: c.Column, Quantity: c.Quantity, Place: c.Place, Unit: c.Unit, KeptIn: c.KeptIn, Scale: c.Scale, Offset: c.Offset,
		Readings: c.Readings, Kept: c.Kept, Flagged: []flagged{}}
	for _, f := range c.Flagged {
		out.Flagged = append(out.Flagged, flagged{f.Test, f.Readings, f.Threshold})
	}
	return out
}

// flaggedBy names counts by their flags.
func flaggedBy(counts [len(series.FlagNames)]int) map[string]int {
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

// known is nil, and so null, for what is not known. It keeps 12 significant
// digits: the last bits of two processors do not show.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = rounded(v)
	return &v
}

func rfc3339(ms int64) string {
	return time.UnixMilli(ms).UTC().Format("2006-01-02T15:04:05.999Z07:00")
}
