"""Speed and memory, measured on a shop of the size the figures are stated for."""
