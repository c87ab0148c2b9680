package work

import "sync"

// Stage is a code of what is being done; the codes are stable, so that whoever
// shows them has words of their own for each.
type Stage string

// The stages of reading a farm folder, in their order. StageRead counts files
// and names them. StageAlign looks for clocks that were off; where some were,
// the files are read again under StageReread.
const (
	StageRead   Stage = "read"
	StageAlign  Stage = "align"
	StageReread Stage = "reread"
	StageFlag   Stage = "flag"
)

// The stages of computing a season, in their order.
const (
	StageGrid    Stage = "grid"
	StageAccount Stage = "account"
	StageMatch   Stage = "match"
	StageFit     Stage = "fit"
	StagePlant   Stage = "plant"
	StageChanges Stage = "changes"
	StageTrials  Stage = "trials"
	StageGather  Stage = "gather"
)

// The stages of writing, in their order. StageWrite counts the report's files
// and names them.
const (
	StageWrite  Stage = "write"
	StagePlace  Stage = "place"
	StageBundle Stage = "bundle"
)

// Stages lists every stage in the order in which they come.
func Stages() []Stage {
	return []Stage{StageRead, StageAlign, StageReread, StageFlag, StageGrid, StageAccount, StageMatch, StageFit, StagePlant, StageChanges, StageTrials, StageGather, StageWrite, StagePlace, StageBundle}
}

// Progress is how far long work is.
type Progress struct {
	Stage Stage
	// Done of Total parts of the stage; Total 0 = the stage has no parts.
	Done, Total int
	// File is what is being read or written, "" where no single one is: with
	// FileDone of FileTotal bytes behind it. FileDone = FileTotal: it is done.
	File                string
	FileDone, FileTotal int64
}

// Teller hands progress to one who listens: one call at a time, and never
// backwards. nil = nobody listens.
type Teller struct {
	mu     sync.Mutex
	tell   func(Progress)
	order  map[Stage]int
	at     Progress
	begun  bool
	behind map[string]int64 // by file of the stage: how far it is
}

// NewTeller tells f; nil where f is.
func NewTeller(f func(Progress)) *Teller {
	if f == nil {
		return nil
	}
	t := &Teller{tell: f, order: map[Stage]int{}, behind: map[string]int64{}}
	for i, s := range Stages() {
		t.order[s] = i
	}
	return t
}

// Tell hands p on. A stage that is behind is not told again, a count does not
// fall, a file that is done is not begun again.
func (t *Teller) Tell(p Progress) {
	if t == nil {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case !t.begun || t.order[p.Stage] > t.order[t.at.Stage]:
		clear(t.behind)
	case t.order[p.Stage] < t.order[t.at.Stage]:
		return
	default:
		p.Done, p.Total = max(p.Done, t.at.Done), max(p.Total, t.at.Total)
	}
	if p.File != "" {
		last, told := t.behind[p.File]
		if told && p.FileDone <= last && p.Done == t.at.Done {
			return
		}
		p.FileDone = max(p.FileDone, last)
		t.behind[p.File] = p.FileDone
	}
	t.at, t.begun = p, true
	t.tell(p)
}
