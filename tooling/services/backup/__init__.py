"""Backup and restore: everything that the shop keeps, in one file that either database reads.

The file is a ZIP archive: one JSON line per row and table, every stored file under its sha256,
and a manifest with counts and checksums. It is made from one instant while people work, and is
read back before it counts as made; a restore checks all of it before anything is touched.
"""
