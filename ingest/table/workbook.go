package table

func readWorkbook(name string, b []byte, opt Options) ([]*Table, error) {
	return nil, &Error{File: name, Got: "a workbook"}
}
