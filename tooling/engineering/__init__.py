"""The pure core: roll-forming arithmetic over frozen dataclasses; no database, no clock."""
