package farm

import (
	"slices"
	"strings"

	"yardheat/ingest/farm/keyed"
)

// Nearest is the candidate most like a word that was meant to be one of them;
// "" where none is near.
func Nearest(word string, candidates []string) string { return keyed.Nearest(word, candidates) }

// NearestZone is the IANA zone that a word was most likely meant to be ("Rome",
// "Europe/Rom"); "" where none is near.
func NearestZone(word string) string {
	if n := keyed.Nearest(strings.ReplaceAll(word, " ", "_"), zoneNames); n != "" {
		return n
	}
	for _, z := range zoneNames {
		if _, city, ok := strings.Cut(z, "/"); ok && strings.EqualFold(city, strings.ReplaceAll(word, " ", "_")) {
			return z
		}
	}
	return ""
}

// ZoneNames are the zones to offer in a list; any IANA name is read.
func ZoneNames() []string { return slices.Clone(zoneNames) }
