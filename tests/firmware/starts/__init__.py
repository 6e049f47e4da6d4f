"""Random machines started on real firmware: what ran, held against what was foreseen."""
