"""Bringing what was found to people: report, mail, journal, log-in line, what any user may read."""
