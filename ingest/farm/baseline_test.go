package farm

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What [baseline] can't mean is said with its line and the nearest word.
func TestBaselineFaults(t *testing.T) {
	f, faults := Read("farm.toml", []byte(small))
	require.Empty(t, faults)
	require.Equal(t, Baseline{Kind: BaselineAlternative}, f.Baseline)
	const test = "[[season]]\nname = \"test\"\nkind = \"recovery_off\"\nfrom = 2026-01-01\nto = 2026-01-14\n"
	for _, c := range []struct{ text, want string }{
		{"[baseline]\nkind = \"recovery_of\"\n", "recovery_off"},
		{"[baseline]\nkind = \"before\"\n", "a [[season]] of kind \"before\""},
		{"[baseline]\nkind = \"recovery_off\"\nseason = [\"tset\"]\n", "test"},
		{"[baseline]\nkind = \"recovery_off\"\nvariables = [\"milk\"]\n", "milk_volume"},
		{"[baseline]\nvariables = []\n", "at least one variable"},
		{"[baseline]\nkinds = \"before\"\n", "kind"},
	} {
		_, faults := Read("farm.toml", []byte(small+test+c.text))
		require.Len(t, faults, 1, c.text)
		require.Contains(t, faults[0].Want+faults[0].Do, c.want, c.text)
	}
	f, faults = Read("farm.toml", []byte(small+test+"[baseline]\nkind = \"recovery_off\"\nseason = \"test\"\n"))
	require.Empty(t, faults)
	require.Equal(t, []string{"test"}, f.Baseline.Season)
}
