package clock

import (
	"slices"
	"strings"
	"time"
)

// zoneHours are abbreviations that stand for one offset wherever they are used
// (common practice, no source); "BST", "CST", "IST" and the like stand for
// several and are read only in a zone that has them.
var zoneHours = map[string]float64{
	"WEZ": 0, "WESZ": 1, "OEZ": 2, "OESZ": 3, "HNEC": 1, "HAEC": 2, "HEEC": 2, "WIB": 7, "WITA": 8, "WIT": 9,
	"WET": 0, "WEST": 1, "CET": 1, "MEZ": 1, "MET": 1, "CEST": 2, "MESZ": 2, "MEST": 2, "EET": 2, "EEST": 3, "MSK": 3, "SAST": 2,
	"EST": -5, "EDT": -4, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7, "AKST": -9, "AKDT": -8, "HST": -10,
	"JST": 9, "KST": 9, "AWST": 8, "ACST": 9.5, "ACDT": 10.5, "AEST": 10, "AEDT": 11, "NZST": 12, "NZDT": 13,
}

// zoneWordOf gives a word that may be a zone's abbreviation, "" for any other.
func zoneWordOf(word string) string {
	if len(word) < 3 || len(word) > 5 || strings.ToUpper(word) != word {
		return ""
	}
	if _, known := zoneHours[word]; known || word[len(word)-1] == 'T' {
		return word
	}
	return ""
}

// ZoneText reads what a cell beside the stamps says of their zone: UTC, GMT+1,
// +01:00, or an abbreviation (word), whose offset UseZoneWords finds. known: it
// stands for one offset wherever it is used.
func ZoneText(text string) (offsetMS int64, word string, known, ok bool) {
	s := strings.ToUpper(strings.TrimSpace(text))
	rest := strings.TrimPrefix(strings.TrimPrefix(s, "UTC"), "GMT")
	switch {
	case s == "Z" || s != "" && rest == "":
		return 0, "", true, true
	case rest[:min(1, len(rest))] == "+" || rest[:min(1, len(rest))] == "-":
		sc := scanner{s: rest, st: stamp{clocked: true, offsetMS: NoOffset}}
		if !sc.offset() || sc.i != len(rest) {
			return NoOffset, "", false, false
		}
		return sc.st.offsetMS, "", rest != s || len(rest) > 3, true
	}
	if word = zoneWordOf(s); word == "" || s != strings.TrimSpace(text) {
		return NoOffset, "", false, false
	}
	_, known = zoneHours[word]
	return NoOffset, word, known, true
}

// StateZone gives a row the zone that a cell beside its stamp states.
func (c *Column) StateZone(row int, text string) {
	if offsetMS, word, _, ok := ZoneText(text); ok && c.Wall[row] != Bad {
		if word != "" {
			c.setZoneWord(row, word)
		} else {
			c.setOffset(row, offsetMS)
		}
	}
}

// zoneNames are zones written out, in lower case, that stand for one offset
// (source: Unicode CLDR, time zone names, from memory).
var zoneNames = map[string]float64{
	"greenwich mean time": 0, "coordinated universal time": 0, "universal time": 0, "western european time": 0, "western european summer time": 1,
	"central european time": 1, "central european summer time": 2, "eastern european time": 2, "eastern european summer time": 3,
	"mitteleuropäische zeit": 1, "mitteleuropäische normalzeit": 1, "mitteleuropäische sommerzeit": 2, "osteuropäische zeit": 2, "osteuropäische sommerzeit": 3,
	"heure normale d'europe centrale": 1, "heure d'été d'europe centrale": 2, "ora standard dell'europa centrale": 1, "ora legale dell'europa centrale": 2,
	"hora estándar de europa central": 1, "hora de verano de europa central": 2,
}

// summerNames and standardNames name the half of the year and no zone: the
// zone's own offsets settle them (common practice, no source).
var (
	summerNames   = nameSet("sommerzeit|summer time|daylight time|daylight saving time|dst|heure d'été|heure d’été|ora legale|hora de verano|horário de verão|zomertijd|sommertid|sommartid|kesäaika|czas letni|letní čas|nyári idő")
	standardNames = nameSet("winterzeit|normalzeit|standard time|winter time|heure d'hiver|heure d’hiver|heure normale|ora solare|hora de invierno|hora estándar|wintertijd|vintertid|normaltid|talviaika|czas zimowy|zimní čas|téli idő")
)

func nameSet(list string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Split(list, "|") {
		set[w] = true
	}
	return set
}

// zonePhrase tells whether the words behind a time of day name a zone, known or
// not: they end in the word for time, or are of the form Europe/Rome.
func zonePhrase(phrase string) bool {
	p := strings.ToLower(phrase)
	if _, known := zoneNames[p]; known || summerNames[p] || standardNames[p] {
		return true
	}
	if area, city, ok := strings.Cut(phrase, "/"); ok && !strings.Contains(phrase, " ") {
		return len(area) > 2 && len(city) > 2
	}
	last := p[strings.LastIndexByte(p, ' ')+1:]
	for _, w := range [...]string{"time", "zeit", "heure", "hora", "ora", "tijd", "tid"} {
		if strings.HasSuffix(last, w) && len(p) > len(w) {
			return true
		}
	}
	return strings.HasPrefix(p, "heure ") || strings.HasPrefix(p, "hora ") || strings.HasPrefix(p, "ora ")
}

func (c *Column) setZoneWord(row int, word string) {
	k := slices.Index(c.ZoneWords, word)
	if k < 0 {
		if len(c.ZoneWords) == 250 {
			return
		}
		k = len(c.ZoneWords)
		c.ZoneWords = append(c.ZoneWords, word)
	}
	if c.ZoneWord == nil {
		c.ZoneWord = make([]uint8, len(c.Wall))
	}
	c.ZoneWord[row] = uint8(k + 1)
}

// UseZoneWords turns the zone abbreviations of the rows into offsets: by the
// zone where it has that abbreviation, else by what the word stands for
// everywhere. It gives the words that the zone does not have (foreign) and
// those among them that stand for no one offset (unknown), whose rows state
// none.
func (c *Column) UseZoneWords(zone *time.Location) (foreign, unknown []string) {
	if c.ZoneWord == nil {
		return nil, nil
	}
	low, high := bounds(c.Wall)
	offsets := map[string]int64{}
	for _, s := range spansOf(zone, low, high) {
		if at := s.startMS; at != Bad {
			name, _ := time.UnixMilli(at).In(zone).Zone()
			offsets[name] = s.offsetMS
		} else if at := s.endMS; at != -(Bad + 1) {
			name, _ := time.UnixMilli(at - 1).In(zone).Zone()
			offsets[name] = s.offsetMS
		}
	}
	for k, w := range c.ZoneWords {
		off, here := offsets[w]
		switch p := strings.ToLower(w); {
		case here:
		case summerNames[p] || standardNames[p]:
			if off, here = seasonOffset(spansOf(zone, low-halfYear, high+halfYear), summerNames[p]); !here {
				foreign, unknown = append(foreign, w), append(unknown, w)
				off = NoOffset
			}
		case strings.Contains(w, "/") && c.useNamedZone(uint8(k+1), w):
			foreign = append(foreign, w)
			continue
		default:
			foreign = append(foreign, w)
			if off, here = fixedOffset(w); !here {
				unknown = append(unknown, w)
			}
		}
		for i, word := range c.ZoneWord {
			if int(word) == k+1 {
				c.setOffset(i, off)
			}
		}
	}
	return foreign, unknown
}

// fixedOffset is the one offset that a word stands for, NoOffset if for none.
func fixedOffset(word string) (offsetMS int64, ok bool) {
	h, ok := zoneHours[word]
	if !ok {
		h, ok = zoneNames[strings.ToLower(word)]
	}
	if !ok {
		return NoOffset, false
	}
	return int64(h * hourMS), true
}

// halfYear reaches from any day into the other half of the year.
const halfYear = 190 * dayMS

// seasonOffset is a zone's offset in summer, or its other; ok is false where it
// does not have just two.
func seasonOffset(spans []span, summer bool) (offsetMS int64, ok bool) {
	var seen []int64
	for _, s := range spans {
		if !slices.Contains(seen, s.offsetMS) {
			seen = append(seen, s.offsetMS)
		}
	}
	switch {
	case len(seen) != 2:
		return NoOffset, false
	case summer:
		return slices.Max(seen), true
	}
	return slices.Min(seen), true
}

// useNamedZone resolves the rows of a word such as Europe/Rome by that zone.
func (c *Column) useNamedZone(word uint8, name string) bool {
	zone, err := ParseZone(name)
	if err != nil {
		return false
	}
	of := Column{Wall: make([]int64, len(c.Wall))}
	for i, w := range c.Wall {
		if of.Wall[i] = Bad; c.ZoneWord[i] == word {
			of.Wall[i] = w
		}
	}
	utc, _ := Resolve(&of, zone)
	for i, w := range of.Wall {
		if w != Bad {
			c.setOffset(i, w-utc[i])
		}
	}
	return true
}
