"""One machine -> Snapshot. Never writes to it, never guesses: what could not be read is a gap."""
