package celltext

import "strings"

// moneySigns stand before or behind an amount of money, and moneyWords behind
// or before one (ISO 4217 and common practice, from memory). The longer stand
// first.
var (
	moneySigns = []string{"R$", "US$", "A$", "AU$", "C$", "CA$", "NZ$", "$", "€", "£", "¥", "₹", "₽", "₩", "₺", "₴"}
	moneyWords = strings.Fields("EUR USD GBP CHF SEK NOK DKK PLN CZK HUF RON BRL AUD CAD NZD JPY CNY INR ZAR kr kr. zł Kč lei руб. р.")
)

// cutMoney parts an amount from the currency that stands before or behind it;
// sign is "" where none does.
func cutMoney(s string) (amount, sign string) {
	minus := ""
	if len(s) > 1 && (s[0] == '-' || s[0] == '+') && s[1]-'0' > 9 { // "-$0.11"
		minus, s = s[:1], s[1:]
	}
	for _, m := range moneySigns {
		if rest, ok := strings.CutPrefix(s, m); ok {
			return minus + Trim(rest), m
		}
		if rest, ok := strings.CutSuffix(s, m); ok && minus == "" {
			return Trim(rest), m
		}
	}
	if minus != "" {
		return "", ""
	}
	for _, m := range moneyWords {
		if rest, ok := strings.CutPrefix(s, m); ok && len(m) > 2 && Trim(rest) != rest {
			return Trim(rest), m
		}
		if rest, ok := strings.CutSuffix(s, m); ok && (Trim(rest) != rest || len(m) > 2) {
			return Trim(rest), m
		}
	}
	return "", ""
}

// IsMoney tells whether a text is the sign or the word of a currency.
func IsMoney(s string) bool {
	for _, list := range [...][]string{moneySigns, moneyWords} {
		for _, m := range list {
			if s == m {
				return true
			}
		}
	}
	return false
}
