package results

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/reports/internal/fixture"
)

// The plate's weeks stand with both intervals, what is not known as null with
// its reason, and the milk by group.
func TestPlantWeeks(t *testing.T) {
	raw, err := JSON(fixture.Season())
	require.NoError(t, err)
	type figure struct {
		Value, Low, High *float64
		Why              string
	}
	var got struct {
		Plant struct {
			Weeks []struct {
				From, To string
				Cycles   int
				Caught   figure `json:"caught_per_kwh"`
				Eff      figure `json:"plate_effectiveness"`
				Own      map[string]figure
			}
			Line     struct{ Slope figure }
			LeftS    *float64 `json:"left_s"`
			MilkCold struct {
				With struct {
					TooWarm int `json:"too_warm"`
				} `json:"with_recovery"`
				Without struct {
					Cycles  int
					Warmest *float64 `json:"warmest_c"`
				}
			} `json:"milk_cold"`
		}
	}
	require.NoError(t, json.Unmarshal(raw, &got))
	p := got.Plant
	require.Len(t, p.Weeks, 2)
	require.NotNil(t, p.Weeks[0].Caught.Low)
	require.NotNil(t, p.Weeks[0].Own["caught_per_kwh"].High)
	require.Nil(t, p.Weeks[1].Eff.Value)
	require.NotEmpty(t, p.Weeks[1].Eff.Why)
	require.NotNil(t, p.Line.Slope.Value)
	require.InDelta(t, 5400, *p.LeftS, 0)
	require.Equal(t, 1, p.MilkCold.With.TooWarm)
	require.Nil(t, p.MilkCold.Without.Warmest)
}
