"""A simulated machine that starts two systems, and what happens to it."""
