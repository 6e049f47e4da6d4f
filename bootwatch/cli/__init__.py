"""One file a command, thin. ``add`` declares it, ``run`` returns the exit status."""
