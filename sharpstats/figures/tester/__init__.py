"""Pictures of a tester study: what the tester's numbers are worth."""
