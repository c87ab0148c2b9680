package bundle

import (
	"encoding/json"
	"fmt"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// graphOf reads a crate's nodes by their @id; an @id stands once.
func graphOf(t *testing.T, raw []byte) map[string]map[string]any {
	t.Helper()
	var doc struct {
		Context any              `json:"@context"`
		Graph   []map[string]any `json:"@graph"`
	}
	require.NoError(t, json.Unmarshal(raw, &doc))
	require.Equal(t, "https://w3id.org/ro/crate/1.1/context", doc.Context.([]any)[0])
	nodes := map[string]map[string]any{}
	for _, n := range doc.Graph {
		id := n["@id"].(string)
		require.NotContains(t, nodes, id)
		require.NotEmpty(t, n["@type"], id)
		_, err := url.Parse(id)
		require.NoError(t, err)
		require.NotContains(t, id, " ")
		nodes[id] = n
	}
	return nodes
}

// refs are the @id that a value refers to.
func refs(v any) (out []string) {
	switch x := v.(type) {
	case map[string]any:
		if id, ok := x["@id"].(string); ok {
			return []string{id}
		}
	case []any:
		for _, e := range x {
			out = append(out, refs(e)...)
		}
	}
	return out
}

// The rules of RO-Crate 1.1 for a crate's structure, from memory: a descriptor
// that is about the root and names the specification; a root with name,
// description, datePublished and license; every data entity reachable from the
// root by hasPart; flat nodes that refer to each other by @id.
func TestCrateStructure(t *testing.T) {
	s, opt := farm(t)
	path := filepath.Join(t.TempDir(), "b.zip")
	require.NoError(t, Write(path, s, opt))
	names, files := unpacked(t, path)
	nodes := graphOf(t, files[crateName])

	require.Equal(t, "CreativeWork", nodes[crateName]["@type"])
	require.Equal(t, []string{"./"}, refs(nodes[crateName]["about"]))
	require.Equal(t, []string{"https://w3id.org/ro/crate/1.1"}, refs(nodes[crateName]["conformsTo"]))
	root := nodes["./"]
	require.Equal(t, "Dataset", root["@type"])
	for _, must := range []string{"name", "description", "datePublished", "license"} {
		require.NotEmpty(t, root[must], must)
	}
	_, err := time.Parse(time.RFC3339, root["datePublished"].(string))
	require.NoError(t, err)

	for id, n := range nodes {
		for key, v := range n {
			for _, to := range refs(v) {
				_, ok := nodes[to]
				require.True(t, ok || id == crateName && key == "conformsTo", "%s %s refers to %s, which is not in the crate", id, key, to)
			}
			if m, ok := v.(map[string]any); ok {
				require.Len(t, m, 1, "%s %s: a node within a node", id, key)
			}
		}
	}

	reached := map[string]int{}
	var walk func(id string)
	walk = func(id string) {
		for _, to := range refs(nodes[id]["hasPart"]) {
			reached[to]++
			walk(to)
		}
	}
	walk("./")
	for _, name := range names {
		if name == crateName {
			require.NotContains(t, reached, name, "the descriptor is no part")
			continue
		}
		n, ok := nodes[uri(name)]
		require.True(t, ok, name)
		require.Equal(t, 1, reached[uri(name)], name)
		require.Equal(t, "File", n["@type"])
		require.Equal(t, strconv.Itoa(len(files[name])), n["contentSize"], name)
		require.Equal(t, hashOf(files[name]), n["sha256"], name)
		require.NotEmpty(t, n["encodingFormat"], name)
		back, err := url.PathUnescape(uri(name))
		require.NoError(t, err)
		require.Equal(t, name, back)
		delete(nodes, uri(name))
	}
	for id, n := range nodes { // what is left is no file
		if n["@type"] == "Dataset" && id != "./" {
			require.True(t, strings.HasSuffix(id, "/") && reached[id] == 1, id)
		}
		require.NotEqual(t, "File", n["@type"], "%s stands in the crate and not in the bundle", id)
	}
}

// The run took every original and made every file of the report.
func TestCrateTellsTheRun(t *testing.T) {
	s, opt := farm(t)
	path := filepath.Join(t.TempDir(), "b.zip")
	require.NoError(t, Write(path, s, opt))
	names, files := unpacked(t, path)
	nodes := graphOf(t, files[crateName])
	require.Equal(t, []string{"#run"}, refs(nodes["./"]["mentions"]))
	run := nodes["#run"]
	require.Equal(t, "CreateAction", run["@type"])
	require.Equal(t, "2026-05-01T12:00:00Z", run["startTime"])
	require.Equal(t, "2026-05-01T12:00:05Z", run["endTime"])
	program := nodes[refs(run["instrument"])[0]]
	require.Equal(t, "SoftwareApplication", program["@type"])
	require.Equal(t, "test", program["softwareVersion"])
	var took, made []string
	for _, n := range names {
		switch {
		case strings.HasPrefix(n, "farm/"):
			took = append(took, uri(n))
		case strings.HasPrefix(n, "report/"):
			made = append(made, uri(n))
		}
	}
	require.Len(t, took, len(originals))
	require.Equal(t, took, refs(run["object"]))
	require.Equal(t, made, refs(run["result"]))
	require.Equal(t, s.Farm, nodes["#farm"]["name"], "hostile names come back as they were")
	require.True(t, slices.Contains(took, "farm/logs/Hof%20S%C3%BCd/M%C3%A4rz%20%231.csv"), fmt.Sprint(took))
}
