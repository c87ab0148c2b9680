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
	byWord := make([]int64, len(c.ZoneWords))
	for k, w := range c.ZoneWords {
		off, here := offsets[w]
		if byWord[k] = off; here {
			continue
		}
		foreign = append(foreign, w)
		if h, ok := zoneHours[w]; ok {
			byWord[k] = int64(h * hourMS)
		} else {
			byWord[k] = NoOffset
			unknown = append(unknown, w)
		}
	}
	for i, k := range c.ZoneWord {
		if k > 0 {
			c.setOffset(i, byWord[k-1])
		}
	}
	return foreign, unknown
}
