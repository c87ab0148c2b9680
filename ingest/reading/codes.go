package reading

// IsCode tells whether a number as written is one that loggers write where
// they have no reading (-127, 9999, 32767 and the like). Whether it is one in
// a given column its neighbours must tell: 850 is also a pressure in hPa.
func IsCode(written float64) bool { return isCode(written) }
