"""Bringing back what a system lost: the only part that writes to the machine it looks at."""
