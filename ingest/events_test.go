package ingest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// eventFarm is a farm of one log and a list of events.
func eventFarm(t *testing.T, list, toml string) (*Record, error) {
	t.Helper()
	dir := t.TempDir()
	put := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
	}
	put("farm.toml", "[farm]\nname = \"Invented\"\ntimezone = \"Europe/Dublin\"\n\n[loop]\nlength_m = 300\nbore_mm = 26\n\n[events]\nfile = \"events.csv\"\n"+toml+
		"\n[[event]]\nat = 2026-01-02T08:00:00\nwhat = \"serviced\"\n\n[[log]]\nfiles = [\"yard.csv\"]\n[log.columns]\n\"Bed C\" = { quantity = \"bed_temp\", unit = \"C\" }\n")
	put("yard.csv", "Time;Bed C\n2026-01-01 00:00;45,5\n2026-01-01 01:00;45,6\n2026-01-01 02:00;45,4\n")
	put("events.csv", list)
	return Load(dir, DefaultLoadOptions())
}

const eventKeys = "[events.columns]\nat = \"Day\"\nwhat = \"What\"\ntonnes = \"Tonnes\"\n"

func TestEventsFromAFile(t *testing.T) {
	rec, err := eventFarm(t, "Day;What;Tonnes\n2026-01-05 10:30;bedded;11,5\n2025-12-20;cleared;\nsome day;turned;\n2026-01-06;bedded;many\n", eventKeys)
	require.NoError(t, err)
	dublin, err := time.LoadLocation("Europe/Dublin")
	require.NoError(t, err)
	require.Len(t, rec.Farm.Events, 4)
	assert.Equal(t, "cleared", rec.Farm.Events[0].What, "in order of time, farm.toml's own among them")
	assert.Equal(t, "serviced", rec.Farm.Events[1].What)
	assert.True(t, rec.Farm.Events[2].At.Equal(time.Date(2026, 1, 5, 10, 30, 0, 0, dublin)))
	assert.Equal(t, 11.5, rec.Farm.Events[2].Tonnes)
	assert.Zero(t, rec.Farm.Events[3].Tonnes, "a word is no number of tonnes")
	found := false
	for _, p := range rec.Problems {
		if p.Code == "event-odd" {
			found = true
			assert.Contains(t, p.Text, "many")
		}
	}
	assert.True(t, found)
	named := false
	for _, p := range rec.Problems {
		named = named || p.File == "events.csv" && (strings.Contains(p.Text, "some day") || strings.Contains(p.Where, "4"))
	}
	assert.True(t, named, "the line without a date is named: %v", rec.Problems)
	listed := false
	for _, o := range rec.Own {
		listed = listed || o.Name == "events.csv"
	}
	assert.True(t, listed, "an original like the others")
}

func TestEventsThatCannotBeRead(t *testing.T) {
	_, err := eventFarm(t, "Day;What;Tonnes\n03/04/2026;bedded;1\n05/04/2026;turned;\n", eventKeys)
	require.ErrorContains(t, err, "dates = ")
	rec, err := eventFarm(t, "Day;What;Tonnes\n03/04/2026;bedded;1\n05/04/2026;turned;\n", "dates = \"dmy\"\n"+eventKeys)
	require.NoError(t, err)
	assert.Equal(t, time.April, rec.Farm.Events[1].At.Month())
	_, err = eventFarm(t, "Date;What;Tonnes\n2026-04-03;bedded;1\n", eventKeys)
	require.ErrorContains(t, err, `a column "Day"`)
	_, err = eventFarm(t, "Day;What;Tonnes\n2026-04-03;bedded;1\n", "")
	require.ErrorContains(t, err, "columns")
	_, err = eventFarm(t, "Day;What\n2026-04-03;bedded\n", "[events.columns]\nat = \"Day\"\n")
	require.ErrorContains(t, err, "what")
}
