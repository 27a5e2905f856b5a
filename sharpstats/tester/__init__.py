"""Trust the tester: what its numbers are worth before any medium is judged by them."""
