package clock

import (
	"fmt"
	"strings"
	"time"
	_ "time/tzdata" // Windows has no zone files
)

// ParseZone reads a zone as the farm file states it: an IANA name, UTC, or an
// offset such as +01:00.
func ParseZone(name string) (*time.Location, error) {
	switch {
	case name == "":
		return nil, fmt.Errorf("a zone is empty; want an IANA name such as Europe/Rome, UTC or +01:00")
	case name == "UTC" || name == "Z":
		return time.UTC, nil
	case name[0] == '+' || name[0] == '-' || strings.HasPrefix(name, "UTC+") || strings.HasPrefix(name, "UTC-"):
		return offsetZone(strings.TrimPrefix(name, "UTC"), name)
	case name == "Local":
		return nil, fmt.Errorf("zone %q is another on every computer; want an IANA name such as Europe/Rome", name)
	}
	zone, err := time.LoadLocation(name)
	if err != nil {
		return nil, fmt.Errorf("zone %q is not known; want an IANA name such as Europe/Rome, UTC or +01:00", name)
	}
	return zone, nil
}

func offsetZone(s, name string) (*time.Location, error) {
	c := scanner{s: s, st: stamp{clocked: true, offsetMS: NoOffset}}
	if !c.offset() || c.i != len(s) {
		return nil, fmt.Errorf("zone %q is no offset; want for example +01:00", name)
	}
	off := int(c.st.offsetMS / secondMS)
	sign, abs := '+', off
	if off < 0 {
		sign, abs = '-', -off
	}
	return time.FixedZone(fmt.Sprintf("%c%02d:%02d", sign, abs/3600, abs/60%60), off), nil
}

// ParseCivil reads one civil time as farm.toml writes it: "2026-02-03 10:00",
// with T or a blank, seconds or not, or a date alone. ok is false for anything
// else; wallMS counts the wall clock as if it were UTC.
func ParseCivil(text string) (wallTimeMS int64, ok bool) {
	for _, form := range [...]string{"2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006-01-02"} {
		if t, err := time.Parse(form, text); err == nil {
			return inYears(t.UnixMilli()), inYears(t.UnixMilli()) != Bad
		}
	}
	return 0, false
}
