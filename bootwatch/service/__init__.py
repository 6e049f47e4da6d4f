"""The order in which observing, judging, keeping and telling are called."""
