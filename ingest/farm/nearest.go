package farm

import "yardheat/ingest/farm/keyed"

// Nearest is the candidate most like a word that was meant to be one of them;
// "" where none is near.
func Nearest(word string, candidates []string) string { return keyed.Nearest(word, candidates) }
