"""Pictures of what a tester study found."""
