package texts

import (
	"regexp"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var place = regexp.MustCompile(`\{[a-z_]*\}`)

func TestEveryTextInEveryLanguage(t *testing.T) {
	c, err := Load()
	require.NoError(t, err)
	require.Greater(t, len(c.texts), 20)
	for _, key := range c.Keys() {
		english := c.texts[key]["en"]
		for _, l := range Languages() {
			text := c.texts[key][l.Code]
			assert.NotEmpty(t, strings.TrimSpace(text), "%s lacks %s", key, l.Code)
			assert.Equal(t, places(english), places(text), "%s: the places of %s differ from the English ones", key, l.Code)
		}
		assert.Len(t, c.texts[key], len(Languages()), "%s has a language that is not offered", key)
		if form, ok := strings.CutSuffix(key, ".one"); ok {
			assert.True(t, c.Has(form+".more"), "%s has no form for more", form)
		}
	}
}

func places(text string) []string {
	all := place.FindAllString(text, -1)
	sort.Strings(all)
	out := []string{}
	for i, p := range all {
		if i == 0 || p != all[i-1] {
			out = append(out, p)
		}
	}
	return out
}

func TestSay(t *testing.T) {
	c := &Catalogue{texts: map[string]map[string]string{
		"a":      {"en": "{n} of {all} rows", "de": "{n} von {all} Zeilen"},
		"b":      {"en": "only here"},
		"c.one":  {"en": "one row"},
		"c.more": {"en": "{n} rows"},
	}}
	assert.Equal(t, "3 von {n} Zeilen", c.Say("de", "a", "n", 3, "all", "{n}"), "what is filled in is not filled again")
	assert.Equal(t, "only here", c.Say("de", "b"))
	assert.Equal(t, "[none]", c.Say("de", "none"))
	assert.Equal(t, "one row", c.Count("en", "c", 1))
	assert.Equal(t, "0 rows", c.Count("en", "c", 0))
}
