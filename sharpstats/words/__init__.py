"""Results in words and tables: numbers, findings, methods, cautions, and how each result shows itself."""
