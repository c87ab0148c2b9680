package farm

import (
	"fmt"
	"strings"

	"yardheat/ingest/clock"
)

// zoneNames are zones to suggest where a name is misspelt; any IANA name is
// read, listed here or not.
var zoneNames = strings.Fields(`
Africa/Addis_Ababa Africa/Algiers Africa/Cairo Africa/Casablanca Africa/Johannesburg Africa/Lagos Africa/Nairobi Africa/Tunis
America/Anchorage America/Argentina/Buenos_Aires America/Asuncion America/Bogota America/Boise America/Caracas America/Chicago
America/Costa_Rica America/Denver America/Detroit America/Edmonton America/Halifax America/Lima America/Los_Angeles
America/Mexico_City America/Montevideo America/New_York America/Phoenix America/Puerto_Rico America/Regina America/Santiago
America/Sao_Paulo America/St_Johns America/Toronto America/Vancouver America/Winnipeg
Asia/Almaty Asia/Amman Asia/Baku Asia/Bangkok Asia/Beirut Asia/Colombo Asia/Dhaka Asia/Dubai Asia/Ho_Chi_Minh Asia/Hong_Kong
Asia/Jakarta Asia/Jerusalem Asia/Karachi Asia/Kathmandu Asia/Kolkata Asia/Manila Asia/Nicosia Asia/Riyadh Asia/Seoul
Asia/Shanghai Asia/Singapore Asia/Taipei Asia/Tashkent Asia/Tbilisi Asia/Tehran Asia/Tokyo Asia/Ulaanbaatar Asia/Yerevan
Atlantic/Azores Atlantic/Canary Atlantic/Madeira Atlantic/Reykjavik Australia/Adelaide Australia/Brisbane Australia/Darwin
Australia/Hobart Australia/Lord_Howe Australia/Melbourne Australia/Perth Australia/Sydney
Europe/Amsterdam Europe/Andorra Europe/Athens Europe/Belgrade Europe/Berlin Europe/Bratislava Europe/Brussels Europe/Bucharest
Europe/Budapest Europe/Chisinau Europe/Copenhagen Europe/Dublin Europe/Helsinki Europe/Istanbul Europe/Kyiv Europe/Lisbon
Europe/Ljubljana Europe/London Europe/Luxembourg Europe/Madrid Europe/Malta Europe/Minsk Europe/Moscow Europe/Oslo Europe/Paris
Europe/Podgorica Europe/Prague Europe/Riga Europe/Rome Europe/Sarajevo Europe/Skopje Europe/Sofia Europe/Stockholm Europe/Tallinn
Europe/Tirane Europe/Vaduz Europe/Vienna Europe/Vilnius Europe/Warsaw Europe/Zagreb Europe/Zurich
Indian/Mauritius Pacific/Auckland Pacific/Chatham Pacific/Honolulu UTC`)

// zoneHint says what to do about a zone that is none.
func zoneHint(name string) string {
	if n := NearestZone(name); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	if _, err := clock.ParseZone(name); err != nil && len(name) <= 5 && strings.ToUpper(name) == name {
		return "an abbreviation stands for several zones; write continent and city"
	}
	return "write continent and city as in \"Europe/Rome\""
}
