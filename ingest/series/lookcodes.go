package series

// The codes of the problems that only a description of a file lists: before
// there is a farm file nothing is kept or left out.
const (
	// CodeNoStamps: no column of stamps was found.
	CodeNoStamps = "no-stamps"
	// CodeMissingCode: readings that are a number by which loggers say that
	// there is none.
	CodeMissingCode = "missing-code"
	// CodeNotPlausible: readings that no probe of the unit gives.
	CodeNotPlausible = "not-plausible"
	// CodeZeroRun: a run of exact zeros, as a failed probe may be written.
	CodeZeroRun = "zero-run"
)
