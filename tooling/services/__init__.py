"""Writes: one verb on one noun each, called with keywords: ``verb(by=…, at=…, …)``."""
