package bundle

import (
	"bytes"
	"encoding/json"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"yardheat/analysis/season"
)

// The crate is the provenance of the bundle in the form of RO-Crate 1.1: a
// JSON-LD @graph that describes every file, and the run as a CreateAction that
// took the originals (object) and a program (instrument) and made the report
// (result). Written from memory of the specification (RO-Crate Metadata
// Specification 1.1, 2020, sections on the root data entity, data entities and
// provenance), for want of a way to read it here: see what a test holds.

// packed is a file as it was packed.
type packed struct {
	name   string // in the bundle
	size   int64
	sha256 string
	about  string // one sentence; "" = none
}

// entity is one node of the graph; the order of its keys is that of JSON: by
// name.
type entity map[string]any

type id map[string]string

func idOf(name string) id { return id{"@id": name} }

// uri is a file's name as a URI reference relative to the crate.
func uri(name string) string {
	parts := strings.Split(name, "/")
	for i, p := range parts {
		parts[i] = url.PathEscape(p)
	}
	return strings.Join(parts, "/")
}

const (
	crateName   = "ro-crate-metadata.json"
	crateSpec   = "https://w3id.org/ro/crate/1.1"
	runID       = "#run"
	softwareID  = "#yardheat"
	licenceID   = "#licence"
	farmID      = "#farm"
	licenceText = "No licence is stated. Logs and figures belong to whoever made them: ask the farm before passing them on."
)

// crate is ro-crate-metadata.json for the files of a bundle, sorted by name.
func crate(s *season.Season, files []packed, opt Options) ([]byte, error) {
	made := stamp(opt.Made)
	graph := []entity{
		{"@id": crateName, "@type": "CreativeWork", "about": idOf("./"), "conformsTo": idOf(crateSpec),
			"description": "What the files of this bundle are and how they came about."},
		root(s, files, made),
		{"@id": farmID, "@type": "Organization", "name": s.Farm},
		{"@id": licenceID, "@type": "CreativeWork", "name": "No licence stated", "description": licenceText},
		{"@id": softwareID, "@type": "SoftwareApplication", "name": "Yardheat", "softwareVersion": opt.Version,
			"description": "Turns the logs of a farm's heat-recovery hot water into a seasonal account."},
		{"@id": runID, "@type": "CreateAction", "name": "Report on the season", "instrument": idOf(softwareID),
			"startTime": stamp(opt.Started), "endTime": made, "object": idsBelow(files, farmDir), "result": idsBelow(files, reportDir)},
	}
	for _, dir := range foldersOf(files) {
		graph = append(graph, entity{"@id": uri(dir), "@type": "Dataset", "name": dir, "description": folderAbout(dir), "hasPart": partsOf(dir, files)})
	}
	for _, f := range files {
		graph = append(graph, fileEntity(f))
	}
	return encode(entity{"@context": []any{crateSpec + "/context", map[string]string{"sha256": "https://schema.org/sha256"}}, "@graph": graph})
}

func encode(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	err := enc.Encode(v)
	return b.Bytes(), err
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

func root(s *season.Season, files []packed, made string) entity {
	day := func(ms int64) string { return time.UnixMilli(ms).UTC().Format(time.RFC3339) }
	return entity{
		"@id": "./", "@type": "Dataset", "name": "Season of heat-recovery hot water: " + s.Farm,
		"description":   "The originals of a farm's loggers, the report that was made of them, and what its columns and keys mean.",
		"datePublished": made, "license": idOf(licenceID), "about": idOf(farmID), "mentions": idOf(runID),
		"temporalCoverage": day(s.Period.Start) + "/" + day(s.Period.End),
		"hasPart":          partsOf("", files),
	}
}

// fileEntity describes a file by its bytes.
func fileEntity(f packed) entity {
	e := entity{"@id": uri(f.name), "@type": "File", "name": f.name, "contentSize": strconv.FormatInt(f.size, 10),
		"encodingFormat": formatOf(f.name), "sha256": f.sha256}
	if f.about != "" {
		e["description"] = f.about
	}
	if f.name == reportDir+resultsName {
		e["conformsTo"] = idOf(schemaName)
	}
	return e
}

// formatOf is the media type that a name's ending stands for. An original's
// ending is what its logger gave it.
func formatOf(name string) string {
	if name == schemaName {
		return "application/schema+json"
	}
	if t, ok := mediaTypes[strings.ToLower(path.Ext(name))]; ok {
		return t
	}
	return "application/octet-stream"
}

var mediaTypes = map[string]string{
	".csv": "text/csv", ".tsv": "text/tab-separated-values", ".txt": "text/plain", ".log": "text/plain", ".md": "text/markdown",
	".html": "text/html", ".htm": "text/html", ".json": "application/json", ".jsonl": "application/jsonl", ".xml": "application/xml",
	".toml": "application/toml", ".svg": "image/svg+xml", ".png": "image/png", ".zip": "application/zip", ".gz": "application/gzip",
	".parquet": "application/vnd.apache.parquet", ".xls": "application/vnd.ms-excel",
	".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}

func idsBelow(files []packed, dir string) []id {
	out := []id{}
	for _, f := range files {
		if strings.HasPrefix(f.name, dir) {
			out = append(out, idOf(uri(f.name)))
		}
	}
	return out
}

// foldersOf are all folders of the files, with a slash at the end, sorted.
func foldersOf(files []packed) []string {
	var out []string
	for _, f := range files {
		for dir := path.Dir(f.name); dir != "."; dir = path.Dir(dir) {
			out = append(out, dir+"/")
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// partsOf are the files and folders that stand right in a folder, "" = the top.
func partsOf(dir string, files []packed) []id {
	var names []string
	for _, f := range files {
		in, ok := strings.CutPrefix(f.name, dir)
		if !ok {
			continue
		}
		if first, _, deeper := strings.Cut(in, "/"); deeper {
			names = append(names, dir+first+"/")
		} else {
			names = append(names, f.name)
		}
	}
	out := []id{}
	for _, n := range slices.Compact(names) { // sorted as the files are: a folder's stand together
		out = append(out, idOf(uri(n)))
	}
	return out
}

func folderAbout(dir string) string {
	switch dir {
	case farmDir:
		return "The farm folder: farm.toml, the milkings list and every log that was read, byte for byte."
	case reportDir:
		return "The report as it was written."
	case reportDir + "charts/":
		return "The charts of the report."
	}
	return "A folder of the farm folder."
}
