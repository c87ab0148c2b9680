package plant

import (
	"fmt"

	"yardheat/analysis/doubt"
	"yardheat/ingest/series"
)

// Codes of the problems found here.
const (
	// CodeAboveOne: more heat caught than the plant can have rejected.
	CodeAboveOne = "recovery-above-one"
	// CodeAfterStop: heat caught while no compressor had run for 10 min.
	CodeAfterStop = "heat-after-compressor-stop"
	// CodeGainImpossible: the line gives a standing gain that cannot be.
	CodeGainImpossible = "standing-gain-impossible"
)

// Faults lists what cannot be right. recovery is the season's figure;
// lateKWh the heat caught later than 10 min after the last compressor stop and
// caughtKWh all heat caught in the same cycles (NaN: not known).
func Faults(recovery doubt.Figure, gain Gain, terms Terms, lateKWh, caughtKWh float64, opt Options) []series.Problem {
	var list []series.Problem
	add := func(code, text string) {
		list = append(list, series.Problem{Code: code, Severity: series.Doubt, Where: "plant", Text: text})
	}
	if recovery.Low > 1 {
		add(CodeAboveOne, fmt.Sprintf("The heat caught is %s of the heat rejected, more than all of it. A flow meter, a probe, the milk volume or the list of compressors is wrong, or the plate catches heat of another plant.", recovery.Shown))
	}
	if share := lateKWh / caughtKWh; share > opt.AfterStopShare {
		add(CodeAfterStop, fmt.Sprintf("%.1f %% of the heat at the plate was caught later than 10 min after the last compressor stop. A clock, the compressor's log or a probe's place may be wrong.", 100*share))
	}
	if gain.Impossible(terms, opt) {
		add(CodeGainImpossible, gain.Why+". Milk volume, milk temperatures or compressor electricity may miss a part.")
	}
	return list
}
