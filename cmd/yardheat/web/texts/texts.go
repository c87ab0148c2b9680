// Package texts holds every sentence of the farmer's page in one catalogue
// file: a table for each text, in it the languages, English first. Whoever adds
// a language adds a line to each table and a row to Languages; a test then says
// what is missing.
//
// A text may carry places in braces, {file} or {count}, that are filled in by
// name. What is filled in is never markup: templates escape the whole. A text in
// two forms, for one and for more, has the keys NAME.one and NAME.more.
package texts

import (
	_ "embed"
	"fmt"
	"sort"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

//go:embed catalogue.toml
var catalogue []byte

// Language is one in which the page can be read.
type Language struct {
	Code string // BCP 47
	Name string // in itself
	// Comma: decimals are written with a comma unless the reader says otherwise.
	Comma bool
}

// Languages in the order in which they are offered. English, the first, stands
// in where a text lacks a language.
func Languages() []Language {
	return []Language{{Code: "en", Name: "English"}, {Code: "de", Name: "Deutsch", Comma: true}}
}

// Catalogue holds the texts by key and language. It does not change.
type Catalogue struct {
	texts map[string]map[string]string
}

// Load reads the catalogue that is built in.
func Load() (*Catalogue, error) {
	var c Catalogue
	if err := toml.Unmarshal(catalogue, &c.texts); err != nil {
		return nil, fmt.Errorf("the catalogue of texts: %w", err)
	}
	return &c, nil
}

// Keys of all texts, sorted.
func (c *Catalogue) Keys() []string {
	keys := make([]string, 0, len(c.texts))
	for k := range c.texts {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// Has says whether there is a text of that key.
func (c *Catalogue) Has(key string) bool { return c.texts[key] != nil }

// Say gives a text in a language; pairs are the names of its places and what
// stands there: Say("de", "logs.rows", "rows", 120). A key that is not there is
// given back in brackets, so that it is seen.
func (c *Catalogue) Say(lang, key string, pairs ...any) string {
	text, ok := c.texts[key][lang]
	if !ok {
		if text, ok = c.texts[key]["en"]; !ok {
			return "[" + key + "]"
		}
	}
	if len(pairs) == 0 {
		return text
	}
	old := make([]string, 0, len(pairs))
	for i := 0; i+1 < len(pairs); i += 2 {
		old = append(old, fmt.Sprintf("{%v}", pairs[i]), fmt.Sprint(pairs[i+1]))
	}
	return strings.NewReplacer(old...).Replace(text)
}

// Count is Say for a text in two forms: key.one where n is 1, else key.more; the
// number fills {n}.
func (c *Catalogue) Count(lang, key string, n int, pairs ...any) string {
	form := ".more"
	if n == 1 {
		form = ".one"
	}
	return c.Say(lang, key+form, append([]any{"n", n}, pairs...)...)
}
