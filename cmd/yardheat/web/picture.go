package web

import (
	"fmt"
	"strings"
)

// picture is a small drawing of a column: ten points over the time covered.
type picture struct {
	W, H int
	// Lines are runs of neighbouring points, Dots points without a neighbour.
	Lines []string
	Dots  [][2]string
	Alt   string
}

const pictureW, pictureH = 132, 40

// drawPoints draws ten means; nil where there is nothing to draw.
func drawPoints(points [10]*float64) *picture {
	low, high, any := 0.0, 0.0, false
	for _, p := range points {
		if p == nil {
			continue
		}
		if !any || *p < low {
			low = *p
		}
		if !any || *p > high {
			high = *p
		}
		any = true
	}
	if !any {
		return nil
	}
	p := &picture{W: pictureW, H: pictureH}
	at := func(i int) (x, y string) {
		share := 0.5
		if high > low {
			share = (*points[i] - low) / (high - low)
		}
		return fmt.Sprintf("%.1f", 6+float64(i)*(pictureW-12)/9), fmt.Sprintf("%.1f", pictureH-6-share*(pictureH-12))
	}
	for i := 0; i < len(points); {
		if points[i] == nil {
			i++
			continue
		}
		var run []string
		from := i
		for ; i < len(points) && points[i] != nil; i++ {
			x, y := at(i)
			run = append(run, x+","+y)
		}
		if i-from == 1 {
			x, y := at(from)
			p.Dots = append(p.Dots, [2]string{x, y})
			continue
		}
		p.Lines = append(p.Lines, strings.Join(run, " "))
	}
	return p
}
