"""What goes onto paper: labels, etching artwork, the pull list. Takes plain dataclasses."""
