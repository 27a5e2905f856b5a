"""Pictures of a tester study: what the tester's numbers are worth."""
"""Pictures of what a tester study found."""
