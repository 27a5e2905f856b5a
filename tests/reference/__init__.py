"""Stored results from outside the package, and what compares ours with them (see README.md)."""
