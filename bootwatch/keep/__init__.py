"""Makes it last: baseline, spares, history, messages still to be delivered."""
