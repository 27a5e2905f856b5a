"""What a tester study found, in words: one file for each part."""
