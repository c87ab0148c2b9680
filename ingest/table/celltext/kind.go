// Package celltext reads the text of one cell: numbers as loggers write them,
// words for "no reading", units, and what only looks like a stamp. It stands
// below package table and knows nothing of files.
package celltext

// Kind sorts cells for finding header and rows.
type Kind uint8

// What a cell reads as.
const (
	Empty Kind = iota
	Missing
	Number
	Stamp
	Text
)

// Classify sorts one cell; both decimal marks pass, as none is settled yet.
func Classify(cell string) Kind {
	if cell == "" {
		return Empty
	}
	if LooksLikeStamp(cell) {
		return Stamp
	}
	if _, _, ok := ParseNumber(cell, ".", ","); ok {
		return Number
	}
	if _, _, ok := ParseNumber(cell, ",", "."); ok {
		return Number
	}
	if IsMissing(cell) {
		return Missing
	}
	for _, marks := range [...][2]string{{".", "'"}, {",", "'"}, {".", " "}, {",", " "}} {
		if _, _, ok := ParseNumber(cell, marks[0], marks[1]); ok {
			return Number
		}
	}
	return Text
}
