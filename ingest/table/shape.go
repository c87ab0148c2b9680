package table

// cellKind sorts cells for finding header and rows.
type cellKind uint8

const (
	emptyCell cellKind = iota
	missingCell
	numberCell
	stampCell
	textCell
)

// classify sorts one cell; both decimal marks pass, as none is settled yet.
func classify(cell string) cellKind {
	if cell == "" {
		return emptyCell
	}
	if looksLikeStamp(cell) {
		return stampCell
	}
	if _, _, ok := ParseNumber(cell, ".", ","); ok {
		return numberCell
	}
	if _, _, ok := ParseNumber(cell, ",", "."); ok {
		return numberCell
	}
	if IsMissing(cell) {
		return missingCell
	}
	for _, marks := range [...][2]string{{".", "'"}, {",", "'"}, {".", " "}, {",", " "}} {
		if _, _, ok := ParseNumber(cell, marks[0], marks[1]); ok {
			return numberCell
		}
	}
	return textCell
}

// shape counts what one row holds.
type shape struct {
	filled, numbers, stamps, missing, texts int
	width                                   int // up to the last cell that is not empty
	firstStamp                              int // index, -1 = none
	firstKind                               cellKind
}

func shapeOf(cells []string) shape {
	s := shape{firstStamp: -1}
	for i, c := range cells {
		k := classify(c)
		if i == 0 {
			s.firstKind = k
		}
		switch k {
		case emptyCell:
			continue
		case missingCell:
			s.missing++
		case numberCell:
			s.numbers++
		case textCell:
			s.texts++
		case stampCell:
			s.stamps++
			if s.firstStamp < 0 {
				s.firstStamp = i
			}
		}
		s.filled++
		s.width = i + 1
	}
	return s
}

// isData tells whether a row reads like one of readings or events.
func (s shape) isData() bool {
	switch {
	case s.filled == 0:
		return false
	case s.stamps > 0:
		return s.firstStamp <= 3 && (s.numbers+s.missing > 0 || s.firstStamp <= 1)
	}
	return s.filled > 1 && s.numbers > 0 && s.numbers >= s.texts && s.firstKind == numberCell
}

func isBlankRow(cells []string) bool {
	for _, c := range cells {
		if c != "" {
			return false
		}
	}
	return true
}

// sameCells compares two rows, trailing empty cells aside.
func sameCells(a, b []string) bool {
	a, b = dropEmptyTail(a), dropEmptyTail(b)
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

func dropEmptyTail(cells []string) []string {
	for len(cells) > 0 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	return cells
}
