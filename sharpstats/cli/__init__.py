"""The command line: `sharpstats new`, `check`, `freeze`, `judge`, `publish`."""
