package plant

import "fmt"

// bounds is one option with the range it must lie in.
type bounds struct {
	name             string
	value, low, high float64
}

func firstOutside(list []bounds) error {
	for _, b := range list {
		if !(b.value >= b.low && b.value <= b.high) {
			return fmt.Errorf("plant: %s is %v; want %v to %v", b.name, b.value, b.low, b.high)
		}
	}
	return nil
}
