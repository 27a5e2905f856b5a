"""The arithmetic: arrays and plain tables in, numbers with their uncertainty out."""
