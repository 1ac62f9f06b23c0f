"""What is typed, pasted or forged into a field; each list is about one kind of trouble."""

from __future__ import annotations

LONG = 10**6
EMPTY = ["", " ", "\t", "\u00a0", "\r\n"]
# Characters that are no text: NUL, halves of a pair, marks that turn the reading round.
UNREADABLE = [
    "\0", "a\0b", "\ud800", "\udfffx", "\u202eabc", "\u2066x\u2069", "\u200b", "\ufeff5 kg",
    "\x07\x1b[31m", "\x85", "\ufffd", "e\u0301" * 30, "\U0010ffff",
]  # fmt: skip
NUMBERS = [
    "-1", "0", "-0", "+5", "\u22125", "1e400", "1e-400", "NaN", "sNaN", "Infinity", "-Infinity",
    "1,234", "1.234,5", "１２", "½", "٣", "1_000", "0x10", "9**9**8", "2147483648",
    "9223372036854775807", "9223372036854775808", "-9223372036854775809", "1" * 400, "1" * 5000,
    "0.000000000001", "1.", ".5", "1/0", "100001 kg", "0 kg", "99999999 kg", "101 %",
]  # fmt: skip
DAYS = [
    "0000-00-00", "0001-01-01", "1969-12-31", "9999-12-31", "10000-01-01", "2026-02-30",
    "31/12/2026", "2026-1-1", "2026-01-01T00:00:00Z", "tomorrow", "9999-01-01", "1900-01-01",
]  # fmt: skip
FORGED = [
    "<script>alert(1)</script>", "\"'><img src=x onerror=alert(1)>", "' OR 1=1 --", "1; DROP",
    "{{ 7*7 }}", "{% debug %}", "${7*7}", "%s%n%x", "%00", "../../../etc/passwd", "C:\\x",
    "a\r\nSet-Cookie: x=1", "=1+1", "@SUM(A1)", "None", "null", "true", "[]", "{}", "[object]",
    "__proto__", "$(id)", "`id`", "javascript:alert(1)", "//evil.example",
]  # fmt: skip
TOO_LONG = ["x" * 81, "x" * 301, "y" * 5001, "é" * 2000, "<" * 1000]
# A million digits are sent once a form: more would only show how long a million takes.
HUGE = "9" * LONG
# What a field may well take, so that what lies behind the field is reached too.
LIKELY = [
    "1", "2", "3", "7", "12", "250", "5 kg", "0.5 lb", "1 g", "50 %", "8 %", "A4", "210 x 297 mm",
    "120 g/m2", "2026-11-01", "2027-03-01", "12.50", "plain words", "on", "none", "good",
]  # fmt: skip
VALUES = [*EMPTY, *UNREADABLE, *NUMBERS, *DAYS, *FORGED, *TOO_LONG]
