package results

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"yardheat/analysis/claim"
	"yardheat/reports/internal/fixture"
)

// The single-claim form of interfaces.md section 5 stands at the top whatever
// was asked; every claim stands under claims.
func TestClaimForm(t *testing.T) {
	s := fixture.Season()
	j, err := claim.Judge(s, []claim.Asked{{Key: "saved_kwh", Claimed: 5}, {Key: "money", Claimed: 7}}, claim.DefaultOptions())
	require.NoError(t, err)
	b, err := Claim(s, j)
	require.NoError(t, err)
	var got map[string]any
	require.NoError(t, json.Unmarshal(b, &got))
	require.Equal(t, ClaimSchema, got["schema"])
	require.InDelta(t, 5, got["claimed"], 0)
	require.Equal(t, "cannot tell", got["verdict"], "the fixture has no trials")
	require.Contains(t, got, "chance_true")
	require.Nil(t, got["chance_true"])
	require.IsType(t, map[string]any{}, got["measured"])
	require.NotEmpty(t, got["what_would_decide"])
	list := got["claims"].([]any)
	require.Len(t, list, 2)
	require.InDelta(t, 7, list[1].(map[string]any)["claimed"], 0)
	for key, v := range list[0].(map[string]any) {
		require.Equal(t, v, got[key], key)
	}
	_, err = Claim(s, nil)
	require.Error(t, err)
}
