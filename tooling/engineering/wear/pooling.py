"""Learning from all histories: strip factors, scatter, bedding-in, and the rates of like pieces."""
