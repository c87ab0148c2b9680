package logs

// StateOf reads a state as loggers write it ("on", "closed", "auf", "1"): 1 or
// 0. ok is false for a word that is none.
func StateOf(text string) (v float64, ok bool) { return stateWord(text) }
