"""What is told of the program while it runs: its log, its metrics. Nothing of any person."""
