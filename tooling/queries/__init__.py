"""Reads: frozen dataclasses for pages;
each page's reads are one function with a fixed number of queries."""
