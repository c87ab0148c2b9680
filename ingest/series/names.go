package series

import "slices"

// Names are all the quantities in alphabetical order.
func Names() []Quantity {
	out := make([]Quantity, 0, len(quantities))
	for q := range quantities {
		out = append(out, q)
	}
	slices.Sort(out)
	return out
}
