package collect

import (
	"regexp"
	"strings"
)

// sign is how a licence is known: by words that stand in every copy of it.
type sign struct {
	kind string
	all  []string
}

// signs, with text in lower case and single spaces. One file may hold several.
var signs = []sign{
	{"Apache-2.0", []string{"apache license", "version 2.0, january 2004"}},
	{"MIT", []string{"permission is hereby granted, free of charge, to any person obtaining a copy", "the above copyright notice and this permission notice shall be included"}},
	{"BSL-1.0", []string{"boost software license - version 1.0"}},
	{"OFL-1.1", []string{"sil open font license", "version 1.1"}},
	{"CC-BY-4.0", []string{"creative commons attribution 4.0 international"}},
	{"FTL", []string{"the freetype project license", "redistribution in binary form must provide a disclaimer"}},
	{"choice of FTL or GPL-2.0-or-later", []string{"exactly one of the following two licenses", "the freetype license", "gnu general public license (gpl), version 2 or later"}},
	{"patent grant of the Go project", []string{"additional ip rights grant (patents)"}},
	{"permissive notice of Sun Microsystems", []string{"permission to use, copy, modify, and distribute this software is freely granted, provided that this notice is preserved"}},
}

// binding are licences that would bind the whole program: none may be in it.
var binding = []sign{
	{"GPL", []string{"gnu general public license", "terms and conditions for copying, distribution and modification"}},
	{"GPL-3.0", []string{"gnu general public license", "version 3, 29 june 2007"}},
	{"LGPL", []string{"gnu lesser general public license", "this license"}},
	{"AGPL", []string{"gnu affero general public license"}},
	{"MPL", []string{"mozilla public license"}},
	{"EPL", []string{"eclipse public license"}},
	{"CC BY-SA", []string{"creative commons attribution-sharealike"}},
	{"CC BY-NC", []string{"creative commons attribution-noncommercial"}},
}

var marks = regexp.MustCompile(`[\s*#/;_]+`)

// plain is a text in lower case, with single spaces and without the marks of
// comments and headings.
func plain(text string) string {
	return marks.ReplaceAllString(strings.ToLower(text), " ")
}

// kindsOf names the licences in a text, nil if it is not known, and those of
// them that would bind the program.
func kindsOf(text string) (kinds, binds []string) {
	p := plain(text)
	for _, s := range signs {
		if s.in(p) {
			kinds = append(kinds, s.kind)
		}
	}
	if strings.Contains(p, "redistribution and use in source and binary forms, with or without modification, are permitted") {
		kind := "BSD-2-Clause"
		if strings.Contains(p, "neither the name") || strings.Contains(p, "the names of its contributors may not be used") {
			kind = "BSD-3-Clause"
		}
		kinds = append(kinds, kind)
	}
	if len(kinds) == 0 && strings.Contains(p, "public domain") {
		kinds = []string{"public domain"}
	}
	for _, s := range binding {
		if s.in(p) {
			binds = append(binds, s.kind)
		}
	}
	return kinds, binds
}

func (s sign) in(text string) bool {
	for _, words := range s.all {
		if !strings.Contains(text, strings.ToLower(words)) {
			return false
		}
	}
	return true
}
