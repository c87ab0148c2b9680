package series

// The codes of the problems that Load lists. Those of the table reader
// (bad-encoding, decimal-mark, double-header, error-words, file-cut, file-end, long-line, member-passed-over, no-rows,
// nul-bytes, short-line, short-lines, stray-quote, footer, repeated-header,
// not-a-row, formula-without-value, unit-changes, workbook-cut, workbook-short, sheet-hidden) are passed
// on as they stand.
const (
	// CodeFileEmpty: a file without rows, among others that have some.
	CodeFileEmpty = "file-empty"
	// CodeFileTwice: two files of one log hold the same bytes; one is read.
	CodeFileTwice = "file-twice"
	// CodeFileInTwoLogs: two logs read different columns of one file.
	CodeFileInTwoLogs = "file-in-two-logs"
	// CodeFileNotUsed: a file or sheet of a log in which no named column stands.
	CodeFileNotUsed = "file-not-used"
	// CodeColumnMissing: a named column is not in one of the log's files.
	CodeColumnMissing = "column-missing"
	// CodeColumnEmpty: a named column holds no reading at all.
	CodeColumnEmpty = "column-empty"
	// CodeUnitAssumed: no unit was found anywhere; the base unit was assumed.
	CodeUnitAssumed = "unit-assumed"
	// CodeUnitContradiction: the farm file's unit is not that of the header.
	CodeUnitContradiction = "unit-contradiction"
	// CodeBadCell: cells that are neither a number nor a word for "missing".
	CodeBadCell = "bad-cell"
	// CodeStampBad: rows without a readable stamp.
	CodeStampBad = "stamp-bad"
	// CodeStampAssumed: where in its interval a stamp stands was assumed.
	CodeStampAssumed = "stamp-assumed"
	// CodeStampChoice: several columns hold stamps; one was taken.
	CodeStampChoice = "stamp-choice"
	// CodeStampFuture: stamps later than now.
	CodeStampFuture = "stamp-future"
	// CodeStampFar: a few rows far from all others: a clock that was not set.
	CodeStampFar = "stamp-far"
	// CodeStampAbove: the year of the rows' dates stands above the table.
	CodeStampAbove = "stamp-above"
	// CodeStampCoarse: several rows share each stamp, written without seconds;
	// they were spread over its minute.
	CodeStampCoarse = "stamp-coarse"
	// CodeStampPlace: a counter beside a rate says that both are not stamped at the
	// same end of the interval.
	CodeStampPlace = "stamp-place"
	// CodeSignalWeak: a probe hardly moves while another of its place does.
	CodeSignalWeak = "signal-weak"
	// CodeZoneFromFile: the zone stands in the file's header.
	CodeZoneFromFile = "zone-from-file"
	// CodeZoneWord: zone abbreviations in the stamps that the log's zone does not
	// have.
	CodeZoneWord = "zone-word"
	// CodeDatesFromSibling: another file of the log settled the order of day
	// and month.
	CodeDatesFromSibling = "dates-from-sibling"
	// CodeDateCarried: rows without a date take that of a row above, or of a line
	// above the table.
	CodeDateCarried = "date-carried"
	// CodeStartAbove: time that has passed is added to a start above the table.
	CodeStartAbove = "start-above"
	// CodeDatesMixed: files of one log write their dates in different orders.
	CodeDatesMixed = "dates-mixed"
	// CodeDatesByCustom: nothing but custom settles the order of day and month.
	CodeDatesByCustom = "dates-by-custom"
	// CodeHourRepeated: rows in the hour that a clock change repeats.
	CodeHourRepeated = "hour-repeated"
	// CodeHourSkipped: rows in the hour that a clock change skips.
	CodeHourSkipped = "hour-skipped"
	// CodeClockFound: the clock's error was found and taken off.
	CodeClockFound = "clock-found"
	// CodeClockNotFound: the clock's error was to be found, but nothing proves one
	// distinctly: the clock was kept.
	CodeClockNotFound = "clock-not-found"
	// CodeClockOff: a clock that was kept disagrees with another log's or with the
	// milkings.
	CodeClockOff = "clock-off"
	// CodeOutOfOrder: rows that did not stand in the order of time were sorted.
	CodeOutOfOrder = "out-of-order"
	// CodeDuplicate: several rows of one file carry the same stamp.
	CodeDuplicate = "duplicate-stamps"
	// CodeOverlapDiffers: overlapping files differ; the later file's is kept.
	CodeOverlapDiffers = "overlap-differs"
	// CodeCounterFound: a column was recognised as a running counter.
	CodeCounterFound = "counter-found"
	// CodeCounterReset: a counter started again.
	CodeCounterReset = "counter-reset"
	// CodeCounterRollOver: a counter passed its full scale.
	CodeCounterRollOver = "counter-roll-over"
	// CodeCounterBad: single low or high readings of a counter were left out.
	CodeCounterBad = "counter-bad-reading"
	// CodeCounterJump: a counter went up faster than anything can have passed.
	CodeCounterJump = "counter-jump"
	// CodeCounterFalls: a column stated to be a counter falls too often.
	CodeCounterFalls = "counter-falls"
	// CodeHeldUntilNext: rates at irregular times were held until the next row.
	CodeHeldUntilNext = "held-until-next"
	// CodeAllFlagged: no reading of a column was kept.
	CodeAllFlagged = "all-flagged"
	// CodeNegative: flows or powers below zero.
	CodeNegative = "negative"
	// CodeZeroNoise: small negative flows or powers were read as 0.
	CodeZeroNoise = "zero-noise"
	// CodeProbesDisagree: two probes of one place differ.
	CodeProbesDisagree = "probes-disagree"
	// CodeProbesSwapped: an outlet that is colder than its inlet.
	CodeProbesSwapped = "probes-look-swapped"
	// CodeLooksFahrenheit: temperatures that make sense in °F only.
	CodeLooksFahrenheit = "looks-like-fahrenheit"
	// CodeFlowUnit: a flow that does not agree with the volume beside it, or
	// would make sense in m³/h only.
	CodeFlowUnit = "flow-unit"
	// CodeEventOdd: rows of the list of events that cannot be used.
	CodeEventOdd = "event-odd"
	// CodeMilkingOdd: rows of the milkings list that make no sense.
	CodeMilkingOdd = "milking-odd"
	// CodeMilkingAssumed: something the milkings list does not say was assumed.
	CodeMilkingAssumed = "milking-assumed"
)
