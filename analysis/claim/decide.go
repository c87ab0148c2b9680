package claim

import (
	"fmt"
	"math"
	"strings"

	"yardheat/analysis/season"
)

const (
	// tooClose: a claim for which the interval would have to shrink to less than
	// this share of its width is settled by no practicable measurement.
	tooClose = 0.1
	// mostNamed instruments are named together.
	mostNamed = 4
)

// decide says what would decide the claim, in one or two sentences. What a
// smaller error would do is reckoned by the linear budget, about the value
// measured now: a new measurement may also move the value.
func (c *Claim) decide(x season.Spread, confidence float64) string {
	switch {
	case math.IsNaN(c.Chance):
		text := "First the saving must be known: " + orElse(c.Measured.Why, "the readings do not give it") + "."
		if !math.IsNaN(c.Seen.Value) {
			text += fmt.Sprintf(" What was seen of the period is known, %s, and a claim can be held against that alone (--seen).", c.Seen.Shown)
		}
		return text
	case c.Verdict == Supported:
		return fmt.Sprintf("Nothing more is needed: at %s every claim up to %s is supported.", Percent(confidence), c.SupportedToShown)
	case c.Verdict == NotSupported:
		return fmt.Sprintf("Nothing more is needed: at %s no claim above %s is supported.", Percent(confidence), c.RefutedAboveShown)
	}
	f := c.needed()
	if !(f >= tooClose) {
		return fmt.Sprintf("No practicable measurement: the claim lies too close to what was measured, %s, to be told from it. Whoever claims should state the interval.", c.Measured.Shown)
	}
	need := fmt.Sprintf("If the measured value stays, the claim would be %s once the interval is %s of its width now.", c.leaning(), Percent(f))
	return largest(x) + " " + need + " " + remedy(x, f)
}

// needed is the share of its width to which the interval would have to shrink.
func (c *Claim) needed() float64 {
	if m := c.Measured.Value; c.Claimed <= m {
		return (m - c.Claimed) / (m - c.SupportedTo)
	}
	return (c.Claimed - c.Measured.Value) / (c.RefutedAbove - c.Measured.Value)
}

// leaning is the verdict that a narrower interval about the same value gives.
func (c *Claim) leaning() Verdict {
	if c.Claimed <= c.Measured.Value {
		return Supported
	}
	return NotSupported
}

// largest names what makes most of the doubt.
func largest(x season.Spread) string {
	if len(x.Parts) == 0 {
		return "What makes the doubt is not known."
	}
	p := x.Parts[0]
	if x.Unseen >= p.Share {
		return fmt.Sprintf("The largest part of the doubt, %s of the variance, is the time that was not seen.", Percent(x.Unseen))
	}
	own := ""
	if p.Error != "" {
		own = " (± " + p.Error
		if p.Assumed {
			own += ", assumed"
		}
		own += ")"
	}
	return fmt.Sprintf("The largest part of the doubt, %s of the variance, is the error of %s%s.", Percent(p.Share), quoted(p.Sensor), own)
}

// remedy is the least that would shrink the interval to a share f of its width.
func remedy(x season.Spread, f float64) string {
	for _, m := range x.Measures {
		if m.Left <= f {
			return fmt.Sprintf("One thing would do: %s (that leaves %s of the width).", m.Text, Percent(m.Left))
		}
	}
	if left := math.Sqrt(1 - x.Unseen); left <= f {
		return "The logs of the time that was not seen would do, if they can be found."
	}
	sum := 0.0
	var names []string
	for _, p := range x.Parts {
		if len(names) == mostNamed {
			break
		}
		if p.Unseen { // no error of an instrument
			continue
		}
		sum += p.Share
		names = append(names, quoted(p.Sensor))
		if left := halved(sum); left <= f {
			if len(names) == 1 {
				return fmt.Sprintf("Halving that error would do (it leaves %s of the width).", Percent(left))
			}
			return fmt.Sprintf("Halving one error alone would not do; halving those of %s would (it leaves %s of the width).", listed(names), Percent(left))
		}
	}
	if f < 0.5 {
		return "Even halving every error would not do: that leaves half of the width."
	}
	if x.Unseen > worthSaying {
		return "Halving the largest errors would not do: it needs better instruments, and logs without holes."
	}
	return "Halving the largest errors would not do: it needs better instruments throughout."
}

// halved is what is left of the width when errors with this share of the
// variance are halved.
func halved(share float64) float64 { return math.Sqrt(max(0, 1-0.75*share)) }

func quoted(name string) string { return "“" + name + "”" }

func listed(names []string) string {
	if len(names) == 1 {
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}
