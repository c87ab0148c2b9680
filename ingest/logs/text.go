package logs

import (
	"errors"

	"yardheat/ingest/series"
	"yardheat/ingest/table"
)

// AsFault turns an error of the table reader into a fault of a file.
func AsFault(file string, err error) series.Fault {
	var e *table.Error
	if !errors.As(err, &e) {
		return series.Fault{File: file, Got: err.Error(), Want: "a readable file", Do: "check the file"}
	}
	return series.Fault{File: file, Where: series.PlaceOf(e.Sheet, e.Line, e.Column), Got: e.Got, Want: e.Want, Do: e.Do}
}
