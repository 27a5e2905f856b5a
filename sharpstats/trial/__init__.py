"""What a trial is: its plan, its readings, and the check of both."""
