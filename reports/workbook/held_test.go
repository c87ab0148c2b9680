package workbook

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/ingest/simfarm"
)

// A farm whose saving is told from days without recovery: the saving rests on a
// fit and stays a value, and the sheet says so; everything opens and recalculates.
func TestSavingByDaysRecalculates(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated seasons")
	}
	office(t)
	for seed := range uint64(2) { // switched off, and before
		s := seasonOf(t, testFarm{name: "held", scenario: simfarm.OnOff(seed + 2)}.load(t))
		b, err := XLSX(s)
		require.NoError(t, err)
		bare, formulas := withoutCached(t, b)
		require.Greater(t, formulas, 100)
		name, stored := s.Saving.Kind, opened(t, b)
		found := recalculated(t, map[string][]byte{name: bare})[name]
		require.Greater(t, noErrors(t, name, found), 1000)
		require.Greater(t, sameAsCached(t, name, stored, found), 100)
		require.Greater(t, sameAsResults(t, name, found, s), 10)
		values := 0
		for i, row := range sheetRows(t, found, "Summary", 3) {
			if row["About"] != "Saving, as seen" || row["Value (in the unit)"] == "" {
				continue
			}
			text, err := stored.GetCellFormula("Summary", fmt.Sprintf("D%d", i+4))
			require.NoError(t, err)
			if key := row["Key in results.json"]; key == "saved_kwh" || key == "baseline_kwh" || key == "money" || key == "co2_kg" {
				require.Empty(t, text, key)
				require.Contains(t, row["Comes from"], "value, no formula: a model of the days without recovery", key)
				values++
			}
		}
		require.Equal(t, 4, values)
	}
}
