package table

import "yardheat/ingest/table/celltext"

// shape counts what one row holds.
type shape struct {
	filled, numbers, stamps, missing, texts int
	width                                   int // up to the last cell that is not empty
	firstStamp                              int // index, -1 = none
	firstKind                               celltext.Kind
}

func shapeOf(cells []string) shape {
	s := shape{firstStamp: -1}
	for i, c := range cells {
		k := celltext.Classify(c)
		if i == 0 {
			s.firstKind = k
		}
		switch k {
		case celltext.Empty:
			continue
		case celltext.Missing:
			s.missing++
		case celltext.Number:
			s.numbers++
		case celltext.Text:
			s.texts++
		case celltext.Stamp:
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
		return s.firstStamp <= 3 && (s.numbers+s.missing > 0 || s.firstStamp <= 1) || s.numbers > 0 && s.numbers > s.texts
	}
	return s.filled > 1 && s.numbers > 0 && s.numbers >= s.texts && s.firstKind == celltext.Number
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
