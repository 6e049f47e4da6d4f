"""Plain frozen values: what a machine's start-up state is made of. No I/O, no policy."""
