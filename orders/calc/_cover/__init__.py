"""How cover is found: stock and lines, the network, the solver, picks, and the reasons."""
