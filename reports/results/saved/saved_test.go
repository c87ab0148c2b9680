package saved_test

import (
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"yardheat/analysis/season"
	"yardheat/reports/internal/fixture"
	"yardheat/reports/results"
	"yardheat/reports/results/saved"
)

func written(t *testing.T, s *season.Season) *saved.Report {
	t.Helper()
	b, err := results.JSON(s)
	require.NoError(t, err)
	r, err := saved.Read(b)
	require.NoError(t, err)
	return r
}

var update = flag.Bool("update", false, "write testdata/report.json anew")

// testdata/report.json is the invented season as it is written: the tests of the
// page, which may not see the fixture, put it in their farms' reports.
func TestInventedReportIsTheFixture(t *testing.T) {
	name := filepath.Join("testdata", "report.json")
	b, err := results.JSON(fixture.Season())
	require.NoError(t, err)
	if *update {
		require.NoError(t, os.WriteFile(name, b, 0o600))
	}
	stands, err := os.ReadFile(name)
	require.NoError(t, err)
	require.Equal(t, string(b), string(stands), "go test ./reports/results/saved -update writes it anew")
}

func TestComesBackAsItWas(t *testing.T) {
	s := fixture.Season()
	r := written(t, s)
	assert.Equal(t, s.Farm, r.Farm.Name)
	assert.Equal(t, s.Period.Start, r.Period.Start.UnixMilli())
	assert.Equal(t, s.Loop.Why, r.Loop.Why)
	assert.Equal(t, s.Washes.TooCool, r.Washes.TooCool)
	require.Len(t, r.Washes.List, len(s.Washes.List))
	assert.True(t, math.IsNaN(float64(r.Washes.List[2].TempC)), "null is not known")
	assert.Equal(t, s.Saving.Currency, r.Saving.Currency)
	require.Len(t, r.Cautions, len(s.Cautions))
	require.Len(t, r.Problems, len(s.Problems))
	require.Len(t, r.Months, len(s.Months))
	require.Len(t, r.Loop.Course, len(s.Pictures.UA))
	require.Len(t, r.Loop.Draws, len(s.Draws))
	require.Len(t, r.Plant.Weeks, len(s.Plant.Weeks))
	for _, group := range []struct {
		was []season.Named
		is  saved.Figures
	}{{s.Loop.Figures, r.Loop.Figures}, {s.Plant.Figures, r.Plant.Figures}, {s.Heat.Seen, r.Heat.Seen}, {s.Heat.Whole, r.Heat.Whole},
		{s.Electricity, r.Electricity}, {s.Saving.Figures, r.Saving.Figures}, {s.Saving.Whole, r.Saving.Whole}, {s.Bed, r.Bed},
		{s.Months[0].Figures, r.Months[0].Figures}, {s.Plant.Weeks[0].Own, r.Plant.Weeks[0].Own}} {
		for _, n := range group.was {
			same(t, n.Key, n.Figure, group.is.Get(n.Key))
		}
	}
}

func same(t *testing.T, key string, was season.Figure, is saved.Figure) {
	t.Helper()
	assert.Equal(t, was.Shown, is.Shown, key)
	assert.Equal(t, was.Why, is.Why, key)
	assert.Equal(t, math.IsNaN(was.Value), math.IsNaN(float64(is.Value)), key)
	if !math.IsNaN(was.Value) {
		assert.InEpsilon(t, was.Value, float64(is.Value), 1e-11, key)
	}
	assert.Equal(t, !math.IsNaN(was.Value), is.Known(), key)
}

// Every key that the reader asks for is one that the writer writes: each field
// must come back from a report in which everything is filled in.
func TestEveryFieldIsAKeyOfTheSchema(t *testing.T) {
	fields := 0
	walk(t, "", reflect.TypeOf(saved.Report{}), results.Keys(), &fields)
	require.Greater(t, fields, 80)
}

func walk(t *testing.T, at string, typ reflect.Type, keys []results.Key, fields *int) {
	t.Helper()
	for i := range typ.NumField() {
		f := typ.Field(i)
		name := f.Tag.Get("json")
		if name == "-" {
			continue // groups of figures: TestComesBackAsItWas
		}
		if name == "" {
			name = strings.ToLower(f.Name)
		}
		*fields++
		var key *results.Key
		for k := range keys {
			if keys[k].Name == name {
				key = &keys[k]
			}
		}
		if !assert.NotNil(t, key, "%s/%s is no key of results.json", at, name) {
			continue
		}
		inner := f.Type
		if inner.Kind() == reflect.Slice {
			inner = inner.Elem()
		}
		if inner.Kind() == reflect.Struct && key.Kind != results.Time && key.Kind != results.Figure {
			walk(t, at+"/"+name, inner, key.Inner, fields)
		}
	}
}

func TestRefusesWhatIsNoReport(t *testing.T) {
	_, err := saved.Read([]byte(`{"schema": "yardheat-claim/1"}`))
	require.ErrorIs(t, err, saved.ErrSchema)
	_, err = saved.Read([]byte("<html>"))
	require.Error(t, err)
}

// A report of an earlier version lacks keys, one of a later has more.
func TestReadsOtherVersions(t *testing.T) {
	b, err := results.JSON(fixture.Season())
	require.NoError(t, err)
	var m map[string]any
	require.NoError(t, json.Unmarshal(b, &m))
	delete(m, "bed")
	delete(m["loop"].(map[string]any), "course")
	m["later"] = map[string]any{"shown": 1, "confidence": "x"}
	b, err = json.Marshal(m)
	require.NoError(t, err)
	r, err := saved.Read(b)
	require.NoError(t, err)
	assert.False(t, r.Bed.Get("mean_c").Known())
	assert.Empty(t, r.Loop.Course)
}
